package trial_test

import (
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/kind"
	"dutybench/bench/kinds"
	"dutybench/bench/result"
	"dutybench/bench/run"
	"dutybench/bench/trial"
	"dutybench/profiles"
)

// TestBenchIsNotBlamed runs units of every built-in profile, good and with each of
// their faults, on a whole bench: whatever a unit does, the bench must not call
// itself or its wires faulty, nor say that it doubts them. Where the fault lies in
// the wiring, it may.
//
// Without a campaign the first profile of each kind has units that take nothing,
// which is what a bench most easily takes for its own switch, and another fault that
// the seed draws. A sample has all faults of these profiles, a full one all.
func TestBenchIsNotBlamed(t *testing.T) {
	if testing.Short() {
		t.Skip("some seconds of runs")
	}
	const seed = 23
	rng := rand.New(rand.NewPCG(seed, 0))
	first := map[string]bool{}
	for _, name := range profiles.Builtins() {
		p := load(t, name)[0]
		if campaign() != "full" && first[p.Kind] {
			continue
		}
		first[p.Kind] = true
		faults := slices.DeleteFunc(kinds.Faults(p.Kind), func(f kinds.Fault) bool { return ofBench(result.Cause(f.Side)) })
		if campaign() == "" {
			rng.Shuffle(len(faults), func(i, j int) { faults[i], faults[j] = faults[j], faults[i] })
			slices.SortStableFunc(faults, func(a, b kinds.Fault) int { return rank(takesNothing, a.Name) - rank(takesNothing, b.Name) })
			faults = faults[:min(2, len(faults))]
		}
		faults = append([]kinds.Fault{{}}, faults...)
		for _, f := range faults {
			t.Run(name+"/"+f.Name, func(t *testing.T) {
				t.Parallel()
				s := kinds.Simulated{Seed: seed, Fault: f.Name}
				if f.Name != "" {
					s.Severity = 1
				}
				rec, err := trial.RecordQuick(p, s, kind.Conditions{})
				require.NoError(t, err)
				for _, x := range slices.Concat(rec.Outcome.Faults, rec.Outcome.Doubts) {
					assert.True(t, excused(x, f), "the bench says of itself: %s", x.Sentence)
				}
			})
		}
	}
}

// takesNothing are faults with which no current flows at all.
var takesNothing = []string{"board-dead", "coil-open", "dead"}

func ofBench(c result.Cause) bool { return c == result.Wiring || c == result.Bench }

// excused says that a bench may say this of itself with such a unit on it: it names
// the unit's own side as one of those that look the same.
func excused(x run.Fault, f kinds.Fault) bool {
	return !ofBench(x.Cause) || slices.Contains(x.Or, result.Cause(f.Side))
}

// rank is 0 for a name in a list and 1 for others.
func rank(list []string, name string) int {
	if slices.Contains(list, name) {
		return 0
	}
	return 1
}
