package judge

import (
	"fmt"
	"strings"

	"dutybench/bench/kind"
	"dutybench/bench/result"
)

// sentence says verdict, cause and next step in plain words.
func sentence(r *result.Result, a *kind.Assessment) string {
	switch {
	case r.Verdict == result.Pass:
		return fmt.Sprintf("Pass: the %s does what good ones do. Next: %s.", noun(r), r.NextStep)
	case r.Cause == nil && len(a.Lacking) > 0:
		return fmt.Sprintf("Undecided: %s. Next: %s.", a.Lacking[0], r.NextStep)
	case r.Cause == nil:
		return fmt.Sprintf("Undecided: nothing in the trace says why. Next: %s.", r.NextStep)
	case len(r.Inseparable) > 1:
		return fmt.Sprintf("%s: %s. Either %s; this test cannot tell which. Next: %s.", lead(r), a.Seen, either(r.Inseparable), r.SeparatedBy)
	}
	return fmt.Sprintf("%s: %s (%s, probability %.0f %%). Next: %s.", lead(r), a.Seen, sideOf(*r.Cause), 100*Probability(r), r.NextStep)
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
