package kind

import (
	"time"

	"dutybench/profiles"
)

// Action is what a step does with the signal line.
type Action int

// The actions.
const (
	Command  Action = iota // drive Command_pct through the profile's law
	Release                // let go of the line: the unit's own pull-up alone
	HoldLow                // hold the line low
	HoldHigh               // hold the line high
)

// Step is one step of a plan.
type Step struct {
	// Name labels the step in the trace, as an annotation: "zero", "quiet",
	// "start", "up", "hold", "down", "missing-open", "stop".
	Name        string
	Supply      bool
	Line        Action
	Command_pct float64
	// Min and Max bound the step. Between them it ends as soon as the current
	// is settled and its mean known to Good (relative standard uncertainty).
	Min, Max time.Duration
	Good     float64 // 0: run to Max
	// Ask says that before this step enough may be known to end the test,
	// Suffices that what came before may be enough for a pass too.
	Ask, Suffices bool
	// Thin keeps means over so long instead of samples, as for a soak of many
	// minutes; 0 keeps every sample.
	Thin time.Duration
}

// Plan is the ordered steps of a test. The supply is off before the first
// and after the last, whatever the plan says.
type Plan struct{ Steps []Step }

// Quick is a kind that has a plan which can end early: its first steps are
// those that decide most, and it asks before the others whether enough is
// known.
type Quick interface {
	Quick(p *profiles.Profile) Plan
}

// Soaker is a kind that has a plan for complaints that show only warm: so
// long a run, with restarts.
type Soaker interface {
	Soak(p *profiles.Profile, d time.Duration) Plan
}

// Longest is the time that the plan takes when every step runs to its limit.
func (p Plan) Longest() time.Duration {
	var d time.Duration
	for _, s := range p.Steps {
		d += s.Max
	}
	return d
}
