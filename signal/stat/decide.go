package stat

import "math"

// Conformance is the probability that the true value lies between low and
// high, given a measured value with standard uncertainty u, normal and with
// no prior knowledge (JCGM 106:2012, 7.2 to 7.4). Either limit may be
// infinite. NaN when value or u is NaN or u is below 0.
func Conformance(value, u, low, high float64) float64 {
	switch {
	case math.IsNaN(value) || !(u >= 0) || math.IsNaN(low) || math.IsNaN(high):
		return math.NaN()
	case u == 0:
		if value >= low && value <= high {
			return 1
		}
		return 0
	case math.IsInf(u, 1):
		if math.IsInf(low, -1) && math.IsInf(high, 1) {
			return 1
		}
		return 0
	}
	// Take both tails on the side where they are small.
	a, b := (low-value)/u, (high-value)/u
	if a > 0 {
		a, b = -b, -a
	}
	return max(0, NormalCDF(b)-NormalCDF(a))
}

// Decision is the outcome of a rule.
type Decision int

// Undecided is the zero value: nothing was shown.
const (
	Undecided Decision = iota
	Accept
	Reject
)

func (d Decision) String() string {
	switch d {
	case Accept:
		return "accept"
	case Reject:
		return "reject"
	}
	return "undecided"
}

// GuardFactor is the width of a guard band in standard uncertainties for a
// conformance probability at the limit: z(probability), 1.645 for 0.95
// (JCGM 106:2012, 8.3).
func GuardFactor(probability float64) float64 { return Normal(probability) }

// Simple accepts inside the limits and rejects outside: up to half of the
// acceptances at the limit are wrong (simple acceptance, JCGM 106:2012, 8.2;
// ILAC-G8:09/2019).
func Simple(value, low, high float64) Decision {
	return judge(value, low, high, low, high)
}

// GuardedAcceptance accepts only what lies a guard band GuardFactor·u inside
// the limits and rejects the rest: an accepted item conforms with at least
// the probability (JCGM 106:2012, 8.3.2).
func GuardedAcceptance(value, u, low, high, probability float64) Decision {
	w := GuardFactor(probability) * u
	return judge(value, low+w, high-w, low+w, high-w)
}

// GuardedRejection rejects only what lies a guard band beyond the limits and
// accepts the rest: a rejected item does not conform with at least the
// probability (JCGM 106:2012, 8.3.3).
func GuardedRejection(value, u, low, high, probability float64) Decision {
	w := GuardFactor(probability) * u
	return judge(value, low-w, high+w, low-w, high+w)
}

// Guarded accepts a guard band inside the limits, rejects a guard band beyond
// them, and is undecided between: either answer holds with at least the
// probability (non-binary rule with guard band, ILAC-G8:09/2019, 4.2.3).
func Guarded(value, u, low, high, probability float64) Decision {
	w := GuardFactor(probability) * u
	return judge(value, low+w, high-w, low-w, high+w)
}

// judge accepts within the inner limits, rejects outside the outer. A value
// at a limit counts as inside, rounding in the last digits (1e-12 of the
// limit) included. What is not a number decides nothing.
func judge(value, innerLow, innerHigh, outerLow, outerHigh float64) Decision {
	for _, v := range [...]float64{value, innerLow, innerHigh, outerLow, outerHigh} {
		if math.IsNaN(v) {
			return Undecided
		}
	}
	switch {
	case notBelow(value, innerLow) && notBelow(innerHigh, value):
		return Accept
	case !notBelow(value, outerLow) || !notBelow(outerHigh, value):
		return Reject
	}
	return Undecided
}

func notBelow(a, b float64) bool {
	if math.IsInf(a, 0) || math.IsInf(b, 0) {
		return a >= b
	}
	return a >= b-1e-12*max(math.Abs(a), math.Abs(b))
}
