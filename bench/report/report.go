// Package report turns the result of a test into what a person reads: a page
// that needs nothing but a browser and prints on A4, and the lines that a
// terminal shows after a run. Both say the verdict in a sentence first.
//
// Whatever a person typed, and whatever a trace or profile holds, is escaped.
package report

import (
	"time"

	"dutybench/bench/plot"
	"dutybench/bench/result"
	"dutybench/profiles"
	"dutybench/signal/trace"
)

// Input is a test and its circumstances. Only Result is needed; what is not
// known stays empty and is shown as not stated.
type Input struct {
	Result result.Result
	// Trace is the samples; nil when they are not at hand.
	Trace *trace.Trace
	// TracePath says where the raw trace is kept.
	TracePath string
	// Profile that the unit was judged against; nil when only its name is known.
	Profile *profiles.Profile

	Rig       string
	Simulated bool   // no unit was on the bench
	Facts     []Fact // what the rig is made of
	Fixture   string // loop or bucket, bore, lift, fluid
	// Temperature of what the unit runs in, with who measured it; empty when
	// nobody did.
	Temperature string
	When        time.Time
	Operator    string
	Purpose     string
	Program     string // program and version
	// Wet says that units of this kind run in a liquid, Cautions what else may hurt
	// whoever tests them.
	Wet      bool
	Cautions []string
	// Primed is the operator's word that the loop was primed, bled and open.
	Primed bool
	// Page says where the page lies; for Text only.
	Page string
}

// Fact is one line of a rig's description.
type Fact struct{ Key, Value string }

// notTested is what no test on this bench covers.
var notTested = []string{"head and flow", "leakage", "noise", "hot running", "cold start"}

// NotTested is what the test leaves open, in words: what the result says, or
// what no test on this bench covers.
func NotTested(r result.Result) []string {
	if len(r.NotTested) > 0 {
		return r.NotTested
	}
	return append([]string(nil), notTested...)
}

// cautions are what a reader must know before acting on the verdict.
func cautions(in Input) []string {
	var out []string
	r := in.Result
	if in.Simulated {
		out = append(out, "Simulated: no real unit was on the bench.")
	}
	if p := in.Profile; p != nil {
		if p.Invented {
			out = append(out, "The profile is invented; no real unit stands behind its limits.")
		}
		if p.Learned.Provisional {
			out = append(out, "The profile is provisional: it was learned from few units, "+
				"so its limits may be wrong more often than usual.")
		}
	}
	if r.Ended != "" {
		out = append(out, "The test ended before its plan did: "+sentence(r.Ended))
	}
	if r.Early != "" {
		out = append(out, "Ended early: "+lower(sentence(r.Early))+" Not all of the plan was run.")
	}
	if r.Exit() == 5 {
		out = append(out, "The fault lies on the bench's side, so this test says nothing about the unit.")
	}
	if not := notInspected(r); r.Verdict == result.Pass && not != "" {
		out = append(out, not)
	}
	if r.Verdict == result.Pass {
		out = append(out, "A pass holds for what was measured here and for nothing that stands under “Not tested”.")
	}
	if r.Error == "" {
		for _, s := range in.Cautions {
			out = append(out, sentence(s))
		}
		if p := in.Profile; in.Wet && p != nil && p.Limits.DryRun > 0 {
			out = append(out, "Without water, run it no longer than "+plot.Short(p.Limits.DryRun.Seconds(), 3)+" s.")
		}
	}
	return out
}
