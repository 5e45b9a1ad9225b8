package stat

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Spearman's coefficient without ties is 1 - 6·Σd²/(n·(n²-1)); worked by hand
// in the comments.
func TestRankCorrelation(t *testing.T) {
	for name, c := range map[string]struct {
		x, y []float64
		want float64
	}{
		"rises, and not on a line":  {[]float64{1, 2, 3, 4}, []float64{1, 10, 100, 1e6}, 1},
		"falls":                     {[]float64{1, 2, 3}, []float64{3, 2, 1}, -1},
		"Σd² = 2: 1 - 12/60":        {[]float64{1, 2, 3, 4}, []float64{1, 3, 2, 4}, 0.8},
		"Σd² = 10: 1 - 60/120":      {[]float64{10, 20, 30, 40, 50}, []float64{2, 1, 5, 4, 3}, 0.5},
		"ranks 1, 2.5, 2.5, 4":      {[]float64{1, 2, 2, 3}, []float64{1, 2, 2, 3}, 1},
		"a tie on one side":         {[]float64{1, 2, 3}, []float64{5, 5, 9}, math.Sqrt(3) / 2},
		"one side does not vary":    {[]float64{1, 2, 3}, []float64{4, 4, 4}, math.NaN()},
		"one value":                 {[]float64{1}, []float64{1}, math.NaN()},
		"none":                      {nil, nil, math.NaN()},
		"sides of different length": {[]float64{1, 2, 3}, []float64{1, 2}, math.NaN()},
	} {
		t.Run(name, func(t *testing.T) {
			got := RankCorrelation(c.x, c.y)
			if math.IsNaN(c.want) {
				assert.True(t, math.IsNaN(got), "%v", got)
				return
			}
			assert.InDelta(t, c.want, got, 1e-12)
		})
	}
	assert.NotPanics(t, func() { RankCorrelation([]float64{math.NaN(), 1, math.NaN()}, []float64{1, 2, 3}) })
}

// A rising change of either side changes no rank.
func TestRankCorrelationKeepsUnderRisingChange(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	for range 50 {
		x, y, z := make([]float64, 20), make([]float64, 20), make([]float64, 20)
		for i := range x {
			x[i], y[i] = r.NormFloat64(), math.Round(3*r.NormFloat64())
			z[i] = math.Exp(y[i])
		}
		a := RankCorrelation(x, y)
		assert.InDelta(t, a, RankCorrelation(x, z), 1e-12)
		assert.InDelta(t, a, RankCorrelation(y, x), 1e-12)
		assert.LessOrEqual(t, math.Abs(a), 1+1e-12)
	}
}

// checkSelect holds Select against sorting, and the order that it leaves.
func checkSelect(t *testing.T, xs []float64, k int) {
	t.Helper()
	sorted, got := slices.Clone(xs), slices.Clone(xs)
	slices.Sort(sorted)
	v := Select(got, k)
	require.True(t, v == sorted[k] || math.IsNaN(v) && math.IsNaN(sorted[k]), "k %d: %v, sorted %v", k, v, sorted[k])
	for i, x := range got {
		require.False(t, i < k && x > v || i > k && x < v, "order at %d", i)
	}
	slices.Sort(got)
	require.True(t, slices.EqualFunc(sorted, got, func(a, b float64) bool { return a == b || a != a && b != b }), "values were lost")
}

func TestSelect(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 2))
	shapes := map[string]func(i int) float64{
		"random":     func(int) float64 { return r.NormFloat64() },
		"few values": func(int) float64 { return float64(r.IntN(3)) },
		"equal":      func(int) float64 { return 7 },
		"rising":     func(i int) float64 { return float64(i) },
		"falling":    func(i int) float64 { return -float64(i) },
		"organ pipe": func(i int) float64 { return -math.Abs(float64(i) - 50) },
		"saw":        func(i int) float64 { return float64(i % 7) },
		"infinite":   func(i int) float64 { return math.Inf(i%3 - 1) },
		"NaN": func(i int) float64 {
			if i%3 == 0 {
				return math.NaN()
			}
			return r.Float64()
		},
	}
	for name, shape := range shapes {
		t.Run(name, func(t *testing.T) {
			for _, n := range []int{1, 2, 3, 12, 13, 14, 15, 100, 257, 700} {
				xs := make([]float64, n)
				for i := range xs {
					xs[i] = shape(i)
				}
				for k := range n {
					checkSelect(t, xs, k)
				}
			}
		})
	}
	assert.True(t, math.IsNaN(Select(nil, 0)))
	assert.True(t, math.IsNaN(Select([]float64{1}, 1)))
	assert.True(t, math.IsNaN(Select([]float64{1}, -1)))
}

func FuzzSelect(f *testing.F) {
	f.Add([]byte{3, 1, 2, 255, 0, 9}, 2)
	f.Fuzz(func(t *testing.T, b []byte, k int) {
		if len(b) == 0 || len(b) > 4096 {
			return
		}
		xs := make([]float64, len(b))
		for i, c := range b {
			if xs[i] = float64(c); c == 255 {
				xs[i] = math.NaN()
			}
		}
		if k %= len(b); k < 0 {
			k = -k
		}
		checkSelect(t, xs, k)
	})
}

func BenchmarkSelect(b *testing.B) {
	r := rand.New(rand.NewPCG(3, 3))
	xs, c := make([]float64, 6000), make([]float64, 6000)
	for i := range xs {
		xs[i] = math.Round(1e4*r.NormFloat64()) / 1e4
	}
	for b.Loop() {
		copy(c, xs)
		Select(c, len(c)/2)
	}
}
