package learn

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/kind"
	"dutybench/profiles"
	"dutybench/signal/stat"
)

// plain is a kind that says nothing of supply, and of which only values named
// in it spread in ratios.
type plain struct {
	kind.Kind
	ratios map[string]bool
}

func (p plain) Ratio(name string) bool { return p.ratios[name] }
func (p plain) AtSupply(m *kind.Measured, _ *profiles.Profile, _ func(float64, bool) float64) (*kind.Measured, bool) {
	return m, false
}

// holding is a profile whose good units have one value each.
func holding(unit string, xs ...float64) *profiles.Profile {
	p := &profiles.Profile{}
	for i, x := range xs {
		p.Good = append(p.Good, profiles.GoodUnit{Unit: fmt.Sprint("U-", i), Values: []profiles.Value{{Name: "x", X: x, Unit: unit}}})
	}
	return p
}

// scores are n values as even as normal ones get.
func scores(n int, mean, sd float64) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = mean + sd*stat.Normal((float64(i)+0.5)/float64(n))
	}
	return out
}

func only(t *testing.T, of []Interval) Interval {
	t.Helper()
	require.Len(t, of, 1)
	return of[0]
}

func TestIntervalOfNormalValues(t *testing.T) {
	// k2 of ISO 16269-6, two decimals as printed there (from memory): 10 units
	// 3.39 at 95/95 and 4.44 at 99/95; 20 units 2.76; 30 units 2.55.
	for _, c := range []struct {
		n        int
		coverage float64
		k        float64
	}{{10, 0.95, 3.39}, {10, 0.99, 4.44}, {20, 0.95, 2.76}, {30, 0.95, 2.55}} {
		xs := scores(c.n, 5, 0.1)
		v := only(t, Intervals(holding("A", xs...), plain{}, c.coverage, 0.95))
		mean, sd := stat.MeanSD(xs)
		require.InDelta(t, c.k, v.K, 0.006, "%d units", c.n)
		require.Equal(t, fmt.Sprintf("normal, k=%.2f", c.k), v.Basis())
		require.InDelta(t, mean-v.K*sd, v.Low, 1e-12)
		require.InDelta(t, mean+v.K*sd, v.High, 1e-12)
		require.InDelta(t, c.coverage, v.Coverage, 0)
		require.Equal(t, c.n, v.Units)
	}
}

// Of 93 units the range holds 95 % with 95 % confidence (Wilks 1941), of 20 it
// is 78 %: 1 − 20·p¹⁹ + 19·p²⁰ = 0.95 at p = 0.784, by hand.
func TestIntervalOfValuesThatAreNotNormal(t *testing.T) {
	for n, covers := range map[int]string{20: "range of 20: covers 78 %", 93: "range of 93: covers 95 %"} {
		var xs []float64
		for i := range n {
			xs = append(xs, float64(i%2)+0.001*float64(i)) // two heaps
		}
		v := only(t, Intervals(holding("A", xs...), plain{}, 0.95, 0.95))
		require.Equal(t, covers, v.Basis())
		require.Zero(t, v.K)
		require.InDelta(t, stat.RangeCoverage(n, 0.95), v.Coverage, 0)
		require.InDelta(t, 0, v.Low, 1e-12)
		require.Greater(t, v.High, 1.0)
	}
}

func TestIntervalOfRatios(t *testing.T) {
	var xs []float64
	for _, z := range scores(40, 0, 0.8) {
		xs = append(xs, 2*math.Exp(z))
	}
	v := only(t, Intervals(holding("%", xs...), plain{ratios: map[string]bool{"x": true}}, 0.95, 0.95))
	require.True(t, v.Ratio)
	require.Equal(t, fmt.Sprintf("log-normal, k=%.2f", stat.K2(40, 0.95, 0.95)), v.Basis())
	require.InDelta(t, 2, v.Mean, 1e-9, "the geometric mean")
	require.InDelta(t, 4, v.Low*v.High, 1e-9)
	require.Greater(t, v.Low, 0.0)
	// Without that word the same values are not normal, and get no such end.
	v = only(t, Intervals(holding("%", xs...), plain{}, 0.95, 0.95))
	require.Equal(t, "range of 40: covers 89 %", v.Basis())
	// Zero has no logarithm.
	xs[0] = 0
	v = only(t, Intervals(holding("%", xs...), plain{ratios: map[string]bool{"x": true}}, 0.95, 0.95))
	require.False(t, v.Ratio)
}

func TestIntervalOfOddValues(t *testing.T) {
	nan := math.NaN()
	for name, c := range map[string]struct {
		unit  string
		xs    []float64
		basis string // empty: no interval
		units int
	}{
		"none":             {"A", nil, "", 0},
		"one":              {"A", []float64{1}, "", 0},
		"two":              {"A", []float64{1, 2}, "range of 2: covers 3 %", 2}, // 1−2p+p² = 0.95 at p = 0.0253
		"one measured":     {"A", []float64{1, nan, nan}, "", 0},
		"none is a number": {"A", []float64{nan, math.Inf(1)}, "", 0},
		"some missing":     {"A", append(scores(10, 1, 0.1), nan, nan), "normal, k=3.39", 10},
		"all alike":        {"A", []float64{3, 3, 3, 3, 3, 3}, "range of 6: covers 42 %", 6}, // 1−6p⁵+5p⁶ = 0.95 at p = 0.418
		"a count":          {"", scores(10, 1, 0.1), "range of 10: covers 61 %", 10},
		"alike but a hair": {"A", []float64{1, 1, 1, 1, 1, 1, 1, 1 + 1e-12}, "range of 8: covers 53 %", 8},
	} {
		t.Run(name, func(t *testing.T) {
			out := Intervals(holding(c.unit, c.xs...), plain{}, 0.95, 0.95)
			if c.basis == "" {
				require.Empty(t, out)
				return
			}
			v := only(t, out)
			require.Equal(t, c.basis, v.Basis())
			require.Equal(t, c.units, v.Units)
			for _, x := range []float64{v.Mean, v.SD, v.Low, v.High, v.Coverage} {
				require.False(t, math.IsNaN(x) || math.IsInf(x, 0))
			}
			require.LessOrEqual(t, v.Low, v.High)
		})
	}
	require.Empty(t, Intervals(&profiles.Profile{}, plain{}, 0.95, 0.95))
}

// Currents of the curve spread in ratios; a duty that a unit was not swept at
// is missing in that unit only.
func TestIntervalsOfTheCurve(t *testing.T) {
	p := &profiles.Profile{Grid: []float64{20, 100}}
	for i, z := range scores(12, 0, 0.03) {
		g := profiles.GoodUnit{Unit: fmt.Sprint(i), Up: []float64{0.2 * math.Exp(z), 4 * math.Exp(z)}}
		if i >= 2 {
			g.Down = []float64{0.19 * math.Exp(z), math.NaN()}
		}
		p.Good = append(p.Good, g)
	}
	out := Intervals(p, plain{}, 0.95, 0.95)
	require.Len(t, out, 3)
	for i, want := range []struct {
		name  string
		units int
		mean  float64
	}{{"20 % duty, up", 12, 0.2}, {"100 % duty, up", 12, 4}, {"20 % duty, down", 10, 0.19}} {
		assert.Equal(t, want.name, out[i].Quantity)
		assert.Equal(t, want.units, out[i].Units)
		assert.InDelta(t, want.mean, out[i].Mean, 0.01*want.mean)
		assert.True(t, out[i].Ratio)
		assert.Equal(t, "A", out[i].Unit)
	}
}

// Normal samples of any size exceed the critical value once in a hundred.
func TestAndersonDarlingHoldsItsRate(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 7))
	const draws = 6000
	for _, n := range []int{5, 8, 12, 20, 60} {
		over := 0
		xs := make([]float64, n)
		for range draws {
			for i := range xs {
				xs[i] = 5 + 0.2*r.NormFloat64()
			}
			if !normal(xs) {
				over++
			}
		}
		low, high := stat.ClopperPearson(over, draws, 0.999)
		assert.True(t, low <= 0.01 && high >= 0.01, "%d units: %d of %d, %.4f to %.4f", n, over, draws, low, high)
	}
}

func TestAndersonDarlingFindsWhatIsNotNormal(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 7))
	found := 0
	for range 200 {
		xs := make([]float64, 20)
		for i := range xs {
			xs[i] = r.ExpFloat64()
		}
		if !normal(xs) {
			found++
		}
	}
	require.Greater(t, found, 100, "of exponential samples of 20")
	// Shift and scale are no matter.
	xs := scores(9, 0, 1)
	ys := scores(9, 1000, 3)
	require.InDelta(t, andersonDarling(xs), andersonDarling(ys), 1e-9)
	require.Equal(t, math.Inf(1), andersonDarling([]float64{1, 1, 1, 1, 1}))
	require.False(t, normal([]float64{1, 2, 3, 4}), "of four nothing can be said")
}
