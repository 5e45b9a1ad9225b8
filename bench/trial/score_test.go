package trial_test

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/kinds"
	"dutybench/bench/result"
	"dutybench/bench/trial"
)

func judged(fault string, v result.Verdict, cause result.Cause, set ...result.Cause) trial.Trial {
	r := &result.Result{Kind: "pump", Verdict: v, Inseparable: set}
	if cause != "" {
		r.Cause = &cause
	}
	return trial.Trial{Profile: "p", Simulated: kinds.Simulated{Fault: fault, Severity: 0.5}, Result: r}
}

func TestScore(t *testing.T) {
	const board, mech, water, wire = result.ControlBoard, result.Mechanical, result.Hydraulic, result.Wiring
	for name, c := range map[string]struct {
		trial trial.Trial
		score trial.Score
		stray bool
	}{
		"good, passed":               {judged("", result.Pass, ""), trial.Passed, false},
		"good, refused":              {judged("", result.Fail, board), trial.Wrong, false},
		"good, undecided":            {judged("", result.Undecided, board), trial.Wrong, true},
		"faulty, passed":             {judged("drag", result.Pass, ""), trial.Passed, false},
		"right":                      {judged("drag", result.Fail, mech), trial.Right, false},
		"right but undecided":        {judged("drag", result.Undecided, mech), trial.Right, true},
		"wiring is always undecided": {judged("line-resistance", result.Undecided, wire), trial.Right, false},
		"water too":                  {judged("blocked-outlet", result.Undecided, water), trial.Right, false},
		"wrong":                      {judged("drag", result.Fail, water), trial.Wrong, false},
		"a listed set":               {judged("unplugged", result.Undecided, board, board, wire), trial.Named, false},
		"a listed set, own side":     {judged("board-dead", result.Undecided, board, board, wire), trial.Right, false},
		"another set":                {judged("unplugged", result.Undecided, board, board, wire, mech), trial.Wrong, true},
		"or the signal wire":         {judged("command-lost-off", result.Undecided, board, board, wire), trial.Right, false},
		"no list for this":           {judged("drop-outs", result.Undecided, water, board, water), trial.Wrong, true},
	} {
		assert.Equal(t, c.score, c.trial.Score(), name)
		assert.Equal(t, c.stray, c.trial.Stray(), name)
	}
}

func TestTableText(t *testing.T) {
	table := trial.Table{Trials: []trial.Trial{
		judged("", result.Pass, ""), judged("drag", result.Fail, result.Mechanical), judged("drag", result.Fail, result.Hydraulic),
	}}
	var b strings.Builder
	require.NoError(t, table.WriteText(&b))
	assert.Contains(t, b.String(), "good units refused                 0 of     1    0.0 % (0.0 to 97.5)") // 1 − 0.025, Clopper and Pearson
	assert.Contains(t, b.String(), "faulty units attributed            1 of     2   50.0 % (1.3 to 98.7)") // 1 − √0.975 = 0.0126
	require.NoError(t, (&trial.Table{}).WriteText(&b), "an empty study has a table too")
}

// A test that ends when enough is known agrees with the whole one on the same
// units, and takes a fraction of the bench's time.
func TestQuickAgreesWithWhole(t *testing.T) {
	s := trial.Study{Profiles: load(t, "aux-pump-60w"), Faults: []string{"board-dead", "drag", "impeller-lost"}, Severities: []float64{1}, Units: 1, Good: 3, Seed: 9}
	quick, err := s.Run(t.Context())
	require.NoError(t, err)
	s.Whole = true
	whole, err := s.Run(t.Context())
	require.NoError(t, err)
	var short, long time.Duration
	ended := 0
	for i := range whole.Trials {
		q, w := quick.Trials[i], whole.Trials[i]
		assert.Equal(t, w.Seed, q.Seed)
		assert.Equal(t, w.Result.Verdict, q.Result.Verdict, "%s", w.Fault)
		assert.Equal(t, w.Result.Cause, q.Result.Cause, "%s", w.Fault)
		short, long = short+q.Long, long+w.Long
		if q.Fault == "" && q.Long < 22*time.Second {
			ended++ // one in twenty lies unusually far out and runs the whole plan
		}
	}
	assert.Less(t, short, long*2/3)
	assert.GreaterOrEqual(t, ended, 2)
}
