package ads1115_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/i2c/i2ctest"
	"periph.io/x/conn/v3/physic"

	"dutybench/bench/chip/ads1115"
)

// chip keeps its config and is busy for as long as its rate says, times slow;
// a transaction takes 100 µs.
type chip struct {
	i2ctest.Playback
	clk    *hand
	slow   float64
	config uint16
	free   time.Duration
	early  int // results read while busy
}

func (c *chip) Tx(_ uint16, w, r []byte) error {
	c.clk.t += 100 * time.Microsecond
	reg := byte(0)
	if len(w) > 0 {
		reg = w[0]
	}
	if len(w) == 3 && reg == 1 {
		c.config = uint16(w[1])<<8 | uint16(w[2])
		rate := []float64{8, 16, 32, 64, 128, 250, 475, 860}[c.config>>5&7]
		if c.config>>15 != 0 {
			c.free = c.clk.t + time.Duration(c.slow*1e9/rate) + 25*time.Microsecond
		}
	}
	busy := c.clk.t < c.free
	v := c.config | 0x8000
	if busy {
		v = c.config &^ 0x8000
	}
	if len(r) == 2 {
		if reg == 0 && busy {
			c.early++
		}
		r[0], r[1] = byte(v>>8), byte(v)
	}
	return nil
}

// Once learned, a result is waited for as long as this chip needs, and no
// less: from −9 to +10 % of the typical time.
func TestLearn(t *testing.T) {
	for _, slow := range []float64{0.91, 0.95, 1, 1.05, 1.10} {
		c := &chip{clk: &hand{}, slow: slow}
		d, err := ads1115.New(c, c.clk, addr)
		require.NoError(t, err)
		require.NoError(t, d.Learn(3))
		for _, rate := range []ads1115.Rate{ads1115.Rate860, ads1115.Rate128, ads1115.Rate8} {
			var r ads1115.Reading
			require.NoError(t, d.Measure(ads1115.Single0, ads1115.Range4096mV, rate, &r))
			begun := c.clk.t
			require.NoError(t, d.Measure(ads1115.Single0, ads1115.Range4096mV, rate, &r))
			took := float64(c.clk.t-begun-200*time.Microsecond-50*time.Microsecond) / float64(rate.Typical())
			assert.InDelta(t, slow+0.0125, took, 0.012, "%v at %g", rate.Typical(), slow)
		}
		assert.Zero(t, c.early)
	}
	c := &chip{clk: &hand{}, slow: 1}
	d, err := ads1115.New(c, c.clk, addr)
	require.NoError(t, err)
	c.slow = 100
	assert.ErrorIs(t, d.Learn(1), ads1115.ErrNotReady)
	assert.Error(t, d.SetBusSpeed(0))
	assert.NoError(t, d.SetBusSpeed(400*physic.KiloHertz))
}

// The driver's own cost of a sample, on a bus that takes no time of its own.
func BenchmarkMeasure(b *testing.B) {
	c := &chip{clk: &hand{}, slow: 1}
	d, err := ads1115.New(c, c.clk, addr)
	require.NoError(b, err)
	require.NoError(b, d.Learn(3))
	var r ads1115.Reading
	b.ReportAllocs()
	for b.Loop() {
		if err := d.Measure(ads1115.Single0, ads1115.Range4096mV, ads1115.Rate860, &r); err != nil {
			b.Fatal(err)
		}
	}
}
