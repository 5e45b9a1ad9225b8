package spectrum

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func noise(rng *rand.Rand, n int, sd float64) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = sd * rng.NormFloat64()
	}
	return x
}

// addLine adds a sine of this amplitude to x.
func addLine(x []float64, rate, f, amplitude, phase float64) {
	for i := range x {
		x[i] += amplitude * math.Cos(2*math.Pi*f*float64(i)/rate+phase)
	}
}

// A brute-force transform from the definition is the reference.
func TestSpectrumAgainstDefinition(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	for _, n := range []int{8, 9, 30, 31, 64, 97} {
		for _, w := range []Window{Rectangle, Hann, BlackmanHarris, FlatTop} {
			x := noise(rng, n, 1)
			a := Analyzer{Window: w}
			s, err := a.Spectrum(x, 1000)
			require.NoError(t, err)
			flat := append([]float64(nil), x...)
			Detrend(flat, 1000)
			weight := make([]float64, n)
			w.Fill(weight)
			for k := range s.Amplitude {
				var sum complex128
				for i, v := range flat {
					sum += complex(v*weight[i], 0) * cmplx.Rect(1, -2*math.Pi*float64(i*k)/float64(n))
				}
				want := 2 * cmplx.Abs(sum) / (float64(n) * w.Gain())
				if k == 0 || 2*k == n {
					want /= 2
				}
				require.InDelta(t, want, s.Amplitude[k], 1e-12, "n %d bin %d %v", n, k, w)
			}
		}
	}
}

func TestSpectrumReadsAmplitude(t *testing.T) {
	for w, within := range map[Window]float64{Hann: 0.16, BlackmanHarris: 0.1, FlatTop: 0.0013} {
		for _, off := range []float64{0, 0.25, 0.5} {
			x := make([]float64, 1000)
			f := 100 + off
			addLine(x, 1000, f, 1.5, 0.3)
			for i := range x {
				x[i] += 4 + 0.001*float64(i)
			}
			a := Analyzer{Window: w}
			s, err := a.Spectrum(x, 1000)
			require.NoError(t, err)
			assert.InDelta(t, 1.5, s.Amplitude[100], 1.5*within, "%v off %g", w, off)
			assert.InDelta(t, 4.4995, s.Mean, 0.01)
			assert.InDelta(t, 1, s.Slope, 0.02)
			got, amp := s.Peak(100)
			assert.InDelta(t, f, got, map[Window]float64{Hann: 0.02, BlackmanHarris: 0.005, FlatTop: 0.2}[w])
			assert.InDelta(t, 1.5, amp, 0.06)
		}
	}
}

// Parseval: the density over all bins is the variance; a line's is A²/2.
func TestDensityAndBandRMS(t *testing.T) {
	x := noise(rand.New(rand.NewPCG(2, 2)), 4096, 0.7)
	for _, w := range []Window{Rectangle, Hann, BlackmanHarris} {
		a := Analyzer{Window: w}
		s, err := a.Spectrum(x, 2000)
		require.NoError(t, err)
		assert.InEpsilon(t, 0.7, s.BandRMS(0, 1000), 0.03, w.String())
		assert.InEpsilon(t, 0.7*math.Sqrt(0.25), s.BandRMS(250, 500), 0.08)
		assert.InEpsilon(t, 0.49/1000, s.Density(700), 8) // one bin scatters by its own size
		y := append([]float64(nil), x...)
		addLine(y, 2000, 300.1, 5, 0)
		s, err = a.Spectrum(y, 2000)
		require.NoError(t, err)
		assert.InEpsilon(t, 5/math.Sqrt2, s.BandRMS(280, 320), 0.02)
		assert.Less(t, s.BandRMS(500, 900), 0.7)
		assert.Zero(t, s.BandRMS(1001, 1200))
		assert.Zero(t, s.BandRMS(5, 4))
		assert.Positive(t, s.BandRMS(300.0001, 300.0002))
	}
	odd := Analyzer{Window: Rectangle}
	s, err := odd.Spectrum(x[:4095], 2000)
	require.NoError(t, err)
	assert.InEpsilon(t, 0.7, s.BandRMS(0, 1000), 0.03)
}

// A periodic modulation is told from broadband unrest of the same size.
func TestFlatnessAndPeakiness(t *testing.T) {
	const rate, n = 2000.0, 20000
	rng := rand.New(rand.NewPCG(3, 3))
	x := noise(rng, n, 0.01)
	line := append([]float64(nil), x...)
	addLine(line, rate, 11.3, 0.1, 1)
	unrest := append([]float64(nil), x...)
	v := 0.0
	for i := range unrest {
		v = 0.97*v + rng.NormFloat64()
		unrest[i] += 0.02 * v
	}
	var a Analyzer
	s, err := a.Spectrum(x, rate)
	require.NoError(t, err)
	assert.InDelta(t, math.Exp(-0.5772), s.Flatness(100, 900), 0.04)
	assert.Less(t, s.Peakiness(1, 40), 0.1)
	s, err = a.Spectrum(line, rate)
	require.NoError(t, err)
	assert.Greater(t, s.Peakiness(1, 40), 0.95)
	assert.Less(t, s.Flatness(1, 40), 0.05)
	assert.InEpsilon(t, 0.1/math.Sqrt2, s.BandRMS(1, 40), 0.02)
	s, err = a.Spectrum(unrest, rate)
	require.NoError(t, err)
	assert.Less(t, s.Peakiness(1, 40), 0.2)
	assert.Greater(t, s.Flatness(1, 40), 0.3)
	assert.True(t, math.IsNaN(s.Flatness(5, 5)) && math.IsNaN(s.Peakiness(5, 5.1)))
	s, err = a.Spectrum(make([]float64, 100), rate)
	require.NoError(t, err)
	assert.True(t, math.IsNaN(s.Flatness(100, 900)) && math.IsNaN(s.Peakiness(100, 900)))
}

func TestSpectrumRefuses(t *testing.T) {
	var a Analyzer
	for name, f := range map[string]func() error{
		"short": func() error { _, err := a.Spectrum(make([]float64, 7), 1); return err },
		"rate":  func() error { _, err := a.Spectrum(make([]float64, 8), 0); return err },
		"NaN":   func() error { _, err := a.Spectrum([]float64{1, 2, 3, math.NaN(), 5, 6, 7, 8}, 1); return err },
		"lines": func() error { _, err := Lines(nil, 1, Options{}); return err },
	} {
		assert.ErrorContains(t, f(), "spectrum: ", name)
	}
}

func TestSpectrumAllocatesNothing(t *testing.T) {
	x := noise(rand.New(rand.NewPCG(2, 2)), 5000, 1)
	var a Analyzer
	_, err := a.Spectrum(x, 1000)
	require.NoError(t, err)
	assert.Zero(t, testing.AllocsPerRun(10, func() { _, _ = a.Spectrum(x, 1000) }))
	// Another length and window, and back, still give the right numbers.
	a.Window = FlatTop
	_, err = a.Spectrum(x[:999], 1000)
	require.NoError(t, err)
	a.Window = Hann
	s, err := a.Spectrum(x, 1000)
	require.NoError(t, err)
	var fresh Analyzer
	want, err := fresh.Spectrum(x, 1000)
	require.NoError(t, err)
	assert.Equal(t, want.Amplitude, s.Amplitude)
}

func BenchmarkLines(b *testing.B) {
	for _, n := range []int{2000, 20000, 100000} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			x := noise(rand.New(rand.NewPCG(2, 2)), n, 0.1)
			for k := range 5 {
				addLine(x, 2000, 37.7*float64(k+1), 0.2, 1)
			}
			var a Analyzer
			a.Window = BlackmanHarris
			for b.Loop() {
				_, _ = a.Lines(x, 2000, Options{})
			}
		})
	}
}

// An analyzer that is asked for many lengths in turn gives what one of its own
// gives each, and for as many as it remembers it allocates nothing more.
func TestAnalyzerRemembersLengths(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 8))
	x := make([]float64, 400)
	for i := range x {
		x[i] = r.NormFloat64()
	}
	var a Analyzer
	for range 2 {
		for n := 100; n < 100+5*(maxPlans+3); n += 5 { // more than it remembers
			for _, w := range []Window{Hann, FlatTop} {
				a.Window = w
				got, err := a.Spectrum(x[:n], 1000)
				require.NoError(t, err)
				own := Analyzer{Window: w}
				want, err := own.Spectrum(x[:n], 1000)
				require.NoError(t, err)
				require.Equal(t, want.Amplitude, got.Amplitude)
			}
		}
	}
	assert.Len(t, a.plans, maxPlans)
	assert.Zero(t, testing.AllocsPerRun(5, func() {
		for n := 200; n < 200+maxPlans; n++ {
			_, _ = a.Spectrum(x[:n], 1000)
		}
	}))
}
