package fan_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/judge"
	"dutybench/bench/kind"
	"dutybench/bench/kind/fan"
	"dutybench/bench/kinds"
	"dutybench/bench/result"
	"dutybench/bench/trial"
)

// The quick plan ends earlier with the same verdict.
func TestQuickSaysTheSame(t *testing.T) {
	if testing.Short() {
		t.Skip("whole simulated tests")
	}
	p := builtin(t)
	for fault, want := range map[string]result.Verdict{"": result.Pass, "hub-slips": result.Fail} {
		s := kinds.Simulated{Seed: 800_001, Fault: fault, Severity: 0.8}
		quick, err := trial.RecordQuick(p, s, kind.Conditions{})
		require.NoError(t, err)
		r, err := quick.Judge(p, fan.Kind{}, judge.Options{})
		require.NoError(t, err)
		assert.Equal(t, want, r.Verdict, "%q: %s", fault, r.Sentence)
		assert.Less(t, quick.Long, fan.Kind{}.Plan(p).Longest())
		t.Log(fault, quick.Long)
	}
}
