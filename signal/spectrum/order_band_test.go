package spectrum

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"
)

func TestTailsAgainstGonum(t *testing.T) {
	for _, k := range []int{1, 2, 7, 30} {
		for _, m := range []float64{3, 12.5, 60} {
			for _, z := range []float64{1.1, 3, 12} {
				want := distuv.F{D1: 2 * float64(k), D2: 2 * m}.Survival(z)
				if want < 1e-9 {
					continue // 1 − CDF there
				}
				assert.InEpsilon(t, want, math.Exp(-lnTail(z, k, m)), 1e-6, "F(%d, %g) at %g", 2*k, 2*m, z)
			}
		}
		for _, s := range []float64{1, 20, 60} {
			assert.InEpsilon(t, distuv.ChiSquared{K: 2 * float64(k)}.Survival(2*s), math.Exp(lnGammaTail(k, s)), 1e-6)
		}
	}
	assert.Zero(t, lnGammaTail(0, 0))
}

// The evidence of noise passes a level no more often than it says, in white
// noise, on a slope, and beside a hump.
func TestEvidenceOfNoise(t *testing.T) {
	const n, rate = 4096, 1000.0
	for name, colour := range map[string]float64{"white": 0, "slope": 0.95} {
		t.Run(name, func(t *testing.T) {
			rng := rand.New(rand.NewPCG(1, 3))
			counts, bins := map[int]int{}, 0
			for range 12 {
				x, v := make([]float64, n), 0.0
				for i := range x {
					v = colour*v + rng.NormFloat64()
					x[i] = v
				}
				var a Analyzer
				s, err := a.Spectrum(x, rate)
				require.NoError(t, err)
				b := newBand(s, Block{Share: 1}, 0)
				for k := lobe + 1; k < n/2-lobe; k++ {
					bins++
					for _, width := range []int{1, 5, 15} {
						for level := 3; level <= 6; level++ {
							if b.evidence(float64(k)*b.step, width, nil) > float64(level) {
								counts[100*width+level]++
							}
						}
					}
				}
			}
			for at, c := range counts {
				width, level := at/100, at%100
				want := float64(bins) * math.Exp(-float64(level))
				assert.Less(t, float64(c), 1.3*want+4*math.Sqrt(float64(width)*want)+3, "%d bins wide above %d: %d of %.1f", width, level, c, want)
			}
			assert.Greater(t, counts[103], bins/60, "nor hardly ever")
		})
	}
}

func TestSmooth(t *testing.T) {
	for n, want := range map[int]int{1: 1, 7: 6, 2803: 2700, 4096: 4096, 120000: 120000} {
		assert.Equal(t, want, smooth(n))
	}
}

// A band's line reads frequency and amplitude whatever lies between bins.
func TestBandLine(t *testing.T) {
	for _, f := range []float64{100, 100.13, 100.25, 100.38} {
		x := make([]float64, 2000)
		addLine(x, 1000, f, 0.7, 1)
		var a Analyzer
		s, err := a.Spectrum(x, 1000)
		require.NoError(t, err)
		b := newBand(s, Block{Share: 1}, 0)
		for _, bins := range []int{1, 5} {
			l := b.line(f, bins)
			assert.InDelta(t, f, l.Frequency_Hz, 1e-3)
			assert.InEpsilon(t, 0.7, l.Amplitude, 0.002)
		}
	}
}
