package kind_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"

	"dutybench/bench/kind"
	"dutybench/bench/result"
)

// Guard bands of 1.645 u: half the room of 0 to 10 is 5, reached at u = 3.04.
func TestHollow(t *testing.T) {
	nan := math.NaN()
	for name, c := range map[string]struct {
		u, low, high, middle float64
		want                 bool
	}{
		"fits":                  {3.03, 0, 10, 5, false},
		"wider than half":       {3.05, 0, 10, 5, true},
		"the middle is no part": {3.03, 0, 10, 9.9, false},
		"one limit above":       {1.25, nan, 10, 8, true},
		"one limit, far":        {1.25, nan, 10, 7, false},
		"one limit below":       {1.25, 0, nan, 2, true},
		"good units beyond it":  {1e-9, nan, 10, 11, true},
		"no limit":              {1e9, nan, nan, 0, false},
		"no study":              {0, 0, 0, 0, false},
	} {
		assert.Equal(t, c.want, kind.Hollow(c.u, c.low, c.high, c.middle), name)
	}
	for x, want := range map[float64]result.Outcome{5: result.Doubtful, 0: result.Doubtful, 16: result.Doubtful, 17: result.Failed, -7: result.Failed} {
		assert.Equal(t, want, kind.DecideHollow(x, 4, 0, 10), "%v", x) // band 6.58
	}
}

// One-sided 95 % quantiles of Student's t: 6.314, 2.920, 1.860 for 1, 2 and 8
// degrees of freedom (published tables), over 1.645.
func TestWiden(t *testing.T) {
	for dof, q := range map[float64]float64{1: 6.314, 2: 2.920, 8: 1.860, 0: 1.645, 0.2: 6.314, math.Inf(1): 1.645, math.NaN(): 6.314} {
		assert.InDelta(t, q/1.645, kind.Widen(dof), 5e-4, "%v", dof)
	}
}
