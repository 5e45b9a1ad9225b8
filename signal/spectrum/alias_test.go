package spectrum

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestCandidates(t *testing.T) {
	assert.InDeltaSlice(t, []float64{120, 880, 1120, 1880, 2120}, Candidates(120, 1000, 2500), 1e-9)
	assert.InDeltaSlice(t, []float64{120, 880, 1120}, Candidates(880, 1000, 1500), 1e-9)
	assert.InDeltaSlice(t, []float64{0, 1000, 2000}, Candidates(0, 1000, 2000), 1e-9)
	assert.InDeltaSlice(t, []float64{500, 1500}, Candidates(500, 1000, 2000), 1e-9)
	assert.Empty(t, Candidates(120, 1000, 100))
	assert.Empty(t, Candidates(math.NaN(), 1000, 100))
	assert.Empty(t, Candidates(1, 0, 100))
	assert.Empty(t, Candidates(1, 10, math.Inf(1)))
	assert.LessOrEqual(t, len(Candidates(1e-9, 1e-6, 1e9)), 10_001)
}

// Every candidate appears at the frequency that was seen.
func TestCandidatesFoldBack(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	for range 300 {
		rate := 10 + 1000*rng.Float64()
		f := rng.Float64() * rate / 2
		for _, c := range Candidates(f, rate, 7*rate) {
			require.InDelta(t, f, Apparent(c, rate), 1e-9*rate)
		}
	}
}

// A folded line is seen where the arithmetic says: 1330 Hz sampled at 1 kHz.
func TestApparentIsSeen(t *testing.T) {
	x := make([]float64, 1000)
	addLine(x, 1000, 1330.5, 1, 0)
	lines, err := Lines(x, 1000, Options{})
	require.NoError(t, err)
	require.NotEmpty(t, lines)
	assert.InDelta(t, Apparent(1330.5, 1000), lines[0].Frequency_Hz, 1e-6)
	assert.Equal(t, 330.5, Apparent(1330.5, 1000))
	assert.Equal(t, 330.5, Apparent(-1330.5, 1000))
	assert.Equal(t, 400.0, Apparent(600, 1000))
}

func TestResolve(t *testing.T) {
	f, err := Resolve(120, 1000, 400)
	require.NoError(t, err)
	assert.Equal(t, 120.0, f)
	// A filter that lets up to 700 Hz through: 120 Hz is sure, 350 is not.
	f, err = Resolve(120, 1000, 700)
	require.NoError(t, err)
	assert.Equal(t, 120.0, f)
	_, err = Resolve(350, 1000, 700)
	assert.ErrorIs(t, err, ErrAliased)
	assert.ErrorContains(t, err, "[350 650]")
	for _, unknown := range []float64{0, math.Inf(1)} {
		_, err = Resolve(120, 1000, unknown)
		assert.ErrorIs(t, err, ErrAliased)
		assert.ErrorContains(t, err, "[120 880 1120 1880]")
	}
	_, err = Resolve(120, 1000, 100)
	assert.ErrorIs(t, err, ErrAliased)
	for _, bad := range [][2]float64{{600, 1000}, {-1, 1000}, {1, 0}, {math.NaN(), 1000}} {
		_, err = Resolve(bad[0], bad[1], 100)
		assert.ErrorContains(t, err, "spectrum: ")
		assert.NotErrorIs(t, err, ErrAliased)
	}
}

func TestSpeed(t *testing.T) {
	// Six commutations an electrical turn, 4 pole pairs: 24 a turn; 3000 rpm
	// give 1200 Hz.
	q, err := Speed(Line{Frequency_Hz: 1200, U_Hz: 0.4}, SixStep(4), 10000, 3000)
	require.NoError(t, err)
	assert.InDelta(t, 3000, q.Value, 1e-9)
	assert.InDelta(t, 1, q.U(), 1e-12)
	_, err = Speed(Line{Frequency_Hz: 1200}, SixStep(4), 2900, 1300)
	assert.ErrorIs(t, err, ErrAliased)
	assert.ErrorContains(t, err, "0.4 of the rate")
	_, err = Speed(Line{Frequency_Hz: 200}, SixStep(4), 1000, 3000)
	assert.ErrorIs(t, err, ErrAliased)
	_, err = Speed(Line{Frequency_Hz: 200}, 0, 1000, 300)
	assert.ErrorContains(t, err, "pole pairs")
}
