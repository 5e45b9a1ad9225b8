package main

import (
	"slices"
	"strings"

	"dutybench/bench/guard"
	"dutybench/bench/result"
	"dutybench/bench/run"
	"dutybench/profiles"
	"dutybench/signal/trace"
)

// unjudged is the result of a test whose trace holds too little to judge.
func unjudged(tr *trace.Trace, p *profiles.Profile) result.Result {
	r := result.Result{
		Schema: result.Schema, Source: tr.Source, Kind: p.Kind, Verdict: result.Undecided,
		Profile:  result.Profile{Name: p.Name, Revision: p.Revision, SHA256: p.SHA256},
		Sentence: "Undecided: the test ended before anything could be judged. Next: run it again.",
		NextStep: "run it again",
	}
	r.Unit, _ = tr.Get(trace.KeyUnit)
	r.Ended, _ = tr.Get(trace.KeyEnded)
	return r
}

// merge puts what happened on the bench into what the trace says.
//
// A fault of the bench or its wiring takes the verdict: undecided, whatever
// the trace shows, because it says nothing about the unit. After a trip or an
// early end the unit cannot pass; where a person stopped the test, nothing is
// decided at all. Else what the trace says stands.
func merge(r result.Result, out *run.Outcome) result.Result {
	r.Warnings = slices.Concat(r.Warnings, out.Warnings)
	if out.Ended != "" {
		r.Ended = out.Ended
	}
	switch {
	case len(out.Faults) > 0:
		f := out.Faults[0]
		for _, other := range out.Faults[1:] {
			r.Warnings = append(r.Warnings, strings.TrimSpace(other.Sentence+" "+other.Next))
		}
		if r.Cause != nil && r.Exit() == 5 && len(r.Findings) > 0 && !r.Surroundings {
			// The trace says the bench's side too, and from more than the last
			// samples; what to do about the fault itself comes first.
			r.Warnings = append(r.Warnings, strings.TrimSpace(f.Sentence+" "+f.Next))
			r.NextStep = f.Next
			break
		}
		undecide(&r, f.Sentence, f.Next)
		r.Cause = &f.Cause
		r.Causes = []result.CauseProbability{{Cause: f.Cause, Probability: sure, For: []string{f.Sentence}}, {Cause: otherSide(f.Cause), Probability: 1 - sure}}
	case out.Trip != nil:
		stopped := out.Trip.Rule == guard.StopPressed || out.Trip.Rule == guard.Cancelled || out.Trip.Rule == guard.Panicked
		if stopped || r.Verdict == result.Pass || r.Cause == nil {
			undecide(&r, out.Trip.Reason, out.Trip.Next)
		}
	case out.Ended != "" && r.Verdict == result.Pass:
		undecide(&r, out.Ended, "Run the whole test.")
	}
	return r
}

// sure is how sure a fault that the bench saw itself is: never wholly.
const sure = 0.995

// otherSide is the other of the bench's two sides.
func otherSide(c result.Cause) result.Cause {
	if c == result.Wiring {
		return result.Bench
	}
	return result.Wiring
}

// undecide leaves a result without verdict on the unit, and without a cause.
func undecide(r *result.Result, why, next string) {
	r.Verdict, r.Cause, r.Causes = result.Undecided, nil, nil
	r.Inseparable, r.SeparatedBy, r.Carried, r.Reusable, r.Disproof = nil, "", nil, nil, ""
	if r.Risk != nil {
		k := *r.Risk
		k.Measurement, k.Unseen = nil, nil
		r.Risk = &k
	}
	r.NextStep = next
	r.Sentence = "Undecided: " + lowered(why)
	if next != "" {
		r.Sentence += " Next: " + lowered(next)
	}
}

// lowered is a sentence as it stands after a colon.
func lowered(s string) string {
	if len(s) > 1 && s[1] >= 'A' && s[1] <= 'Z' {
		return s // an abbreviation
	}
	return strings.ToLower(s[:min(1, len(s))]) + s[min(1, len(s)):]
}
