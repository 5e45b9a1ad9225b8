package plot

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestEnvelopeKeepsLowestAndHighestOfEachColumn(t *testing.T) {
	rnd := rand.New(rand.NewPCG(5, 6))
	for range 200 {
		n, columns := 1+rnd.IntN(3000), 1+rnd.IntN(200)
		x, y := make([]float64, n), make([]float64, n)
		at := 0.0
		for i := range x {
			at += rnd.ExpFloat64() // uneven steps
			x[i], y[i] = at, rnd.NormFloat64()
		}
		low, high := x[0], x[n-1]
		if n == 1 {
			high = low + 1
		}
		lines := Envelope(x, y, low, high, columns)
		require.Len(t, lines, 1)
		k := float64(columns) / (high - low)
		want, got := map[int]extent{}, map[int]extent{}
		add := func(m map[int]extent, x, y float64) {
			c := int((x - low) * k)
			e := m[c]
			e.add(y)
			m[c] = e
		}
		for i := range x {
			add(want, x[i], y[i])
		}
		for i, p := range lines[0] {
			add(got, p.X, p.Y)
			require.True(t, i == 0 || p.X >= lines[0][i-1].X)
		}
		require.Equal(t, want, got)
		require.LessOrEqual(t, len(lines[0]), 4*(columns+1))
		require.Equal(t, XY{x[0], y[0]}, lines[0][0])
		require.Equal(t, XY{x[n-1], y[n-1]}, lines[0][len(lines[0])-1])
	}
}

func TestEnvelopeBreaksAtWhatIsNoNumber(t *testing.T) {
	nan := math.NaN()
	lines := Envelope([]float64{0, 1, 2, 3, 4, nan, 6}, []float64{1, 2, nan, 3, math.Inf(1), 5, 6}, 0, 10, 100)
	assert.Equal(t, [][]XY{{{0, 1}, {1, 2}}, {{3, 3}}, {{6, 6}}}, lines)
	assert.Empty(t, Envelope(nil, nil, 0, 1, 10))
	assert.Empty(t, Envelope([]float64{1}, []float64{nan}, 0, 2, 10))
	assert.Empty(t, Envelope([]float64{5}, []float64{1}, nan, nan, 10))
	assert.Len(t, Envelope([]float64{5}, []float64{1}, 5, 5, 0), 1)
}

// A peak of 1 ms in 20 s at 50,000 samples a second must stand in the drawing.
func TestPeakOfAMillisecondSurvives(t *testing.T) {
	const n = 1_000_000
	x, y := make([]float64, n), make([]float64, n)
	for i := range x {
		x[i], y[i] = float64(i)/50_000, 1
	}
	for i := 400_700; i < 400_750; i++ {
		y[i] = 27
	}
	lines := Envelope(x, y, 0, x[n-1], 700)
	var e extent
	for _, p := range lines[0] {
		e.add(p.Y)
	}
	assert.Equal(t, 27.0, e.high)
}

func BenchmarkEnvelopeMillion(b *testing.B) {
	const n = 1_000_000
	rnd := rand.New(rand.NewPCG(7, 8))
	x, y := make([]float64, n), make([]float64, n)
	for i := range x {
		x[i], y[i] = float64(i), rnd.NormFloat64()
	}
	for b.Loop() {
		Envelope(x, y, 0, n, 700)
	}
}

func TestHeldTop(t *testing.T) {
	x, y := make([]float64, 2000), make([]float64, 2000)
	for i := range x {
		x[i], y[i] = float64(i)/1000, 2
	}
	assert.InDelta(t, 2.0, HeldTop(x, y, 0.02, 0), 1e-12)
	y[700] = 30 // one sample: a charging peak
	top := HeldTop(x, y, 0.02, 0)
	assert.Greater(t, top, 2.0)
	assert.Less(t, top, 6.0)
	for i := 700; i < 750; i++ { // 50 ms: no short peak
		y[i] = 30
	}
	assert.InDelta(t, 30.0, HeldTop(x, y, 0.02, 0), 1e-12)
	assert.Equal(t, 40.0, HeldTop(x, y, 0.02, 40))
	assert.Equal(t, 0.0, HeldTop(nil, nil, 1, 0))
	assert.Equal(t, 3.0, HeldTop([]float64{math.NaN()}, []float64{1}, 1, 3))
}
