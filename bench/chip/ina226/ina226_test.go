package ina226_test

import (
	"errors"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/i2c/i2ctest"
	"periph.io/x/conn/v3/physic"

	"dutybench/bench/chip/ina226"
)

// hand is a clock that moves by sleeping and a little with every look.
type hand struct{ t time.Duration }

func (h *hand) Now() time.Duration { h.t += time.Microsecond; return h.t }

func (h *hand) Sleep(d time.Duration) { h.t += max(d, 0) }

const addr = 0x40

func get(reg, hi, lo byte) i2ctest.IO {
	return i2ctest.IO{Addr: addr, W: []byte{reg}, R: []byte{hi, lo}}
}

func set(reg, hi, lo byte) i2ctest.IO { return i2ctest.IO{Addr: addr, W: []byte{reg, hi, lo}} }

func again(hi, lo byte) i2ctest.IO { return i2ctest.IO{Addr: addr, R: []byte{hi, lo}} }

// start is the exchange of New: identity (FEh 5449h, FFh 2260h), reset,
// calibration, configuration and its read back.
func start(calHi, calLo, cfgHi, cfgLo byte) []i2ctest.IO {
	return []i2ctest.IO{
		get(0xFE, 0x54, 0x49), get(0xFF, 0x22, 0x60), set(0, 0x80, 0),
		set(5, calHi, calLo), set(0, cfgHi, cfgLo), get(0, cfgHi, cfgLo),
	}
}

func play(t *testing.T, o ina226.Opts, ops ...i2ctest.IO) (*ina226.Dev, *hand) {
	t.Helper()
	bus := &i2ctest.Playback{Ops: ops, DontPanic: true}
	clk := &hand{}
	o.Address = addr
	d, err := ina226.New(bus, clk, o)
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, bus.Close()) })
	return d, clk
}

// SBOS547 Table 1, page 16: 10 A through 2 mΩ at 12 V; configuration 4127h,
// calibration 0A00h for a step of 1 mA.
func TestWorkedExample(t *testing.T) {
	both := ina226.Config{BusTime: ina226.Convert1100us, ShuntTime: ina226.Convert1100us, Mode: ina226.BothContinuous}
	d, _ := play(t, ina226.Opts{Shunt: 2 * physic.MilliOhm, Range: 32768 * physic.MilliAmpere, Config: both},
		append(start(0x0A, 0x00, 0x41, 0x27),
			get(0, 0x41, 0x27), get(1, 0x1F, 0x40), get(2, 0x25, 0x70), get(4, 0x27, 0x10), get(3, 0x12, 0xB8))...)
	assert.Equal(t, uint16(2560), d.Calibration())
	assert.InDelta(t, 0.001, d.CurrentStep_A(), 1e-15)

	config, err := d.ReadConfig()
	require.NoError(t, err)
	assert.Equal(t, both, config)

	shunt, err := d.ReadShunt()
	require.NoError(t, err)
	assert.Equal(t, int16(8000), shunt)
	assert.Equal(t, 20*physic.MilliVolt, ina226.ShuntVoltage(shunt))
	assert.InDelta(t, 10, d.ShuntCurrent_A(shunt), 1e-12)

	bus, err := d.ReadBus()
	require.NoError(t, err)
	assert.Equal(t, uint16(9584), bus)
	assert.Equal(t, 11980*physic.MilliVolt, ina226.BusVoltage(bus))

	current, err := d.ReadCurrent()
	require.NoError(t, err)
	assert.Equal(t, int16(10000), current)
	assert.InDelta(t, 10, float64(current)*d.CurrentStep_A(), 1e-12)

	power, err := d.ReadPower()
	require.NoError(t, err)
	assert.InDelta(t, 119.80, float64(power)*25*d.CurrentStep_A(), 1e-9) // 4792 × 25 mW; the page prints 119.82
}

// e2e thread 873778: 10 mΩ and a step of 0.25 mA calibrate to 2048; 560 µV
// (00E0h) is 56 mA. And the sign: −80 mV is 8300h (two's complement of
// 7D00h), computed.
func TestSecondExampleAndSign(t *testing.T) {
	d, _ := play(t, ina226.Opts{Shunt: 10 * physic.MilliOhm, Range: 8192 * physic.MilliAmpere},
		append(start(0x08, 0x00, 0x40, 0x00), get(1, 0x00, 0xE0), get(1, 0x83, 0x00))...)
	v, err := d.ReadShunt()
	require.NoError(t, err)
	assert.InDelta(t, 0.056, d.ShuntCurrent_A(v), 1e-12)
	v, err = d.ReadShunt()
	require.NoError(t, err)
	assert.Equal(t, int16(-32000), v)
	assert.Equal(t, -80*physic.MilliVolt, ina226.ShuntVoltage(v))
	assert.InDelta(t, -8, d.ShuntCurrent_A(v), 1e-12)
}

// Tables of AVG, VBUSCT, VSHCT and MODE (SBOS547 pages 18, 19).
func TestConfigurationCodes(t *testing.T) {
	w, err := ina226.Config{BusTime: 4, ShuntTime: 4, Mode: 7}.Word()
	require.NoError(t, err)
	assert.Equal(t, uint16(0x4127), w, "the power-on configuration")

	counts := []int{1, 4, 16, 64, 128, 256, 512, 1024}
	typical := []int{140, 204, 332, 588, 1100, 2116, 4156, 8244}
	longest := []int{154, 224, 365, 646, 1210, 2328, 4572, 9068}
	for code := range uint8(8) {
		assert.Equal(t, counts[code], ina226.Averaging(code).Count())
		assert.Equal(t, time.Duration(typical[code])*time.Microsecond, ina226.ConversionTime(code).Typical())
		assert.Equal(t, time.Duration(longest[code])*time.Microsecond, ina226.ConversionTime(code).Max())
		for shift, c := range map[int]ina226.Config{9: {Averaging: ina226.Averaging(code)}, 6: {BusTime: ina226.ConversionTime(code)},
			3: {ShuntTime: ina226.ConversionTime(code)}, 0: {Mode: ina226.Mode(code)}} {
			w, err := c.Word()
			require.NoError(t, err)
			assert.Equal(t, 0x4000|uint16(code)<<shift, w)
		}
	}
	// Page 11: two examples of update rates.
	assert.Equal(t, 4704*time.Microsecond, ina226.Config{Averaging: ina226.Average4, BusTime: 3, ShuntTime: 3, Mode: ina226.BothContinuous}.Typical())
	assert.Equal(t, 4744*time.Microsecond, ina226.Config{BusTime: 3, ShuntTime: 6, Mode: ina226.BothContinuous}.Typical())
	for mode, want := range []struct{ off, triggered, shunt, bus bool }{
		{off: true}, {triggered: true, shunt: true}, {triggered: true, bus: true}, {triggered: true, shunt: true, bus: true},
		{off: true}, {shunt: true}, {bus: true}, {shunt: true, bus: true},
	} {
		m := ina226.Mode(mode)
		assert.Equal(t, want.off, m.Off(), mode)
		assert.Equal(t, want.triggered, m.Triggered(), mode)
		assert.Equal(t, want.shunt, m.Shunt(), mode)
		assert.Equal(t, want.bus, m.Bus(), mode)
	}
	_, err = ina226.Config{Averaging: 8}.Word()
	assert.ErrorIs(t, err, ina226.ErrConfig)
}

// Mask/enable: SOL is bit 15, LEN bit 0 (SBOS547 page 21); 20 A in 2 mΩ is
// 16000 codes of 2.5 µV.
func TestAlertAndFlags(t *testing.T) {
	d, _ := play(t, ina226.Opts{Shunt: 2 * physic.MilliOhm}, append(start(0x08, 0x00, 0x40, 0x00),
		set(7, 0x3E, 0x80), set(6, 0x80, 0x01), get(7, 0x3E, 0x80),
		set(7, 0x12, 0x34), set(6, 0x14, 0x02),
		get(6, 0x80, 0x1C), get(6, 0x80, 0x00))...)
	limit, err := d.SetOverCurrent(20.0005)
	require.NoError(t, err)
	assert.InDelta(t, 20, limit, 1e-12, "rounded down to a step of 1.25 mA")
	code, err := d.Limit()
	require.NoError(t, err)
	assert.Equal(t, uint16(16000), code)
	require.NoError(t, d.SetAlert(ina226.AlertBusLow, 0x1234, ina226.AlertOpts{ReadyPin: true, ActiveHigh: true}))

	f, err := d.Flags()
	require.NoError(t, err)
	assert.Equal(t, ina226.Flags{Ready: true, Alerted: true, Overflow: true}, f)
	f, err = d.Flags()
	require.NoError(t, err)
	assert.Equal(t, ina226.Flags{}, f)

	_, err = d.SetOverCurrent(41)
	assert.ErrorContains(t, err, "40.96 A")
	_, err = d.SetOverCurrent(math.NaN())
	assert.Error(t, err)
	assert.ErrorIs(t, d.SetAlert(ina226.AlertBusLow|ina226.AlertBusOver, 0, ina226.AlertOpts{}), ina226.ErrConfig)
	assert.Error(t, d.SetCalibration(0x8000))
}

// Next polls the flag, the second time without the pointer, and reads the
// shunt register; saturated and overflowed readings say so.
func TestNext(t *testing.T) {
	shunt := ina226.Config{ShuntTime: ina226.Convert332us, Mode: ina226.ShuntContinuous}
	d, clk := play(t, ina226.Opts{Shunt: 2 * physic.MilliOhm, Config: shunt, BusSpeed: 400 * physic.KiloHertz},
		append(start(0x08, 0x00, 0x40, 0x15),
			get(6, 0, 0), again(0, 0), again(0, 0x08), get(1, 0x7F, 0xFF),
			get(6, 0, 0x0C), get(1, 0x80, 0x00),
			get(6, 0, 0x08), get(1, 0xFF, 0xFF))...)
	var r ina226.Reading
	require.NoError(t, d.Next(&r))
	assert.Equal(t, int16(32767), r.Shunt)
	assert.True(t, r.Saturated)
	assert.False(t, r.Overflow)
	assert.Greater(t, clk.t, (332*9/10-73)*time.Microsecond, "slept for the shortest conversion, less the 29 bits before the flag is handed out")
	require.NoError(t, d.Next(&r))
	assert.True(t, r.Saturated)
	assert.True(t, r.Overflow)
	require.NoError(t, d.Next(&r))
	assert.Equal(t, int16(-1), r.Shunt)
	assert.False(t, r.Saturated)
}

// A conversion that may have ended between the flag and the result is looked
// for again: flag clear means the result was of the flag; flag set means it
// is read again, and one was lost.
func TestNextLooksAgainWhenLate(t *testing.T) {
	shunt := ina226.Config{ShuntTime: ina226.Convert140us, Mode: ina226.ShuntContinuous}
	bus := &i2ctest.Playback{DontPanic: true, Ops: append(start(0x08, 0x00, 0x40, 0x05),
		get(6, 0, 0x08), get(1, 0, 1), get(6, 0, 0),
		get(6, 0, 0x08), get(1, 0, 2), get(6, 0, 0x08), get(1, 0, 3), get(6, 0, 0))}
	clk := &hand{}
	d, err := ina226.New(slow{bus, clk}, clk, ina226.Opts{Address: addr, Shunt: physic.MilliOhm, Config: shunt})
	require.NoError(t, err)
	var r ina226.Reading
	require.NoError(t, d.Next(&r))
	assert.Equal(t, int16(1), r.Shunt)
	require.NoError(t, d.Next(&r))
	assert.Equal(t, int16(3), r.Shunt)
	assert.Positive(t, r.Lost)
	assert.NoError(t, bus.Close())
}

// slow takes 120 µs for a transaction.
type slow struct {
	*i2ctest.Playback
	clk *hand
}

func (s slow) Tx(addr uint16, w, r []byte) error {
	s.clk.t += 120 * time.Microsecond
	return s.Playback.Tx(addr, w, r)
}

func TestNextTriggered(t *testing.T) {
	c := ina226.Config{BusTime: ina226.Convert140us, ShuntTime: ina226.Convert140us, Mode: ina226.BothTriggered}
	d, _ := play(t, ina226.Opts{Shunt: 2 * physic.MilliOhm, Config: c}, append(start(0x08, 0x00, 0x40, 0x03),
		set(0, 0x40, 0x03), get(6, 0, 0x08), get(1, 0x1F, 0x40), get(2, 0x25, 0x70))...)
	var r ina226.Reading
	require.NoError(t, d.Next(&r))
	assert.Equal(t, int16(8000), r.Shunt)
	assert.Equal(t, uint16(9584), r.Bus)
}

// wire answers every read with the same word, or fails.
type wire struct {
	i2ctest.Playback
	word uint16
	err  error
}

func (w *wire) Tx(_ uint16, _, r []byte) error {
	if len(r) == 2 {
		r[0], r[1] = byte(w.word>>8), byte(w.word)
	}
	return w.err
}

func TestErrors(t *testing.T) {
	_, err := ina226.New(&wire{word: 0x5448}, &hand{}, ina226.Opts{Address: addr, Shunt: physic.MilliOhm})
	assert.ErrorIs(t, err, ina226.ErrIdentity)
	assert.ErrorContains(t, err, "0x40")

	nack := errors.New("no acknowledge")
	_, err = ina226.New(&wire{err: nack}, &hand{}, ina226.Opts{Address: addr, Shunt: physic.MilliOhm})
	assert.ErrorIs(t, err, nack)
	assert.ErrorContains(t, err, "manufacturer identity")
	assert.ErrorContains(t, err, "pull-ups")

	for _, o := range []ina226.Opts{{Address: 0x50, Shunt: 1}, {Address: addr}, {Address: addr, Shunt: -1}, {Address: addr, Shunt: 1, Range: -1},
		{Address: addr, Shunt: physic.NanoOhm, Range: physic.NanoAmpere}, {Address: addr, Shunt: physic.KiloOhm, Range: physic.KiloAmpere}, {Address: addr, Shunt: 1, BusSpeed: -1}} {
		_, err := ina226.New(&wire{}, &hand{}, o)
		assert.Error(t, err, "%+v", o)
	}

	// A chip that never gets ready, and one in power-down.
	c := ina226.Config{ShuntTime: ina226.Convert332us, Mode: ina226.ShuntContinuous}
	w := &wire{}
	bus := &i2ctest.Playback{DontPanic: true, Ops: start(0x08, 0, 0x40, 0x15)}
	clk := &hand{}
	d, err := ina226.New(first{bus, w}, clk, ina226.Opts{Address: addr, Shunt: physic.MilliOhm, Config: c})
	require.NoError(t, err)
	var r ina226.Reading
	err = d.Next(&r)
	assert.ErrorIs(t, err, ina226.ErrNotReady)
	assert.Less(t, clk.t, 10*time.Millisecond)
	w.word = 0x4010
	require.NoError(t, d.Off())
	assert.ErrorIs(t, d.Next(&r), ina226.ErrOff)
	assert.ErrorIs(t, d.Learn(1), ina226.ErrOff)
	w.word = 0xFFFF
	assert.ErrorContains(t, d.Configure(c), "reads 0xffff")
}

// first plays a script and then goes over to another bus.
type first struct {
	*i2ctest.Playback
	then *wire
}

func (f first) Tx(addr uint16, w, r []byte) error {
	if f.Count == len(f.Ops) {
		return f.then.Tx(addr, w, r)
	}
	return f.Playback.Tx(addr, w, r)
}

func TestNextDoesNotAllocate(t *testing.T) {
	c := ina226.Config{ShuntTime: ina226.Convert332us, Mode: ina226.ShuntContinuous}
	bus := &i2ctest.Playback{DontPanic: true, Ops: start(0x08, 0, 0x40, 0x15)}
	d, err := ina226.New(first{bus, &wire{word: 0x0008}}, &hand{}, ina226.Opts{Address: addr, Shunt: physic.MilliOhm, Config: c, BusSpeed: 400 * physic.KiloHertz})
	require.NoError(t, err)
	var r ina226.Reading
	assert.Zero(t, testing.AllocsPerRun(100, func() { err = errors.Join(err, d.Next(&r)) }))
	assert.NoError(t, err)
}
