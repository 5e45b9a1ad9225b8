package stat

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestConformance(t *testing.T) {
	// JCGM 106:2012, 7.4: y 13.6, u 1.8, limits 12.5 and 16.3; 0.66 printed.
	assert.InDelta(t, 0.66263, Conformance(13.6, 1.8, 12.5, 16.3), 1e-5)
	// 7.3.3: breakdown voltage -5.47 V, u 0.05 V, upper limit -5.40 V; 0.92.
	assert.InDelta(t, 0.91924, Conformance(-5.47, 0.05, -inf, -5.40), 1e-5)
	assert.InDelta(t, 0.5, Conformance(10, 3, 10, inf), 1e-15)
	assert.InEpsilon(t, Conformance(-20, 1, 0, 5), Conformance(25, 1, 0, 5), 1e-9)
	assert.Greater(t, Conformance(-20, 1, 0, 5), 0.0, "the far tail is no difference of ones")
	assert.Equal(t, 1.0, Conformance(5, 0, 5, 6))
	assert.Equal(t, 0.0, Conformance(4, 0, 5, 6))
	assert.Equal(t, 0.0, Conformance(5, inf, 5, 6))
	assert.Equal(t, 1.0, Conformance(5, inf, -inf, inf))
	for _, v := range []float64{Conformance(math.NaN(), 1, 0, 1), Conformance(0, -1, 0, 1), Conformance(0, math.NaN(), 0, 1), Conformance(0, 1, math.NaN(), 1)} {
		assert.True(t, math.IsNaN(v))
	}
}

func TestGuardFactor(t *testing.T) {
	for p, z := range map[float64]float64{0.80: 0.841621, 0.90: 1.281552, 0.95: 1.644854, 0.975: 1.959964, 0.99: 2.326348, 0.999: 3.090232} {
		assert.InDelta(t, z, GuardFactor(p), 1e-6)
	}
}

// Upper limit 10, U = 2u = 0.4, guard band U (rules as in ILAC-G8:09/2019):
// up to 9.6 pass, to 10.4 neither, beyond fail.
func TestDecisionRules(t *testing.T) {
	const u = 0.2
	p := NormalCDF(2) // so that the guard band is 2u
	for _, c := range []struct {
		value                             float64
		simple, accept, reject, threefold Decision
	}{
		{9.6, Accept, Accept, Accept, Accept},
		{9.61, Accept, Reject, Accept, Undecided},
		{10.0, Accept, Reject, Accept, Undecided},
		{10.01, Reject, Reject, Accept, Undecided},
		{10.4, Reject, Reject, Accept, Undecided},
		{10.41, Reject, Reject, Reject, Reject},
	} {
		assert.Equal(t, c.simple, Simple(c.value, -inf, 10), "simple %g", c.value)
		assert.Equal(t, c.accept, GuardedAcceptance(c.value, u, -inf, 10, p), "guarded acceptance %g", c.value)
		assert.Equal(t, c.reject, GuardedRejection(c.value, u, -inf, 10, p), "guarded rejection %g", c.value)
		assert.Equal(t, c.threefold, Guarded(c.value, u, -inf, 10, p), "guarded %g", c.value)
		// The same mirrored, at a lower limit.
		assert.Equal(t, c.simple, Simple(-c.value, -10, inf))
		assert.Equal(t, c.accept, GuardedAcceptance(-c.value, u, -10, inf, p))
		assert.Equal(t, c.reject, GuardedRejection(-c.value, u, -10, inf, p))
		assert.Equal(t, c.threefold, Guarded(-c.value, u, -10, inf, p))
	}
	// A value at the limit but for rounding counts as inside.
	tenth, fifth := 0.1, 0.2
	assert.Equal(t, Accept, Simple(tenth+fifth, 0, 0.3))
	assert.Equal(t, Reject, Simple(0.3000001, 0, 0.3))
	// Limits closer than two guard bands: nothing can be accepted.
	assert.Equal(t, Undecided, Guarded(0, 1, -1, 1, 0.95))
	assert.Equal(t, Reject, GuardedAcceptance(0, 1, -1, 1, 0.95))
	for _, d := range []Decision{Simple(math.NaN(), 0, 1), Guarded(0, math.NaN(), -1, 1, 0.95), Guarded(0, inf, -1, 1, 0.95), Guarded(0, inf, -inf, 1, 0.95), GuardedAcceptance(0, 1, math.NaN(), 1, 0.95)} {
		assert.Equal(t, Undecided, d)
	}
	assert.Equal(t, "accept reject undecided", Accept.String()+" "+Reject.String()+" "+Undecided.String())
}

// What Guarded accepts conforms with at least the probability, what it
// rejects does not, one-sided.
func FuzzGuarded(f *testing.F) {
	f.Add(9.5, 0.2)
	f.Fuzz(func(t *testing.T, value, u float64) {
		if !finite(value) || math.Abs(value) > 1e6 || !(u > 1e-6 && u < 1e6) {
			t.Skip()
		}
		p := Conformance(value, u, -inf, 10)
		switch Guarded(value, u, -inf, 10, 0.95) {
		case Accept:
			assert.GreaterOrEqual(t, p, 0.95-1e-6)
		case Reject:
			assert.LessOrEqual(t, p, 0.05+1e-6)
		}
	})
}
