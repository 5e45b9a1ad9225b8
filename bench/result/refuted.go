package result

import (
	"slices"
	"strings"
)

// FreeByHand is what would disprove a rotor that is stuck. A person who turned
// it before the test has said whether it holds.
const FreeByHand = "a rotor that turns freely by hand through the inlet"

// refuted tells that the person's hand has found what would disprove the
// cause. Verdict and probabilities stand: they are the measurement's, and a
// rotor may have bound since, or be felt as free through a long shaft.
func refuted(r *Result, i *Inspection) {
	if i.Found("free") != "yes" || r.Cause == nil || *r.Cause != Mechanical || r.Disproof != FreeByHand {
		return
	}
	const says = "By inspection the rotor turned freely by hand before the test"
	r.Warnings = append(r.Warnings, says+", which speaks against what was measured. Turn it again before anything is opened: "+
		"free, test once more and look at the control board; tight, the mechanics hold it.")
	r.Causes = slices.Clone(r.Causes)
	for k := range r.Causes {
		if c := &r.Causes[k]; c.Cause == Mechanical {
			c.Against = append(slices.Clone(c.Against), strings.ToLower(says[:1])+says[1:])
		}
	}
	old := r.NextStep
	r.NextStep = "turn the rotor by hand once more, supply off: it was free before the test. Free again: test once more and look at the control board; tight: the mechanics hold it"
	if old != "" {
		r.Sentence = strings.Replace(r.Sentence, " Next: "+lower(old), " Next: "+r.NextStep, 1)
	}
}
