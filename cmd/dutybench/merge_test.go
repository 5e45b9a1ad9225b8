package main

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"dutybench/bench/guard"
	"dutybench/bench/result"
	"dutybench/bench/run"
)

func TestMerge(t *testing.T) {
	board, bench, wiring := result.ControlBoard, result.Bench, result.Wiring
	passed := result.Result{Verdict: result.Pass, Sentence: "Pass."}
	failed := result.Result{Verdict: result.Fail, Cause: &board, Sentence: "Fail.", Carried: []string{"full_current"},
		Causes: []result.CauseProbability{{Cause: board, Probability: 1}}, Reusable: []string{"motor"}}
	open := result.Result{Verdict: result.Undecided, Sentence: "Undecided."}
	fault := func(c result.Cause) *run.Outcome {
		return &run.Outcome{Ended: "The switch is welded.", Warnings: []string{"Late."},
			Faults: []run.Fault{{Cause: c, Sentence: "The switch is welded.", Next: "Replace it."}, {Cause: bench, Sentence: "More."}}}
	}
	trip := func(r guard.Rule) *run.Outcome {
		return &run.Outcome{Ended: "The current was too high.", Trip: &guard.Trip{Rule: r, Reason: "The current was too high.", Next: "Look for a short."}}
	}
	for _, c := range []struct {
		name    string
		r       result.Result
		out     *run.Outcome
		verdict result.Verdict
		cause   *result.Cause
		exit    int
		says    string
	}{
		{"nothing happened, good", passed, &run.Outcome{}, result.Pass, nil, 0, "Pass."},
		{"nothing happened, bad", failed, &run.Outcome{}, result.Fail, &board, 3, "Fail."},
		{"bench fault over a pass", passed, fault(bench), result.Undecided, &bench, 5, "Undecided: the switch is welded. Next: replace it."},
		{"bench fault over a fail", failed, fault(bench), result.Undecided, &bench, 5, "welded"},
		{"wiring fault over a fail", failed, fault(wiring), result.Undecided, &wiring, 5, "welded"},
		{"trip: a unit that drew too much cannot pass", passed, trip(guard.OverCurrent), result.Undecided, nil, 4, "Undecided: the current was too high. Next: look for a short."},
		{"trip: what the trace says stands", failed, trip(guard.Short), result.Fail, &board, 3, "Fail."},
		{"trip: nothing else is known", open, trip(guard.Short), result.Undecided, nil, 4, "too high"},
		{"stopped by a person: nothing is decided", failed, trip(guard.StopPressed), result.Undecided, nil, 4, "too high"},
		{"cancelled: nothing is decided", failed, trip(guard.Cancelled), result.Undecided, nil, 4, "too high"},
		{"ended early: cannot pass", passed, &run.Outcome{Ended: "Enough was known."}, result.Undecided, nil, 4, "enough was known"},
		{"ended early: a fail stands", failed, &run.Outcome{Ended: "Enough was known."}, result.Fail, &board, 3, "Fail."},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := merge(c.r, c.out)
			assert.Equal(t, c.verdict, got.Verdict)
			assert.Equal(t, c.cause, got.Cause)
			assert.Equal(t, c.exit, got.Exit())
			assert.Contains(t, got.Sentence, c.says)
			assert.Equal(t, c.out.Ended, got.Ended)
			if len(c.out.Faults) > 0 {
				assert.Greater(t, got.Causes[0].Probability, 0.99)
				assert.Equal(t, []string{"Late.", "More."}, got.Warnings)
				assert.Empty(t, got.Reusable, "nothing is known of the unit")
			}
			if got.Cause == nil {
				assert.Empty(t, got.Causes)
			}
		})
	}
	assert.Equal(t, []string{"full_current"}, failed.Carried, "what came in is left as it was")
}
