package judge_test

import (
	"fmt"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/kind"
	"dutybench/bench/result"
)

// A gauge study bad enough passes nothing, for no purpose: a plainly bad unit
// and a good one are both undecided, and the bench is named for it.
func TestTooUnsteadyABenchPassesNothing(t *testing.T) {
	p := ordinary(t)
	for name, u := range map[string]unit{"good": good(74), "bad": changed(74, func(u *unit) { u.scale *= 1.3; u.quiet *= 1.3 })} {
		tr := onBench().record(u, 74)
		plain := judgedAs(t, tr, p, kind.Conditions{Purpose: kind.Return, Primed: true})
		want := result.Pass
		if name == "bad" {
			want = result.Fail
		}
		require.Equal(t, want, plain.Verdict, plain.Sentence)
		x := *tr
		x.Meta = slices.Clone(tr.Meta)
		for _, f := range plain.Findings {
			if f.Value != nil && len(f.Budget) > 0 {
				x.Meta = append(x.Meta, kind.Gauge{Refill: 1e6, RefillDoF: 5}.Entry(f.Name))
			}
		}
		for _, purpose := range append(kind.Purposes(), kind.General) {
			r := judgedAs(t, &x, p, kind.Conditions{Purpose: purpose, Primed: true})
			say := fmt.Sprintf("%s %s: %s", name, purpose, r.Sentence)
			assert.Equal(t, result.Undecided, r.Verdict, say)
			require.NotNil(t, r.Cause, say)
			assert.Equal(t, result.Bench, *r.Cause, say)
			assert.Equal(t, 5, r.Exit(), say)
			assert.Contains(t, r.Sentence, "too unsteady for the limits of", say)
			assert.Contains(t, find(t, r, "full_current").Note, kind.HollowWords, say)
		}
	}
}
