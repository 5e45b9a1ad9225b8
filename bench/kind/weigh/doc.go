// Package weigh is what kinds of unit share when they hold measurements against
// a profile: limits from good units (rule.go, curve.go), what a bench adds to
// them (yardstick.go, scatter.go), what a unit does without a command
// (undriven.go), and the weighing of what may be wrong
// (mode.go, conclude.go).
//
// A kind states rules for its measurements and modes for what can be wrong with
// its units, each with what it would move, from physics. Hold makes findings of
// the first, Conclude causes of the second.
package weigh

import "dutybench/bench/result"

// Refusal is the rate at which good units may be refused by a whole test, all
// findings together: one in two hundred, one unit in two weeks of twenty a day
// (chosen). It is shared out evenly among the findings that were measured
// (Bonferroni). A count has no such limit: it is held to the worst good unit.
// Where good units differ in it, the next lies beyond with a probability of one
// in n+1, whatever the distribution, and the rate that is stated has that added;
// a count that is the same in all good units is taken as the type's own.
const Refusal = 0.005

// Check is a finding with what the causes need to know of it.
type Check struct {
	result.Finding
	Rule Rule
	// Z is the signed distance from the good units' mean, in standard deviations
	// of good units and measurement together; SD is that deviation itself, in the
	// unit of the value, or as a share where the rule's spread is one of ratios.
	Z, SD float64
	N     int // good units behind Z; 0 when none
	// Chance is the probability, at most, that a good unit lies as far out in
	// any finding: Z's own, times the findings that share the rate.
	Chance float64
	Middle float64 // where good units lie; 0 where none are known
	Hollow bool    // the bench is too unsteady for the limits (kind.Hollow)
}

// Out says that a check lies beyond its limits, so far that measurement alone
// does not explain it.
func (c *Check) Out() bool { return c != nil && c.Result == result.Failed }

// Measured says that the check has a value.
func (c *Check) Measured() bool { return c != nil && c.Value != nil }
