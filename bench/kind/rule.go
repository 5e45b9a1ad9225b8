package kind

import (
	"fmt"
	"math"

	"dutybench/bench/result"
	"dutybench/signal/stat"
)

// Purpose is what a verdict is for; it chooses the decision rule
// (JCGM 106:2012, 8; ISO 14253-1; ILAC-G8:09/2019).
type Purpose string

// The purposes.
const (
	// General is what counts when nobody says: inside the limits passes,
	// clearly beyond fails, and beyond by no more than the measurement
	// explains is undecided.
	General Purpose = ""
	// NewPart does not fit a doubtful part: guarded acceptance.
	NewPart Purpose = "new-part"
	// Core sorts what has been returned: simple acceptance, no guard band.
	Core Purpose = "core"
	// Return does not call a good part bad: guarded rejection. A pass there
	// reads "no fault found under these conditions".
	Return Purpose = "return"
)

// Sure is the conformance probability that a guard band gives at its edge
// (JCGM 106:2012, 8.3.2: 95 % is the usual choice).
const Sure = 0.95

// Purposes lists those that a person may choose.
func Purposes() []Purpose { return []Purpose{NewPart, Core, Return} }

// ParsePurpose reads a purpose; empty is General.
func ParsePurpose(s string) (Purpose, error) {
	for _, p := range append(Purposes(), General) {
		if s == string(p) {
			return p, nil
		}
	}
	return General, fmt.Errorf("kind: there is no purpose %q: choose new-part, core or return, or leave it out", s)
}

// Words say the rule in a sentence.
func (p Purpose) Words() string {
	switch p {
	case NewPart:
		return "new part: a value passes only where it lies inside its limits by a guard band, so that what passes conforms with 95 % probability (guarded acceptance)"
	case Core:
		return "core: a value passes inside its limits and fails outside (simple acceptance, no guard band)"
	case Return:
		return "return: a value fails only where it lies beyond its limits by a guard band, so that what fails does not conform with 95 % probability (guarded rejection)"
	}
	return "general: a value passes inside its limits, fails beyond a guard band outside them, and is undecided between (95 % probability)"
}

// Decide holds a value against its limits. u is the standard uncertainty that
// the limits do not contain yet; NaN is no limit on that side.
func (p Purpose) Decide(x, u, low, high float64) result.Outcome {
	lo, hi := OrEndless(low, -1), OrEndless(high, 1)
	var d stat.Decision
	switch p {
	case NewPart:
		if d = stat.GuardedAcceptance(x, u, lo, hi, Sure); d == stat.Reject && stat.GuardedRejection(x, u, lo, hi, Sure) == stat.Accept {
			d = stat.Undecided // not shown to be bad either
		}
	case Core:
		d = stat.Simple(x, lo, hi)
	case Return:
		d = stat.GuardedRejection(x, u, lo, hi, Sure)
	default:
		if d = stat.Simple(x, lo, hi); d == stat.Reject && stat.GuardedRejection(x, u, lo, hi, Sure) == stat.Accept {
			d = stat.Undecided
		}
	}
	switch d {
	case stat.Accept:
		return result.Passed
	case stat.Reject:
		return result.Failed
	}
	return result.Doubtful
}

// OrEndless is a limit, or none where it is NaN: ±Inf on the side of sign.
func OrEndless(limit float64, sign int) float64 {
	if math.IsNaN(limit) {
		return math.Inf(sign)
	}
	return limit
}
