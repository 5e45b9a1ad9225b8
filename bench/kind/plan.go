package kind

import "time"

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
}

// Plan is the ordered steps of a test. The supply is off before the first
// and after the last, whatever the plan says.
type Plan struct{ Steps []Step }

// Longest is the time that the plan takes when every step runs to its limit.
func (p Plan) Longest() time.Duration {
	var d time.Duration
	for _, s := range p.Steps {
		d += s.Max
	}
	return d
}
