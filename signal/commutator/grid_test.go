package commutator

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A converter that reads the supply every twentieth sample, and one whose clock
// jitters: the speed stays.
func TestGrid(t *testing.T) {
	for _, ratio := range []float64{0.03, 0.2, 0.38} {
		m := motor{perTurn: 12, hz: ratio * 20e3, mean: 1.6, depth: 0.08}.quiet(15)
		x := m.samples(20e3, 1, source(11))
		var ts, xs []float64
		r := source(12)
		for i, v := range x {
			if i%20 == 7 || i%100 == 50 {
				continue
			}
			ts, xs = append(ts, (float64(i)+0.02*r.NormFloat64())/20e3), append(xs, v)
		}
		grid, rate, err := Grid(ts, xs)
		require.NoError(t, err)
		assert.InDelta(t, 20e3, rate, 200)
		got, err := Speed(grid, rate, Options{PerTurn: 12, Fastest_rpm: 5.5 * m.hz})
		require.NoError(t, err)
		assert.InDelta(t, m.hz, got.Ripple_Hz, 0.001*m.hz)
	}
	ts := make([]float64, 200)
	for i := range ts {
		ts[i] = float64(i)
	}
	_, _, err := Grid(ts[:10], ts[:10])
	assert.ErrorIs(t, err, ErrSamples)
	bad := append([]float64{}, ts...)
	bad[50] = 20
	_, _, err = Grid(bad, ts)
	assert.ErrorIs(t, err, ErrSamples)
	for i := 100; i < 200; i++ {
		ts[i] += 30
	}
	_, _, err = Grid(ts, ts)
	assert.ErrorIs(t, err, ErrSamples)
	ts[120] = math.NaN()
	_, _, err = Grid(ts, ts)
	assert.ErrorIs(t, err, ErrSamples)
}
