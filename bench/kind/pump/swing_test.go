package pump

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/signal/spectrum"
	"dutybench/signal/step"
)

// A line of a known share of the running current comes back at any rate and
// frequency that carries it.
func TestLineComesBack(t *testing.T) {
	for _, rate := range []float64{500, 1000, 2000, 20000} {
		for _, hz := range []float64{7.3, 31, 90} {
			t.Run(fmt.Sprintf("%g Hz sampled at %g", hz, rate), func(t *testing.T) {
				w := swingOf(t, rate, 3, func(t float64) float64 { return 0.05 * math.Sin(2*math.Pi*hz*t) })
				// A Hann window reads a line between two bins 15 % low at worst.
				assert.InDelta(t, 0.046, w.line, 0.005)
				assert.Less(t, w.unrest, 0.01, "the line itself is no unrest")
			})
		}
	}
}

// Unrest in the band is found with its rms; outside the
// band it is not.
func TestUnrestComesBack(t *testing.T) {
	noise := func(seed uint64, low, high float64) func(t float64) float64 {
		r := rand.New(rand.NewPCG(seed, 7))
		var hz, ph []float64
		for range 60 {
			hz, ph = append(hz, low+(high-low)*r.Float64()), append(ph, 2*math.Pi*r.Float64())
		}
		return func(t float64) float64 {
			var s float64
			for i := range hz {
				s += math.Sin(2*math.Pi*hz[i]*t + ph[i])
			}
			return 0.04 * s / math.Sqrt(30) // 60 sines of rms √½
		}
	}
	var in, out float64
	const draws = 24
	for k := range uint64(draws) {
		in += swingOf(t, 1000, 4, noise(k, 2, 20)).unrest / draws
		out += swingOf(t, 1000, 4, noise(k, 60, 140)).unrest / draws
	}
	assert.InDelta(t, 0.04, in, 0.004)
	assert.Less(t, out, 0.008)
}

// A ripple far above the band, as commutation makes, folds into it with an
// eighth of its height at most: means of blocks are a filter of first order.
func TestFastRippleHardlyFoldsIn(t *testing.T) {
	for _, hz := range []float64{700, 1310, 3333, 7777} {
		w := swingOf(t, 20000, 3, func(t float64) float64 { return 0.2 * math.Sin(2*math.Pi*hz*t) })
		assert.Less(t, w.line, 0.2/8, "%g Hz", hz)
		assert.Less(t, w.unrest, 0.2/8, "%g Hz", hz)
	}
}

func TestQuietPlateauHasNeither(t *testing.T) {
	w := swingOf(t, 1000, 3, func(float64) float64 { return 0 })
	require.Less(t, w.line, 0.001)
	require.Less(t, w.unrest, 0.001)
}

// swingOf looks at a plateau at 2 A with a swing of a share.
func swingOf(t *testing.T, rate, length float64, share func(t float64) float64) swung {
	t.Helper()
	const rest, run = 0.03, 2.0
	r := rand.New(rand.NewPCG(50, uint64(rate)))
	tr := sampled{rate_Hz: rate, length_s: length, duty: func(float64) float64 { return 60 },
		current: func(at float64) float64 { return rest + run*(1+share(at)) + 0.001*r.NormFloat64() }}.trace()
	var an spectrum.Analyzer
	line, unrest, ok := swing(&an, tr, step.Plateau{Step: step.Step{From: 0, To: tr.Len()}, Start: 0, End: tr.Len(), Median_A: rest + run}, rest)
	require.True(t, ok)
	return swung{line, unrest}
}

type swung struct{ line, unrest float64 }

func TestSwingNeedsRateLengthAndCurrent(t *testing.T) {
	for name, c := range map[string]struct{ rate, length, median float64 }{
		"too slow": {50, 20, 2}, "too short": {1000, 0.1, 2}, "no running current": {1000, 3, 0.03},
	} {
		tr := sampled{rate_Hz: c.rate, length_s: c.length, duty: func(float64) float64 { return 60 }, current: func(float64) float64 { return 2 }}.trace()
		var an spectrum.Analyzer
		_, _, ok := swing(&an, tr, step.Plateau{Step: step.Step{To: tr.Len()}, End: tr.Len(), Median_A: c.median}, 0.03)
		require.False(t, ok, name)
	}
}

// Gaps of known number and length are counted; shorter ones are not.
func TestDropOutsAreCounted(t *testing.T) {
	duty, length := stairs(1)
	for _, c := range []struct {
		name   string
		gaps   []float64 // where they begin, s
		long_s float64
		want   float64
	}{
		{"none", nil, 0, 0},
		{"one", []float64{5.5}, 0.02, 1},
		{"four in four steps", []float64{4.5, 6.5, 8.4, 9.7}, 0.01, 4},
		{"three in one step", []float64{7.4, 7.6, 7.8}, 0.01, 3},
		{"too short", []float64{5.5, 6.5}, 0.0015, 0},
		{"two so close that they are one", []float64{6.5, 6.53}, 0.02, 1},
		{"at a step of duty, where a slowing rotor draws nothing", []float64{11.01, 12.01}, 0.05, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := rand.New(rand.NewPCG(60, 1))
			m, _ := measured(t, sampled{rate_Hz: 2000, length_s: length, duty: duty, current: follow(duty, r, func(at, run float64) float64 {
				for _, g := range c.gaps {
					if at >= g && at < g+c.long_s {
						return -run
					}
				}
				return 0
			})}.trace(), nil)
			require.InDelta(t, c.want, value(t, m, DropOuts).Q.Value, 0)
		})
	}
}

// What stands in the finding is the median over plateaus.
func TestSwingsAreMediansOverPlateaus(t *testing.T) {
	duty, length := stairs(1)
	r := rand.New(rand.NewPCG(61, 1))
	m, _ := measured(t, sampled{rate_Hz: 1000, length_s: length, duty: duty,
		current: follow(duty, r, func(at, run float64) float64 { return 0.08 * run * math.Sin(2*math.Pi*40*at) })}.trace(), nil)
	require.InDelta(t, 7.3, value(t, m, Rotation).Q.Value, 0.9)
	require.Less(t, value(t, m, Unrest).Q.Value, 1.5)
	slow, _ := measured(t, sampled{rate_Hz: 60, length_s: length, duty: duty, current: follow(duty, r, nil)}.trace(), nil)
	for _, n := range []string{Rotation, Unrest} {
		require.Contains(t, value(t, slow, n).Missing, "too slow")
	}
}
