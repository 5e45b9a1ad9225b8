package judge

import (
	"math"

	"dutybench/bench/kind"
	"dutybench/bench/result"
)

// riskOf says how sure the verdict is.
//
// A pass is turned by the measurement when any of its values lies outside in
// truth: at most the sum of the findings' probabilities of that. A fail is
// turned only when every finding that failed lies inside in truth: at most the
// least of theirs (both are specific risks, JCGM 106:2012, 9.3.3). Beside it
// stands what no measurement removes: the rate at which good units are
// refused, and how rarely a good unit lies as far out.
func riskOf(r *result.Result, a *kind.Assessment, p kind.Purpose) *result.Risk {
	k := &result.Risk{Purpose: string(p), Rule: p.Words(), Refusal: a.Refusal}
	inside, outside := 1.0, 0.0
	some := false
	for _, f := range r.Findings {
		if f.Conformity == nil {
			continue
		}
		outside += 1 - *f.Conformity
		if f.Result == result.Failed {
			some = true
			inside = min(inside, *f.Conformity)
		}
	}
	switch {
	case r.Verdict == result.Pass:
		outside = min(1, outside)
		k.Measurement, k.Unseen = &outside, a.Unseen
	case r.Verdict == result.Fail && some:
		k.Measurement = &inside
	}
	if !math.IsNaN(a.Chance) {
		c := a.Chance
		k.Chance = &c
	}
	return k
}

// turned is the probability that errors of the measurement turned a pass from
// which on it is called a bare one (chosen: the 5 % of a guard band).
const turned = 1 - kind.Sure

// barely says that a pass may be the measurement's.
func barely(k *result.Risk) bool {
	return k != nil && k.Measurement != nil && *k.Measurement > turned
}
