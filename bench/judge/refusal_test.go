package judge_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"dutybench/bench/kind/weigh"
	"dutybench/bench/result"
	"dutybench/signal/stat"
)

// Of normally spread good units the whole test refuses at most about the one in
// a hundred that a bench may: not significantly more than twice that.
func TestGoodUnitsAreRarelyRefused(t *testing.T) {
	b := onBench()
	b.rate_Hz = 256
	const n, profilesLearned = 120, 3
	refused, judgements := 0, 0
	for k := range profilesLearned {
		p := ordinaryAt(t, b, uint64(5000+100*k))
		for i := range n / profilesLearned {
			seed := uint64(6000 + 1000*k + i)
			if r := judged(t, b.record(good(seed), seed), p); r.Verdict != result.Pass {
				refused++
				t.Logf("%d: %s", seed, r.Sentence)
			}
			judgements++
		}
	}
	low, high := stat.ClopperPearson(refused, judgements, 0.95)
	t.Logf("%d of %d refused, 95 %% interval %.1f to %.1f %%", refused, judgements, 100*low, 100*high)
	require.Less(t, low, 0.02)
	require.LessOrEqual(t, weigh.Refusal, 0.01, "what is stated")
}
