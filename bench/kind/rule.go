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

// Hollow says that a guard band for what a gauge study of the bench found is
// wider than half the room that a finding's limits leave: between the two, or
// with one limit from the good units' middle to it. No value between two limits
// then lies inside both by the guard band (the acceptance interval of JCGM
// 106:2012, 8.3.2, is empty), and a guarded rejection passes what lies outside
// by the room of good units again: the rule would decide, not the measurement.
// A finding like that is decided by DecideHollow, whatever the purpose.
//
// u is the standard uncertainty by the study alone; guard bands for anything else
// say how a bench differs from those of the good units and stay as they are. With
// 95 % it begins where u is 0.30 of the room between two limits. Sensitivity: were
// a third of the room the bound, at 0.20 of it, the whole room, at 0.61; the
// handbooks call a gauge unfit long before any of them, at 0.05 (six standard
// deviations over 30 % of the tolerance; AIAG, Measurement Systems Analysis, 4th
// edition, chapter II section D).
func Hollow(u, low, high, middle float64) bool {
	lo, hi := OrEndless(low, -1), OrEndless(high, 1)
	room := hi - lo
	switch {
	case math.IsInf(lo, 0) && math.IsInf(hi, 0):
		return false
	case math.IsInf(lo, 0):
		room = 2 * (hi - middle)
	case math.IsInf(hi, 0):
		room = 2 * (middle - lo)
	}
	return u > 0 && stat.GuardFactor(Sure)*u > max(0, room)/2
}

// HollowWords say why, after a finding's name or as its note.
const HollowWords = "by the gauge study, this bench is too unsteady for the limit: the guard band is wider than half the room that the limit leaves, so nothing inside or near it is decided, whatever the purpose"

// DecideHollow fails what lies beyond its limits by the guard band, and leaves
// all else undecided.
func DecideHollow(x, u, low, high float64) result.Outcome {
	if stat.GuardedRejection(x, u, OrEndless(low, -1), OrEndless(high, 1), Sure) == stat.Reject {
		return result.Failed
	}
	return result.Doubtful
}

// Widen is the factor by which a standard uncertainty grows in a guard band when
// it is known with so many degrees of freedom only: Student's t over the normal
// quantile (JCGM 100:2008, G.3.2). 0 stands for no end of them; below one they
// count as one, the fewest that a scatter can have.
func Widen(dof float64) float64 {
	if dof == 0 || math.IsInf(dof, 1) {
		return 1
	}
	if !(dof >= 1) {
		dof = 1
	}
	return stat.StudentT(Sure, dof) / stat.GuardFactor(Sure)
}

// OrEndless is a limit, or none where it is NaN: ±Inf on the side of sign.
func OrEndless(limit float64, sign int) float64 {
	if math.IsNaN(limit) {
		return math.Inf(sign)
	}
	return limit
}
