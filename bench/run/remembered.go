package run

import (
	"slices"
	"strings"

	"dutybench/bench/guard"
	"dutybench/bench/result"
	"dutybench/signal/trace"
)

// Remembered is what happened on the bench during a test, as far as its trace
// and the result that was kept of it tell, for who judges the trace again.
// kept is nil of a test that was never judged.
func Remembered(tr *trace.Trace, kept *result.Result, interrupted bool) *Outcome {
	out := &Outcome{Trace: tr}
	if ended, ok := tr.Get(trace.KeyEnded); ok {
		out.Ended = ended
		// A guard's rule is in small letters, a sentence is not.
		if rule, reason, found := strings.Cut(ended, ": "); found && strings.ToLower(rule) == rule {
			out.Ended, out.Trip = reason, &guard.Trip{Rule: guard.Rule(rule), Reason: reason}
		}
	}
	if interrupted {
		out.Trip, out.Ended = nil, "The test broke off, as the program or its machine stopped."
	}
	if kept == nil {
		return out
	}
	if out.Checks = kept.Checks; kept.Ended != "" {
		out.Ended = kept.Ended
	}
	_, begun := tr.Get("step")
	out.Unbegun = !begun && len(kept.Findings) == 0 && len(kept.Checks) > 0
	if out.Trip != nil {
		out.Trip.Next = kept.NextStep
	}
	if f, ok := blamed(kept); ok {
		// One that ended the test was a fault, one that did not was a doubt.
		if out.Ended == f.Sentence || out.Unbegun {
			out.Faults = []Fault{f}
		} else {
			out.Doubts = []Fault{f}
		}
	}
	return out
}

// blamed is the fault of the bench that took a result's verdict, which blame
// has written there.
func blamed(r *result.Result) (Fault, bool) {
	if r.Verdict != result.Undecided || r.Cause == nil || len(r.Causes) < 2 || len(r.Causes[0].For) != 1 || r.Causes[0].Cause != *r.Cause {
		return Fault{}, false
	}
	f := Fault{Cause: *r.Cause, Sentence: r.Causes[0].For[0], Next: r.NextStep}
	if !strings.HasPrefix(r.Sentence, "Undecided: "+lowered(f.Sentence)) {
		return Fault{}, false
	}
	if len(r.Inseparable) > 1 {
		f.Or, f.Apart = slices.Clone(r.Inseparable[1:]), r.SeparatedBy
	}
	return f, true
}
