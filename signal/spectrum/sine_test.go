package spectrum

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Check vector: 1000 Hz, 130 Hz, A 1.25, B -0.5, C 2, rounded to 6 places.
func TestFitSine3Vector(t *testing.T) {
	x := []float64{3.25, 2.4912, 1.422498, 0.718146, 0.822523, 1.669777, 2.72537, 3.323323, 3.086384, 2.164039, 1.1382, 0.656077, 1.021842, 2.004733, 2.984638, 3.343329}
	s, err := FitSine3(x, 1000, 130)
	require.NoError(t, err)
	assert.InDelta(t, 1.25, s.A, 1e-6)
	assert.InDelta(t, -0.5, s.B, 1e-6)
	assert.InDelta(t, 2, s.C, 1e-6)
	assert.InDelta(t, 1.346291, s.Amplitude(), 1e-6)
	assert.InDelta(t, 0.380506, s.Phase(), 1e-6)
	assert.Less(t, s.ResidualSD, 1e-6)
	assert.Zero(t, s.U_Hz)
}

// Check vector: not a whole number of periods; the frequency after each step.
func TestFitSine4Convergence(t *testing.T) {
	x := make([]float64, 16)
	for n := range x {
		x[n] = 1.5*math.Cos(2*math.Pi*3.2*float64(n)/16+0.7) + 0.25
	}
	s, _, err := sineStep(x, 16, Sine{Frequency_Hz: 3.25}, false)
	require.NoError(t, err)
	for _, want := range []float64{3.200018250744737, 3.2000001214449, 3.2} {
		s, _, err = sineStep(x, 16, s, true)
		require.NoError(t, err)
		assert.InDelta(t, want, s.Frequency_Hz, 1e-12)
	}
	s, err = FitSine4(x, 16, 3.25)
	require.NoError(t, err)
	assert.InDelta(t, 3.2, s.Frequency_Hz, 1e-12)
	assert.InDelta(t, 1.147263281, s.A, 1e-9)
	assert.InDelta(t, -0.966326531, s.B, 1e-9)
	assert.InDelta(t, 0.25, s.C, 1e-12)
	assert.InDelta(t, 1.5, s.Amplitude(), 1e-12)
	assert.InDelta(t, 0.7, s.Phase(), 1e-12)
}

// The published four-parameter example of a toolbox for power quality:
// 2·sin(2π·100·t + 1) + 0.2, 10 kHz, one second, start 100.2 Hz.
func TestFitSine4Example(t *testing.T) {
	x := make([]float64, 10001)
	for n := range x {
		x[n] = 2*math.Sin(2*math.Pi*100*float64(n)/10000+1) + 0.2
	}
	s, err := FitSine4(x, 10000, 100.2)
	require.NoError(t, err)
	assert.InDelta(t, 100, s.Frequency_Hz, 1e-9)
	assert.InDelta(t, 2, s.Amplitude(), 1e-9)
	assert.InDelta(t, 0.2, s.C, 1e-9)
	assert.InDelta(t, 1-math.Pi/2, s.Phase(), 1e-9)
}

// The stated uncertainty of the frequency is the scatter that is seen.
func TestFitSine4Uncertainty(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	var sq, u float64
	const runs = 400
	for range runs {
		x := noise(rng, 200, 0.2)
		addLine(x, 100, 12.34, 1, 0.5)
		s, err := FitSine4(x, 100, 12.3)
		require.NoError(t, err)
		sq += (s.Frequency_Hz - 12.34) * (s.Frequency_Hz - 12.34)
		u += s.U_Hz / runs
	}
	assert.InEpsilon(t, math.Sqrt(sq/runs), u, 0.1)
}

func TestFitSineRefuses(t *testing.T) {
	x := make([]float64, 100)
	addLine(x, 100, 10, 1, 0)
	for _, c := range [][2]float64{{100, 0}, {100, 50}, {0, 10}, {100, math.NaN()}, {math.Inf(1), 10}} {
		_, err := FitSine3(x, c[0], c[1])
		assert.ErrorContains(t, err, "half the rate")
	}
	_, err := FitSine4(x[:4], 100, 10)
	assert.ErrorContains(t, err, "record longer")
	_, err = FitSine4(append([]float64{math.NaN()}, x...), 100, 10)
	assert.ErrorContains(t, err, "sample 0")
	_, err = FitSine4(x, 100, 30)
	assert.ErrorIs(t, err, ErrNoSine)
	_, err = FitSine4(make([]float64, 100), 100, 30)
	assert.ErrorIs(t, err, ErrNoSine)
}
