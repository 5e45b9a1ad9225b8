package stat

import (
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
)

// The median by a sample must be that by sorting, to the bit, whatever the
// values: ties, order, NaN, steps.
func TestMedianOfManyIsThatOfSorted(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 3))
	for _, c := range []struct {
		name  string
		shape func(i, n int) float64
	}{
		{"noise", func(int, int) float64 { return r.NormFloat64() }},
		{"converter", func(int, int) float64 { return math.Round(3*r.NormFloat64()) / 1e3 }},
		{"constant", func(int, int) float64 { return 4.79 }},
		{"rising", func(i, _ int) float64 { return float64(i) }},
		{"falling", func(i, _ int) float64 { return -float64(i) }},
		{"two levels", func(i, n int) float64 { return float64(2 * i / n) }},
		{"mostly one", func(i, n int) float64 { return float64(7 * i / n / 6) }},
		{"some NaN", func(int, int) float64 {
			if r.IntN(10) == 0 {
				return math.NaN()
			}
			return r.Float64()
		}},
		{"mostly NaN", func(int, int) float64 {
			if r.IntN(10) > 0 {
				return math.NaN()
			}
			return r.Float64()
		}},
		// The sample sees every one of its own and nothing else.
		{"against the sample", func(i, n int) float64 {
			if i*31%n < 31 {
				return 100
			}
			return r.Float64()
		}},
	} {
		for _, n := range []int{manyValues, manyValues + 1, manyValues + 2, 600, 601, 4801, 30000} {
			xs := make([]float64, n)
			for i := range xs {
				xs[i] = c.shape(i, n)
			}
			sorted, before := slices.Sorted(slices.Values(xs)), slices.Clone(xs)
			want := sorted[n/2]
			if n%2 == 0 {
				want = sorted[n/2-1] + (want-sorted[n/2-1])/2
			}
			got := Median(xs)
			assert.True(t, got == want || math.IsNaN(got) && math.IsNaN(want), "%s, %d: %v, not %v", c.name, n, got, want)
			for i := range xs {
				assert.Equal(t, math.Float64bits(before[i]), math.Float64bits(xs[i]), "%s, %d: touched", c.name, n)
			}
		}
	}
}

func TestMedianAllocatesNothing(t *testing.T) {
	if testing.Short() {
		t.Skip("under the race detector, which runs the short tests, pools forget on purpose")
	}
	xs := make([]float64, 5000)
	for i := range xs {
		xs[i] = float64(i * 7919 % 5000)
	}
	assert.Less(t, testing.AllocsPerRun(100, func() { _, _ = Median(xs), RobustSD(xs) }), 0.5)
}

func BenchmarkMedian(b *testing.B) {
	r := rand.New(rand.NewPCG(3, 3))
	xs := make([]float64, 4800)
	for i := range xs {
		xs[i] = math.Round(40*r.NormFloat64()) / 1e4
	}
	b.ReportAllocs()
	for b.Loop() {
		Median(xs)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(xs)), "ns/value")
}

func BenchmarkQuantiles(b *testing.B) {
	r := rand.New(rand.NewPCG(3, 3))
	for _, n := range []int{300, 1200, 3000, 12000} {
		xs := make([]float64, n)
		for i := range xs {
			xs[i] = math.Round(40*r.NormFloat64()) / 1e4
		}
		c := make([]float64, n)
		b.Run(strconv.Itoa(n), func(b *testing.B) {
			for b.Loop() {
				copy(c, xs)
				Select(c, n/4)
				Select(c, n/2)
				Select(c, n*19/20)
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(xs)), "ns/value")
		})
	}
}
