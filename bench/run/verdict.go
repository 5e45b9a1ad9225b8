package run

import (
	"slices"
	"strings"

	"dutybench/bench/guard"
	"dutybench/bench/result"
	"dutybench/profiles"
	"dutybench/signal/trace"
)

// Unjudged is the result of a test whose trace holds too little to judge.
func Unjudged(tr *trace.Trace, p *profiles.Profile) result.Result {
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

// Merge puts what happened on the bench into what the trace says.
//
// A fault of the bench or its wiring takes the verdict: undecided, whatever
// the trace shows, because it says nothing about the unit. After a trip or an
// early end the unit cannot pass; where a person stopped the test, nothing is
// decided at all. A doubt about the bench takes every verdict but a pass, as
// it can make a good unit look bad and no bad one good. Else what the trace
// says stands.
func Merge(r result.Result, out *Outcome) result.Result {
	if out.Unbegun {
		// The trace holds no test of the unit, so it says nothing about it.
		r = result.Result{Schema: r.Schema, Source: r.Source, Unit: r.Unit, Kind: r.Kind, Profile: r.Profile,
			Verdict: result.Undecided, Sentence: "Undecided: the test ended before its plan began."}
	}
	r.Warnings = slices.Concat(r.Warnings, out.Warnings)
	r.Checks = out.Checks
	if out.Ended != "" {
		r.Ended = out.Ended
	}
	stopped := false
	switch {
	case len(out.Faults) > 0:
		f := out.Faults[0]
		for _, other := range out.Faults[1:] {
			r.Warnings = append(r.Warnings, other.words())
		}
		if r.Cause != nil && r.Exit() == 5 && len(r.Findings) > 0 && !r.Surroundings {
			// The trace says the bench's side too, and from more than the last
			// samples; what to do about the fault itself comes first.
			r.Warnings = append(r.Warnings, f.words())
			r.NextStep = f.Next
			break
		}
		blame(&r, f, sure)
	case out.Trip != nil:
		stopped = out.Trip.Rule == guard.StopPressed || out.Trip.Rule == guard.Cancelled || out.Trip.Rule == guard.Panicked
		if stopped || r.Verdict == result.Pass || r.Cause == nil {
			undecide(&r, out.Trip.Reason, out.Trip.Next)
		}
	case out.Ended != "" && r.Verdict == result.Pass:
		undecide(&r, out.Ended, "Run the whole test.")
	}
	doubts := out.Doubts
	if len(doubts) > 0 && !stopped && r.Verdict != result.Pass && r.Exit() != 5 {
		blame(&r, doubts[0], doubted)
		doubts = doubts[1:]
	}
	for _, d := range doubts {
		r.Warnings = append(r.Warnings, d.words())
	}
	return r
}

// How sure the bench's side is: never wholly of a fault that the bench saw
// itself, and less of one that may only have lain beside what the trace shows
// (chosen; ten to one, more than the four to one that names a cause alone).
const (
	sure    = 0.995
	doubted = 0.91
)

// words are a fault and what to do about it.
func (f Fault) words() string { return strings.TrimSpace(f.Sentence + " " + f.Next) }

// blame leaves a result undecided for a fault of the bench or its wiring.
func blame(r *result.Result, f Fault, sure float64) {
	undecide(r, f.Sentence, f.Next)
	r.Cause = &f.Cause
	r.Causes = []result.CauseProbability{{Cause: f.Cause, Probability: sure, For: []string{f.Sentence}}, {Cause: otherSide(f.Cause), Probability: 1 - sure}}
	if len(f.Or) == 0 {
		return
	}
	// The bench cannot tell its own side from the others: they share it.
	r.Inseparable, r.SeparatedBy = append([]result.Cause{f.Cause}, f.Or...), f.Apart
	share := sure / float64(len(r.Inseparable))
	r.Causes[0].Probability = share
	for _, c := range f.Or {
		r.Causes = slices.Insert(r.Causes, len(r.Causes)-1, result.CauseProbability{Cause: c, Probability: share, For: []string{f.Sentence}})
	}
}

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
