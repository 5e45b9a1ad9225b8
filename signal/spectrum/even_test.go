package spectrum

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestEvenKeepsALine(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	var ts, xs []float64
	at := 5.0
	for range 4000 {
		ts = append(ts, at)
		xs = append(xs, 2+0.3*math.Sin(2*math.Pi*37.3*at))
		at += 0.001 * (0.9 + 0.2*rng.Float64())
	}
	// A repeated time and a value that was not sampled do no harm.
	ts = append(ts[:100], append([]float64{ts[99], ts[99] + 1e-4}, ts[100:]...)...)
	xs = append(xs[:100], append([]float64{xs[99], math.NaN()}, xs[100:]...)...)
	grid, rate, err := Even(nil, ts, xs)
	require.NoError(t, err)
	assert.InDelta(t, 1000, rate, 10)
	lines, err := Lines(grid, rate, Options{})
	require.NoError(t, err)
	require.NotEmpty(t, lines)
	assert.InDelta(t, 37.3, lines[0].Frequency_Hz, 0.005)
	assert.InDelta(t, 0.3, lines[0].Amplitude, 0.005)
}

func TestEvenOfEvenChangesNothing(t *testing.T) {
	ts, xs := make([]float64, 50), make([]float64, 50)
	for i := range ts {
		ts[i], xs[i] = 0.02*float64(i), float64(i*i%7)
	}
	buf := make([]float64, 0, 100)
	grid, rate, err := Even(buf, ts, xs)
	require.NoError(t, err)
	assert.InDelta(t, 50, rate, 1e-9)
	assert.InDeltaSlice(t, xs, grid, 1e-9)
	assert.Same(t, &buf[:1][0], &grid[0])
}

func TestEvenSpansTheWhole(t *testing.T) {
	ts, xs := []float64{0}, []float64{0}
	for i := range 300 {
		ts = append(ts, ts[i]+[]float64{1, 1, 1.07}[i%3])
		xs = append(xs, float64(i))
	}
	// Of equal times the last sample counts.
	ts = append(ts[:9], append([]float64{ts[8]}, ts[9:]...)...)
	xs = append(xs[:9], append([]float64{50}, xs[9:]...)...)
	grid, rate, err := Even(nil, ts, xs)
	require.NoError(t, err)
	assert.InDelta(t, float64(len(grid)-1), rate*ts[len(ts)-1], 1e-9)
	assert.Greater(t, grid[8], 20.0)
	assert.Less(t, grid[12], 20.0)
}

func TestEvenRefuses(t *testing.T) {
	steps := func(step func(i int) float64) (ts, xs []float64) {
		at := 0.0
		for i := range 200 {
			ts, xs = append(ts, at), append(xs, 1)
			at += step(i)
		}
		return ts, xs
	}
	ts, xs := steps(func(i int) float64 {
		if i == 90 {
			return 0.5
		}
		return 0.01
	})
	_, _, err := Even(nil, ts, xs)
	assert.ErrorIs(t, err, ErrUneven)
	assert.ErrorContains(t, err, "a gap of 0.5 s")
	ts, xs = steps(func(i int) float64 { return []float64{0.01, 0.01, 0.03}[i%3] })
	_, _, err = Even(nil, ts, xs)
	assert.ErrorIs(t, err, ErrUneven)
	assert.ErrorContains(t, err, "% of the time")
	_, _, err = Even(nil, ts[:5], xs[:5])
	assert.ErrorIs(t, err, ErrUneven)
	_, _, err = Even(nil, nil, nil)
	assert.ErrorIs(t, err, ErrUneven)
	ts[50] = 0
	_, _, err = Even(nil, ts, xs)
	assert.ErrorContains(t, err, "sample 50")
	ts[50] = math.NaN()
	_, _, err = Even(nil, ts, xs)
	assert.ErrorContains(t, err, "sample 50")
	_, _, err = Even(nil, ts, xs[1:])
	assert.ErrorContains(t, err, "one time each")
}

func TestDetrend(t *testing.T) {
	x := make([]float64, 11)
	for i := range x {
		x[i] = 3 + 0.5*float64(i)
	}
	mean, slope := Detrend(x, 10)
	assert.InDelta(t, 5.5, mean, 1e-12)
	assert.InDelta(t, 5, slope, 1e-12)
	assert.InDeltaSlice(t, make([]float64, 11), x, 1e-12)
	one := []float64{4}
	mean, slope = Detrend(one, 1)
	assert.Equal(t, [2]float64{4, 0}, [2]float64{mean, slope})
	mean, _ = Detrend(nil, 1)
	assert.True(t, math.IsNaN(mean))
}

func FuzzEven(f *testing.F) {
	f.Add([]byte{10, 1, 10, 2, 10, 3, 11, 4, 9, 5, 10, 6, 10, 7, 10, 8, 10, 9})
	f.Fuzz(func(t *testing.T, data []byte) {
		var ts, xs []float64
		at := 0.0
		for i := 0; i+1 < len(data); i += 2 {
			at += float64(data[i])
			x := float64(data[i+1])
			if x == 255 {
				x = math.NaN()
			}
			ts, xs = append(ts, at), append(xs, x)
		}
		grid, rate, err := Even(nil, ts, xs)
		if err != nil {
			return
		}
		require.True(t, rate > 0)
		for _, v := range grid {
			require.True(t, v >= 0 && v <= 255, "%g", v)
		}
	})
}
