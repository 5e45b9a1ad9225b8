package weigh

import (
	"math"

	"dutybench/bench/result"
	"dutybench/signal/stat"
)

// repeatSource is what repeating a test on an untouched bench adds to what one
// test knows of its own scatter.
const repeatSource = "repeatability beyond own noise, by gauge study"

// scatter is the budget lines of a gauge study.
type scatter []result.Part

// scatter gives what a gauge study of the bench adds to a finding's budget, and
// what of it the limits do not hold yet, to be guarded for.
//
// Nothing counts twice. The scatter of repeated tests holds what the test knows
// of its own noise, settling and zero: only what is beyond that is added.
// Limits learned from good units hold repeatability, as each of them was tested
// so. They hold refilling and remounting only where the profile says that the
// good units saw two fillings or more; one that does not say counts as one.
// Limits stated by hand hold neither. A profile that states its own figure of
// remounting keeps that one.
//
// dof are the effective degrees of freedom of beside (Welch and Satterthwaite,
// JCGM 100:2008, G.4.1); 0 is no end of them.
func (y Yardstick) scatter(finding string, q stat.Quantity, spread float64) (lines scatter, beside, dof float64) {
	g, ok := y.studied[finding]
	if !ok {
		return nil, 0, 0
	}
	learned := !math.IsNaN(spread)
	own, remounted := 0.0, false
	for _, c := range q.Budget {
		switch {
		case c.Source == RemountSource:
			remounted = true
		case !c.Shared:
			own = math.Hypot(own, c.U)
		}
	}
	unsure := 0.0
	add := func(source string, u, of float64, held bool) {
		if !(u > 0) {
			return
		}
		lines = append(lines, result.Part{Source: source, U: u, DoF: of, Contained: held})
		if held {
			return
		}
		if beside = math.Hypot(beside, u); of > 0 {
			unsure += math.Pow(u, 4) / of
		}
	}
	add(repeatSource, math.Sqrt(max(0, g.Repeat*g.Repeat-own*own)), g.RepeatDoF, learned)
	if !remounted {
		add(RemountSource, g.Refill, g.RefillDoF, learned && y.Profile.Learned.Fillings >= 2)
	}
	if unsure > 0 {
		dof = math.Pow(beside, 4) / unsure
	}
	return lines, beside, dof
}

// of is the quantity with these lines in its budget.
func (s scatter) of(q stat.Quantity) stat.Quantity {
	for _, p := range s {
		q = q.With(p.Source, p.U, p.DoF)
	}
	return q
}
