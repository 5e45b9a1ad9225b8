package judge_test

import (
	"encoding/json"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"dutybench/bench/kind"
	"dutybench/bench/result"
)

// sound holds for every result, whatever the trace.
func sound(tb testing.TB, r *result.Result) {
	tb.Helper()
	_, err := json.Marshal(r)
	require.NoError(tb, err, "no NaN and no infinity may get into the JSON")
	require.NotEmpty(tb, r.Verdict)
	require.NotEmpty(tb, r.Sentence)
	require.NotEmpty(tb, r.NextStep)
	var sum float64
	seen := map[result.Cause]bool{}
	for i, c := range r.Causes {
		require.False(tb, seen[c.Cause], "%s stands twice", c.Cause)
		seen[c.Cause] = true
		require.GreaterOrEqual(tb, c.Probability, 0.0)
		if i > 0 {
			require.LessOrEqual(tb, c.Probability, r.Causes[i-1].Probability, "likeliest first")
		}
		sum += c.Probability
	}
	require.InDelta(tb, 1, sum, 1e-9, "causes sum to 1")
	if r.Verdict == result.Pass {
		require.Nil(tb, r.Cause)
		require.Empty(tb, r.Carried)
		for _, f := range r.Findings {
			require.Contains(tb, []result.Outcome{result.Passed, result.NotMeasured}, f.Result, f.Name)
		}
	}
	if r.Verdict == result.Fail {
		require.NotNil(tb, r.Cause)
		require.NotContains(tb, []result.Cause{result.Wiring, result.Bench}, *r.Cause, "the bench's side never fails a unit")
	}
	for _, f := range r.Findings {
		if f.Value == nil {
			require.Equal(tb, result.NotMeasured, f.Result, f.Name)
			require.NotEmpty(tb, f.Note, "%s: why not?", f.Name)
			continue
		}
		require.NotEqual(tb, result.NotMeasured, f.Result, f.Name)
		if r.Risk != nil && (r.Risk.Purpose == "new-part" || r.Risk.Purpose == "return") {
			continue // guard bands move the limits that count
		}
		if f.Result == result.Doubtful && strings.Contains(f.Note, kind.HollowWords) {
			require.Positive(tb, f.Guard, f.Name)
			continue // the limits are not held against
		}
		switch low, high := f.Low != nil && *f.Value < *f.Low, f.High != nil && *f.Value > *f.High; f.Result {
		case result.Passed:
			require.False(tb, low || high, f.Name)
		default:
			require.True(tb, low || high, f.Name)
		}
	}
}
