package trial_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/trial"
)

var five = []float64{0.2, 0.4, 0.6, 0.8, 1}

// all gives each of n severities the same count.
func all(k, n int) (out []int) {
	for range n {
		out = append(out, k)
	}
	return out
}

// rateAt is a logistic curve with nine of ten at s90.
func rateAt(s, s90, w float64) float64 { return 1 / (1 + math.Exp(-math.Log(9)-(s-s90)/w)) }

// Counts that lie on a curve give its severity back.
func TestCaughtFindsTheCurve(t *testing.T) {
	for _, s90 := range []float64{0.3, 0.55, 0.9} {
		var k []int
		for _, s := range five {
			k = append(k, int(math.Round(10000*rateAt(s, s90, 0.1))))
		}
		c := trial.CaughtFrom(five, k, all(10000, 5))
		require.NotNil(t, c.Severity)
		assert.InDelta(t, s90, *c.Severity, 0.01)
		require.NotNil(t, c.Low)
		require.NotNil(t, c.High)
		assert.InDelta(t, s90, *c.Low, 0.03)
		assert.InDelta(t, s90, *c.High, 0.03)
	}
}

// None at one severity and all at the next: it lies between them.
func TestCaughtByAStep(t *testing.T) {
	c := trial.CaughtFrom(five, []int{0, 0, 40, 40, 40}, all(40, 5))
	require.NotNil(t, c.Severity)
	assert.InDelta(t, 0.5, *c.Severity, 0.08)
	assert.Greater(t, *c.Low, 0.39)
	assert.Less(t, *c.High, 0.65)
	few := trial.CaughtFrom(five, []int{0, 0, 4, 4, 4}, all(4, 5))
	assert.Greater(t, *few.High-*few.Low, *c.High-*c.Low, "fewer units know less")
}

func TestCaughtOutsideOfWhatWasTried(t *testing.T) {
	c := trial.CaughtFrom(five, all(40, 5), all(40, 5))
	assert.Nil(t, c.Severity)
	assert.True(t, c.Reached)
	assert.Nil(t, c.Low)
	require.NotNil(t, c.High)
	assert.Less(t, *c.High, 0.3)
	assert.Contains(t, c.String(), "≤0.20")

	c = trial.CaughtFrom(five, all(2, 5), all(40, 5))
	assert.Nil(t, c.Severity)
	assert.False(t, c.Reached)
	assert.Nil(t, c.High)
	assert.Contains(t, c.String(), ">1.00")

	assert.Nil(t, trial.CaughtFrom([]float64{1}, []int{3}, []int{3}), "one severity shows no course")
	assert.Nil(t, trial.CaughtFrom([]float64{0.5, 1}, []int{0, 3}, []int{0, 3}), "no units at one")
	assert.Equal(t, "not known", (*trial.Caught)(nil).String())
}

// The interval holds the true severity in about 95 of 100 studies: of 80, in
// fewer than 69 with a probability of 1e-3 only (binomial). Over 1000 studies
// it held 960 and 950 times.
func TestCaughtCovers(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	const studies, units = 80, 20
	for _, w := range []float64{0.03, 0.1} {
		held := 0
		for range studies {
			s90 := 0.3 + 0.5*rng.Float64()
			k := make([]int, len(five))
			for i, s := range five {
				for range units {
					if rng.Float64() < rateAt(s, s90, w) {
						k[i]++
					}
				}
			}
			c := trial.CaughtFrom(five, k, all(units, len(five)))
			if (c.Low == nil || *c.Low <= s90) && (c.High == nil || *c.High >= s90) {
				held++
			}
		}
		t.Logf("width %g: %d of %d", w, held, studies)
		assert.GreaterOrEqual(t, held, 69)
	}
}
