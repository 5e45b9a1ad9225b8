package ina219_test

import (
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/i2c/i2ctest"
	"periph.io/x/conn/v3/physic"

	"dutybench/bench/chip/ina219"
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

// identity is the first exchange of New: reset, 399Fh and calibration 0 after
// it, and two words kept.
func identity() []i2ctest.IO {
	return []i2ctest.IO{set(0, 0x80, 0), get(0, 0x39, 0x9F), get(5, 0, 0),
		set(5, 0x5A, 0x5A), get(5, 0x5A, 0x5A), set(5, 0x25, 0xA4), get(5, 0x25, 0xA4)}
}

// configure is the exchange of Configure: power-down, the flag cleared, the
// configuration and its read back.
func configure(hi, lo byte) []i2ctest.IO {
	ops := []i2ctest.IO{set(0, hi, lo&^7), get(3, 0, 0)}
	if lo&3 != 0 {
		ops = append(ops, set(0, hi, lo))
	}
	return append(ops, get(0, hi, lo))
}

func start(calHi, calLo, cfgHi, cfgLo byte) []i2ctest.IO {
	ops := append(identity(), set(5, calHi, calLo), get(5, calHi, calLo))
	return append(ops, configure(cfgHi, cfgLo)...)
}

func play(t *testing.T, o ina219.Opts, ops ...i2ctest.IO) (*ina219.Dev, *hand) {
	t.Helper()
	bus := &i2ctest.Playback{Ops: ops, DontPanic: true}
	clk := &hand{}
	o.Address = addr
	d, err := ina219.New(bus, clk, o)
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, bus.Close()) })
	return d, clk
}

// SBOS448F Table 3, page 24: 10 A through 2 mΩ at 12 V, ranges 40 mV and
// 16 V; configuration 019Fh, calibration 5000h for a step of 1 mA.
func TestWorkedExample(t *testing.T) {
	both := ina219.Config{Range: ina219.Range40mV, BusTime: ina219.Convert12bit, ShuntTime: ina219.Convert12bit, Mode: ina219.BothContinuous}
	d, _ := play(t, ina219.Opts{Shunt: 2 * physic.MilliOhm, Highest: 32768 * physic.MilliAmpere, Config: both},
		append(start(0x50, 0x00, 0x01, 0x9F),
			get(0, 0x01, 0x9F), get(1, 0x07, 0xD0), get(2, 0x5D, 0x98), get(4, 0x27, 0x10), get(3, 0x17, 0x66))...)
	assert.Equal(t, uint16(20480), d.Calibration())
	assert.InDelta(t, 0.001, d.CurrentStep_A(), 1e-15)

	config, err := d.ReadConfig()
	require.NoError(t, err)
	assert.Equal(t, both, config)

	shunt, err := d.ReadShunt()
	require.NoError(t, err)
	assert.Equal(t, int16(2000), shunt)
	assert.Equal(t, 20*physic.MilliVolt, ina219.ShuntVoltage(shunt))
	assert.InDelta(t, 10, d.ShuntCurrent_A(shunt), 1e-12)

	bus, err := d.ReadBus()
	require.NoError(t, err)
	assert.Equal(t, uint16(2995), bus, "0BB3h after the shift")
	assert.Equal(t, 11980*physic.MilliVolt, ina219.BusVoltage(bus))

	current, err := d.ReadCurrent()
	require.NoError(t, err)
	assert.Equal(t, int16(10000), current)
	assert.InDelta(t, 10, float64(current)*d.CurrentStep_A(), 1e-12)

	power, err := d.ReadPower()
	require.NoError(t, err)
	assert.InDelta(t, 119.8, float64(power)*20*d.CurrentStep_A(), 1e-9) // 5990 × 20 mW
}

// Tables of PG, BADC, SADC and MODE (SBOS448F pages 26 to 28).
func TestConfigurationCodes(t *testing.T) {
	w, err := ina219.Config{Bus32V: true, Range: ina219.Range320mV, BusTime: 3, ShuntTime: 3, Mode: 7}.Word()
	require.NoError(t, err)
	assert.Equal(t, uint16(0x399F), w, "the power-on configuration")

	for code := range uint8(4) {
		assert.Equal(t, []int16{4000, 8000, 16000, 32000}[code], ina219.Range(code).Codes())
	}
	typical := []int{84, 148, 276, 532, 84, 148, 276, 532, 532, 1060, 2130, 4260, 8510, 17020, 34050, 68100}
	longest := []int{93, 163, 304, 586, 93, 163, 304, 586, 586}
	for code, us := range typical {
		assert.Equal(t, time.Duration(us)*time.Microsecond, ina219.Convert(code).Typical(), code)
		if code < len(longest) {
			assert.Equal(t, time.Duration(longest[code])*time.Microsecond, ina219.Convert(code).Max(), code)
		} else {
			assert.InDelta(t, float64(us)*586/532, float64(ina219.Convert(code).Max())/1e3, float64(us)*0.001, code)
		}
		for shift, c := range map[int]ina219.Config{7: {BusTime: ina219.Convert(code)}, 3: {ShuntTime: ina219.Convert(code)}} {
			w, err := c.Word()
			require.NoError(t, err)
			assert.Equal(t, uint16(code)<<shift, w)
		}
	}
	assert.Equal(t, 808*time.Microsecond, ina219.Config{BusTime: 2, ShuntTime: 3, Mode: ina219.BothContinuous}.Typical())
	for mode, want := range []struct{ off, triggered, shunt, bus bool }{
		{off: true}, {triggered: true, shunt: true}, {triggered: true, bus: true}, {triggered: true, shunt: true, bus: true},
		{off: true}, {shunt: true}, {bus: true}, {shunt: true, bus: true},
	} {
		m := ina219.Mode(mode)
		assert.Equal(t, want.off, m.Off(), mode)
		assert.Equal(t, want.triggered, m.Triggered(), mode)
		assert.Equal(t, want.shunt, m.Shunt(), mode)
		assert.Equal(t, want.bus, m.Bus(), mode)
	}
	for _, c := range []ina219.Config{{Range: 4}, {BusTime: 16}, {ShuntTime: 16}, {Mode: 8}} {
		_, err = c.Word()
		assert.ErrorIs(t, err, ina219.ErrConfig)
	}
}

// 40 A in 2 mΩ are 80 mV: the second range.
func TestRangeFor(t *testing.T) {
	for _, c := range []struct {
		mV   int64
		want ina219.Range
		ok   bool
	}{{1, ina219.Range40mV, true}, {40, ina219.Range40mV, true}, {80, ina219.Range80mV, true}, {81, ina219.Range160mV, true}, {320, ina219.Range320mV, true}, {321, ina219.Range320mV, false}} {
		r, ok := ina219.RangeFor(physic.ElectricPotential(c.mV) * physic.MilliVolt)
		assert.Equal(t, c.ok, ok, c.mV)
		assert.Equal(t, c.want, r, c.mV)
	}
}

// Next looks at bit 1 of the bus register, the second time without the
// pointer, reads the shunt register and clears the flag by the power register.
func TestNext(t *testing.T) {
	shunt := ina219.Config{ShuntTime: ina219.Convert12bit, Range: ina219.Range80mV, Mode: ina219.ShuntContinuous}
	d, clk := play(t, ina219.Opts{Shunt: 2 * physic.MilliOhm, Config: shunt, BusSpeed: 400 * physic.KiloHertz},
		append(start(0x41, 0x88, 0x08, 0x1D), // 0.04096 / (40 A / 2^15 × 2 mΩ) = 16777.2, even
			get(2, 0, 0), again(0xFF, 0xFC), again(0, 0x02), get(1, 0x1F, 0x40), get(3, 0, 0),
			get(2, 0, 0x03), get(1, 0xE0, 0xC0), get(3, 0, 0),
			get(2, 0, 0x02), get(1, 0xFF, 0xFF), get(3, 0, 0))...)
	var r ina219.Reading
	require.NoError(t, d.Next(&r))
	assert.Equal(t, int16(8000), r.Shunt)
	assert.True(t, r.Saturated, "80 mV is the end of the range")
	assert.False(t, r.Overflow)
	assert.Greater(t, clk.t, (532*9/10-73)*time.Microsecond, "slept for the shortest conversion, less the 29 bits before the flag is handed out")
	require.NoError(t, d.Next(&r))
	assert.Equal(t, int16(-8000), r.Shunt)
	assert.True(t, r.Saturated)
	assert.True(t, r.Overflow)
	require.NoError(t, d.Next(&r))
	assert.Equal(t, int16(-1), r.Shunt)
	assert.False(t, r.Saturated)
}

func TestNextTriggered(t *testing.T) {
	c := ina219.Config{BusTime: ina219.Convert9bit, ShuntTime: ina219.Convert9bit, Mode: ina219.BothTriggered}
	d, _ := play(t, ina219.Opts{Shunt: 2 * physic.MilliOhm, Config: c}, append(start(0x83, 0x12, 0x00, 0x03),
		set(0, 0x00, 0x03), get(2, 0x5D, 0x9A), get(1, 0x07, 0xD0), get(3, 0, 0))...)
	var r ina219.Reading
	require.NoError(t, d.Next(&r))
	assert.Equal(t, int16(2000), r.Shunt)
	assert.Equal(t, uint16(2995), r.Bus)
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

// Two conversions of 148 µs: the shunt may be converted again before it is
// read at 240 µs. A pair that may be of two is not returned.
func TestNextReturnsNoTornPair(t *testing.T) {
	c := ina219.Config{BusTime: ina219.Convert10bit, ShuntTime: ina219.Convert10bit, Mode: ina219.BothContinuous}
	ops := start(0x83, 0x12, 0x00, 0x8F)
	for range 16 {
		ops = append(ops, get(2, 0x5D, 0x9A), get(1, 0x07, 0xD0), get(3, 0, 0))
	}
	bus := &i2ctest.Playback{DontPanic: true, Ops: ops}
	clk := &hand{}
	d, err := ina219.New(slow{bus, clk}, clk, ina219.Opts{Address: addr, Shunt: 2 * physic.MilliOhm, Config: c})
	require.NoError(t, err)
	var r ina219.Reading
	assert.ErrorIs(t, d.Next(&r), ina219.ErrTorn)
	assert.NoError(t, bus.Close())
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

func TestErrors(t *testing.T) {
	// 4127h is what an INA226 reads after a reset.
	for _, word := range []uint16{0x4127, 0xFFFF, 0x0000, 0x399F} {
		_, err := ina219.New(&wire{word: word}, &hand{}, ina219.Opts{Address: addr, Shunt: physic.MilliOhm})
		assert.ErrorIs(t, err, ina219.ErrIdentity, "%#x", word)
		assert.ErrorContains(t, err, "0x40")
	}
	bus := &i2ctest.Playback{DontPanic: true, Ops: append(identity()[:5], set(5, 0x25, 0xA4), get(5, 0x25, 0xA5))}
	_, err := ina219.New(bus, &hand{}, ina219.Opts{Address: addr, Shunt: physic.MilliOhm})
	assert.ErrorIs(t, err, ina219.ErrReadBack)

	nack := errors.New("no acknowledge")
	_, err = ina219.New(&wire{err: nack}, &hand{}, ina219.Opts{Address: addr, Shunt: physic.MilliOhm})
	assert.ErrorIs(t, err, nack)
	assert.ErrorContains(t, err, "configuration")
	assert.ErrorContains(t, err, "pull-ups")

	for _, o := range []ina219.Opts{{Address: 0x50, Shunt: 1}, {Address: addr}, {Address: addr, Shunt: -1}, {Address: addr, Shunt: 1, Highest: -1},
		{Address: addr, Shunt: physic.NanoOhm, Highest: physic.NanoAmpere}, {Address: addr, Shunt: physic.KiloOhm, Highest: physic.KiloAmpere}, {Address: addr, Shunt: 1, BusSpeed: -1}} {
		_, err := ina219.New(&wire{}, &hand{}, o)
		assert.Error(t, err, "%+v", o)
	}

	// A chip that never gets ready, and one in power-down.
	c := ina219.Config{ShuntTime: ina219.Convert12bit, Mode: ina219.ShuntContinuous}
	w := &wire{}
	script := &i2ctest.Playback{DontPanic: true, Ops: start(0x83, 0x12, 0x00, 0x1D)}
	clk := &hand{}
	d, err := ina219.New(first{script, w}, clk, ina219.Opts{Address: addr, Shunt: physic.MilliOhm, Config: c})
	require.NoError(t, err)
	var r ina219.Reading
	err = d.Next(&r)
	assert.ErrorIs(t, err, ina219.ErrNotReady)
	assert.Less(t, clk.t, 10*time.Millisecond)
	w.word = 0x0018
	require.NoError(t, d.Off())
	assert.ErrorIs(t, d.Next(&r), ina219.ErrOff)
	assert.ErrorIs(t, d.Learn(1), ina219.ErrOff)
	w.word = 0xFFFF
	assert.ErrorContains(t, d.Configure(c), "reads 0xffff")
	assert.Error(t, d.SetCalibration(0))
	assert.Error(t, d.SetCalibration(3))
}

func TestNextDoesNotAllocate(t *testing.T) {
	c := ina219.Config{ShuntTime: ina219.Convert12bit, Mode: ina219.ShuntContinuous}
	bus := &i2ctest.Playback{DontPanic: true, Ops: start(0x83, 0x12, 0, 0x1D)}
	d, err := ina219.New(first{bus, &wire{word: 0x0002}}, &hand{}, ina219.Opts{Address: addr, Shunt: physic.MilliOhm, Config: c, BusSpeed: 400 * physic.KiloHertz})
	require.NoError(t, err)
	var r ina219.Reading
	assert.Zero(t, testing.AllocsPerRun(100, func() { err = errors.Join(err, d.Next(&r)) }))
	assert.NoError(t, err)
}

// The driver's own cost of a sample, on a bus that takes no time.
func BenchmarkNext(b *testing.B) {
	c := ina219.Config{ShuntTime: ina219.Convert12bit, Mode: ina219.ShuntContinuous}
	bus := &i2ctest.Playback{DontPanic: true, Ops: start(0x83, 0x12, 0, 0x1D)}
	d, err := ina219.New(first{bus, &wire{word: 0x0002}}, &hand{}, ina219.Opts{Address: addr, Shunt: physic.MilliOhm, Config: c, BusSpeed: 400 * physic.KiloHertz})
	require.NoError(b, err)
	var r ina219.Reading
	b.ReportAllocs()
	for b.Loop() {
		if err := d.Next(&r); err != nil {
			b.Fatal(err)
		}
	}
}
