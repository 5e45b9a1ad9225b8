package ads1115_test

import (
	"errors"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/i2c/i2ctest"
	"periph.io/x/conn/v3/physic"

	"dutybench/bench/chip/ads1115"
)

type hand struct{ t time.Duration }

func (h *hand) Now() time.Duration { return h.t }

func (h *hand) Sleep(d time.Duration) { h.t += max(d, 0) }

const addr = 0x48

func get(reg, hi, lo byte) i2ctest.IO {
	return i2ctest.IO{Addr: addr, W: []byte{reg}, R: []byte{hi, lo}}
}

func set(reg, hi, lo byte) i2ctest.IO { return i2ctest.IO{Addr: addr, W: []byte{reg, hi, lo}} }

func again(hi, lo byte) i2ctest.IO { return i2ctest.IO{Addr: addr, R: []byte{hi, lo}} }

// start is the exchange of New: two configurations written and read back with
// the idle bit set: AIN2−AIN3, ±1.024 V, 16 SPS; AIN0, ±4.096 V, 860 SPS;
// both single-shot with the comparator off.
var start = []i2ctest.IO{
	set(1, 0x37, 0x23), get(1, 0xB7, 0x23),
	set(1, 0x43, 0xE3), get(1, 0xC3, 0xE3),
}

func play(t *testing.T, ops ...i2ctest.IO) (*ads1115.Dev, *hand) {
	t.Helper()
	bus := &i2ctest.Playback{Ops: append(append([]i2ctest.IO{}, start...), ops...), DontPanic: true}
	clk := &hand{}
	d, err := ads1115.New(bus, clk, addr)
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, bus.Close()) })
	return d, clk
}

// Fields and codes of the config register (SBAS444E). The reset value 8583h
// is AIN0−AIN1, ±2.048 V, 128 SPS, single-shot, comparator off.
func TestConfigurationCodes(t *testing.T) {
	w, err := ads1115.Config{Mux: ads1115.Differ01, Range: ads1115.Range2048mV, Rate: ads1115.Rate128, SingleShot: true}.Word()
	require.NoError(t, err)
	assert.Equal(t, uint16(0x8583)&0x7FFF, w)

	scales := []physic.ElectricPotential{6144, 4096, 2048, 1024, 512, 256, 256, 256}
	steps := []float64{187.5e-6, 125e-6, 62.5e-6, 31.25e-6, 15.625e-6, 7.8125e-6, 7.8125e-6, 7.8125e-6}
	rates := []int{8, 16, 32, 64, 128, 250, 475, 860}
	for code := range uint8(8) {
		for shift, c := range map[int]ads1115.Config{12: {Mux: ads1115.Mux(code)}, 9: {Range: ads1115.Range(code)}, 5: {Rate: ads1115.Rate(code)}} {
			w, err := c.Word()
			require.NoError(t, err)
			assert.Equal(t, 0x0003|uint16(code)<<shift, w)
		}
		assert.Equal(t, scales[code]*physic.MilliVolt, ads1115.Range(code).FullScale())
		assert.InDelta(t, steps[code], ads1115.Range(code).Step_V(), 1e-18)
		assert.Equal(t, rates[code], ads1115.Rate(code).PerSecond())
		// The rate is ±10 %: the longest conversion is 1/0.9 of the nominal.
		assert.InDelta(t, 1e9/float64(rates[code])/0.9, float64(ads1115.Rate(code).Max()), 10)
	}
	_, err = ads1115.Config{Mux: 8}.Word()
	assert.ErrorIs(t, err, ads1115.ErrConfig)
	assert.Equal(t, ads1115.Mux(6), ads1115.Single2)
}

// 28304 (6E90h) at ±2.048 V is 1.76900 V (e2e thread 921116 has the code);
// the start bit is written and the idle bit polled.
func TestMeasure(t *testing.T) {
	d, clk := play(t,
		set(1, 0xC5, 0x83), get(1, 0x45, 0x83), get(1, 0xC5, 0x83), get(0, 0x6E, 0x90))
	var r ads1115.Reading
	begun := clk.t
	require.NoError(t, d.Measure(ads1115.Single0, ads1115.Range2048mV, ads1115.Rate128, &r))
	assert.Equal(t, int16(28304), r.Code)
	assert.InDelta(t, 1.769, r.Volt, 1e-12)
	assert.False(t, r.Clipped)
	assert.Greater(t, clk.t-begun, time.Second/128*9/10, "slept for the shortest conversion")
}

// Ideal codes at the ends (SBAS740B table of the same core).
func TestCodes(t *testing.T) {
	for _, c := range []struct {
		hi, lo  byte
		volt    float64
		clipped bool
	}{
		{0x7F, 0xFF, 4.096 * 32767 / 32768, true}, {0x80, 0x00, -4.096, true},
		{0x00, 0x01, 125e-6, false}, {0xFF, 0xFF, -125e-6, false}, {0, 0, 0, false},
	} {
		d, clk := play(t, set(1, 0xE3, 0xE3), get(0, c.hi, c.lo))
		require.NoError(t, d.Start(ads1115.Single2, ads1115.Range4096mV, ads1115.Rate860))
		at, running := d.Due()
		assert.True(t, running)
		clk.t = at
		var r ads1115.Reading
		require.NoError(t, d.Fetch(&r))
		assert.InDelta(t, c.volt, r.Volt, 1e-12)
		assert.Equal(t, c.clipped, r.Clipped)
		assert.ErrorIs(t, d.Fetch(&r), ads1115.ErrIdle)
	}
}

// No result is returned before its time: in single-shot a conversion at 90 %
// of the rate, after a change in continuous mode two of them, the old one
// and the new.
func TestNothingStale(t *testing.T) {
	d, clk := play(t,
		set(1, 0x42, 0x83), get(1, 0x42, 0x83), get(0, 0, 1), again(0, 2),
		set(1, 0x52, 0xE3), get(1, 0x52, 0xE3), get(0, 0, 3))
	var r ads1115.Reading
	require.NoError(t, d.Configure(ads1115.Config{Mux: ads1115.Single0, Range: 1, Rate: ads1115.Rate128}))
	assert.ErrorIs(t, d.Fetch(&r), ads1115.ErrNotReady)
	assert.ErrorIs(t, d.Start(ads1115.Single0, 0, 0), ads1115.ErrConfig)
	for range 2 {
		before := clk.t
		require.NoError(t, d.Next(&r))
		assert.Greater(t, clk.t-before, time.Second*10/9/128)
	}
	assert.Equal(t, int16(2), r.Code)
	before := clk.t
	require.NoError(t, d.Configure(ads1115.Config{Mux: ads1115.Single1, Range: 1, Rate: ads1115.Rate860}))
	require.NoError(t, d.Next(&r))
	assert.Greater(t, clk.t-before, time.Second*10/9/128+time.Second*10/9/860)
	assert.Equal(t, int16(3), r.Code)
}

// Conversion ready on the pin: high threshold's top bit 1, low one's 0; then
// a window comparator, latching, after two conversions.
func TestComparator(t *testing.T) {
	d, _ := play(t,
		set(2, 0, 0), set(3, 0x80, 0), set(1, 0x43, 0xE8), get(1, 0xC3, 0xE8),
		set(2, 0xFC, 0x18), set(3, 0x03, 0xE8), set(1, 0x43, 0xF5), get(1, 0xC3, 0xF5),
		get(2, 0xFC, 0x18), get(3, 0x03, 0xE8))
	require.NoError(t, d.ReadyPin(true))
	require.NoError(t, d.SetCompare(ads1115.Compare{Window: true, Latch: true, After: 2, Low: -1000, High: 1000}))
	low, high, err := d.Thresholds()
	require.NoError(t, err)
	assert.Equal(t, []int16{-1000, 1000}, []int16{low, high})
	assert.ErrorIs(t, d.SetCompare(ads1115.Compare{After: 3}), ads1115.ErrConfig)
	assert.ErrorIs(t, d.SetCompare(ads1115.Compare{After: 1, Low: math.MaxInt16, High: 1}), ads1115.ErrConfig)
}

type wire struct {
	i2ctest.Playback
	word uint16
	err  error
}

func (w *wire) Tx(_ uint16, out, r []byte) error {
	if len(out) == 3 && out[0] == 1 && w.word == 0 {
		w.Ops = []i2ctest.IO{{W: out}}
	}
	if len(r) == 2 {
		r[0], r[1] = byte(w.word>>8), byte(w.word)
		if w.word == 0 && len(w.Ops) > 0 {
			r[0], r[1] = w.Ops[0].W[1]&0x7F, w.Ops[0].W[2]
		}
	}
	return w.err
}

func TestErrors(t *testing.T) {
	_, err := ads1115.New(&wire{word: 0xFFFF}, &hand{}, addr)
	assert.ErrorIs(t, err, ads1115.ErrReadBack)
	nack := errors.New("no acknowledge")
	_, err = ads1115.New(&wire{err: nack}, &hand{}, addr)
	assert.ErrorIs(t, err, nack)
	assert.ErrorContains(t, err, "0x48")
	assert.ErrorContains(t, err, "config register")
	assert.ErrorContains(t, err, "pull-ups")
	_, err = ads1115.New(&wire{}, &hand{}, 0x47)
	assert.Error(t, err)

	// A chip that stays busy.
	clk := &hand{}
	d, err := ads1115.New(&wire{}, clk, addr)
	require.NoError(t, err)
	var r ads1115.Reading
	assert.ErrorIs(t, d.Measure(ads1115.Single0, 0, ads1115.Rate860, &r), ads1115.ErrNotReady)
	assert.Less(t, clk.t, 5*time.Millisecond)
	assert.ErrorIs(t, d.Next(&r), ads1115.ErrIdle)
}

func TestMeasureDoesNotAllocate(t *testing.T) {
	clk := &hand{}
	d, err := ads1115.New(&wire{}, clk, addr)
	require.NoError(t, err)
	var r ads1115.Reading
	require.NoError(t, d.Configure(ads1115.Config{Rate: ads1115.Rate860}))
	assert.Zero(t, testing.AllocsPerRun(100, func() { err = errors.Join(err, d.Next(&r)) }))
	assert.NoError(t, err)
}
