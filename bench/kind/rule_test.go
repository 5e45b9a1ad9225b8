package kind_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/kind"
	"dutybench/bench/result"
)

// Limits 0 and 10, standard uncertainty 1, so guard bands of 1.645
// (z of 0.95; JCGM 106:2012, 8.3): JCGM 106:2012, 8.2 simple acceptance, 8.3.2
// guarded acceptance, 8.3.3 guarded rejection.
func TestPurposesDecide(t *testing.T) {
	const p, f, u = result.Passed, result.Failed, result.Doubtful
	for _, c := range []struct {
		x                               float64
		general, newPart, core, return_ result.Outcome
	}{
		{5, p, p, p, p}, {1.7, p, p, p, p}, {1.6, p, u, p, p}, {0, p, u, p, p},
		{-0.1, u, u, f, p}, {-1.6, u, u, f, p}, {-1.7, f, f, f, f},
		{8.3, p, p, p, p}, {8.4, p, u, p, p}, {10.1, u, u, f, p}, {11.7, f, f, f, f},
	} {
		assert.Equal(t, c.general, kind.General.Decide(c.x, 1, 0, 10), "general %v", c.x)
		assert.Equal(t, c.newPart, kind.NewPart.Decide(c.x, 1, 0, 10), "new part %v", c.x)
		assert.Equal(t, c.core, kind.Core.Decide(c.x, 1, 0, 10), "core %v", c.x)
		assert.Equal(t, c.return_, kind.Return.Decide(c.x, 1, 0, 10), "return %v", c.x)
	}
	nan := math.NaN()
	for _, y := range append(kind.Purposes(), kind.General) {
		// Nothing left to guard for: all rules are one.
		assert.Equal(t, p, y.Decide(6, 0, 4, 6))
		assert.Equal(t, p, y.Decide(4, 0, 4, 6))
		assert.Equal(t, f, y.Decide(6.1, 0, 4, 6))
		assert.Equal(t, p, y.Decide(100, 0, 4, nan))
		assert.Equal(t, p, y.Decide(-100, 0, nan, 6))
		assert.Equal(t, p, y.Decide(1, 0, nan, nan))
		assert.NotEmpty(t, y.Words())
		again, err := kind.ParsePurpose(string(y))
		require.NoError(t, err)
		assert.Equal(t, y, again)
	}
	_, err := kind.ParsePurpose("sale")
	require.ErrorContains(t, err, "new-part, core or return")
}

// Whatever the value, a return fails no more often than a core, and a new part
// passes no more often.
func TestPurposesAreOrdered(t *testing.T) {
	for x := -5.0; x <= 15; x += 0.125 {
		for _, u := range []float64{0, 0.1, 1, 4, 20} {
			core := kind.Core.Decide(x, u, 0, 10)
			if core == result.Passed {
				assert.Equal(t, result.Passed, kind.Return.Decide(x, u, 0, 10))
				assert.Equal(t, result.Passed, kind.General.Decide(x, u, 0, 10))
			} else {
				assert.NotEqual(t, result.Passed, kind.NewPart.Decide(x, u, 0, 10))
				assert.NotEqual(t, result.Passed, kind.General.Decide(x, u, 0, 10))
			}
		}
	}
}
