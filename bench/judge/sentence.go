package judge

import (
	"fmt"
	"strings"

	"dutybench/bench/kind"
	"dutybench/bench/result"
)

// sentence says verdict, cause and next step in plain words.
func sentence(r *result.Result, a *kind.Assessment, p kind.Purpose) string {
	switch {
	case r.Verdict == result.Pass && p == kind.Return:
		return fmt.Sprintf("Pass: no fault found in the %s under these conditions. Next: %s.", noun(r), r.NextStep)
	case r.Verdict == result.Pass && barely(r.Risk):
		return fmt.Sprintf("Pass, barely: the %s does what good ones do, but a repeat may say otherwise. Next: %s.", noun(r), r.NextStep)
	case r.Verdict == result.Pass:
		return fmt.Sprintf("Pass: the %s does what good ones do. Next: %s.", noun(r), r.NextStep)
	case r.Cause == nil && len(a.Lacking) > 0:
		return fmt.Sprintf("Undecided: %s. Next: %s.", a.Lacking[0], r.NextStep)
	case r.Cause == nil:
		return fmt.Sprintf("Undecided: nothing in the trace says why. Next: %s.", r.NextStep)
	case len(r.Inseparable) > 1:
		return fmt.Sprintf("%s: %s. Either %s; this test cannot tell which. Next: %s.", lead(r), a.Seen, either(r.Inseparable), r.NextStep)
	}
	return fmt.Sprintf("%s: %s (%s, %s). Next: %s.", lead(r), a.Seen, sideOf(*r.Cause), odds(Probability(r)), r.NextStep)
}

// odds is a probability in words; no test is ever wholly sure.
func odds(p float64) string {
	if p > 0.99 {
		return "probability over 99 %"
	}
	return fmt.Sprintf("probability %.0f %%", 100*p)
}

func lead(r *result.Result) string {
	if r.Verdict == result.Fail {
		return "Fail"
	}
	return "Undecided"
}

func noun(r *result.Result) string {
	if r.Unit != "" {
		return r.Kind + " " + r.Unit
	}
	return r.Kind
}

// sideOf names a cause for a person.
func sideOf(c result.Cause) string {
	switch c {
	case result.ControlBoard:
		return "the control board"
	case result.Mechanical:
		return "the mechanics"
	case result.Electrical:
		return "coil, winding or brushes"
	case result.Hydraulic:
		return "the hydraulic side: loop or impeller"
	case result.Wiring:
		return "the wiring up to the plug"
	}
	return "the bench itself"
}

func either(cs []result.Cause) string {
	var s []string
	for _, c := range cs {
		s = append(s, sideOf(c))
	}
	return strings.Join(s, " or ")
}
