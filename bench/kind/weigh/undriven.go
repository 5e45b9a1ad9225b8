package weigh

import (
	"math"
	"slices"
	"strings"

	"dutybench/bench/result"
	"dutybench/profiles"
	"dutybench/signal/stat"
	"dutybench/signal/step"
	"dutybench/signal/trace"
)

// MissingCommand begins the names of what was measured without a command; the
// state of the line ends them.
const MissingCommand = "missing_command_"

// Lines tells who drove the signal wire of a unit of this profile at a sample.
func Lines(tr *trace.Trace, p *profiles.Profile) func(i int) step.Line {
	if p == nil {
		return step.LinesOf(tr, nil)
	}
	return step.LinesOf(tr, p.Command.LineDuty)
}

// Undriven is a state of the line in which it carries no command, and what the
// profile says that the unit does then.
type Undriven struct {
	Line step.Line
	Does string // "full", "stop" or "hold"
}

// UndrivenOf are those of which the profile says something.
func UndrivenOf(p *profiles.Profile) (out []Undriven) {
	if p == nil {
		return nil
	}
	c := p.Command.Missing
	for _, u := range []Undriven{{step.LineOpen, c.Open}, {step.LineLow, c.Low}, {step.LineHigh, c.High}} {
		if u.Does != "" {
			out = append(out, u)
		}
	}
	return out
}

// Check is the finding before anything was measured.
func (u Undriven) Check() Check {
	return Check{Finding: result.Finding{Name: MissingCommand + string(u.Line), Unit: "A", Result: result.NotMeasured, Note: "profile: " + u.Does}, Chance: 1}
}

// HoldUndriven holds the currents that a unit drew without a command against what
// the profile says. quiet and full are its currents with the stop command and at
// full, in A: its own full, not that of good units, as one that has lost its load
// still does what it should. Running is half of the way between them and more,
// stopped a twentieth and less (chosen: no unit is known to rest between).
func HoldUndriven(y Yardstick, drew map[step.Line]float64, quiet, full float64) (out []Check) {
	for _, u := range UndrivenOf(y.Profile) {
		k := u.Check()
		if x, ok := drew[u.Line]; ok {
			limit, below, above := quiet+0.05*(full-quiet), math.NaN(), math.NaN()
			switch u.Does {
			case "full":
				below = quiet + 0.5*(full-quiet)
			case "stop":
				above = limit
			default: // hold: anything but stopped
				below = limit
			}
			y.Hold(&k, stat.Exact(x), math.NaN(), below, above)
			if k.Result == result.Failed {
				k.Z = math.Copysign(10, x-limit)
			}
		}
		out = append(out, k)
	}
	return out
}

// Tripped says that the guard cut the supply for too high a current, as the trace
// says how it ended.
func Tripped(tr *trace.Trace) bool {
	ended, _ := tr.Get(trace.KeyEnded)
	return slices.ContainsFunc([]string{"over-current", "overcurrent", "peak current", "short at switch-on"}, func(s string) bool {
		return strings.Contains(strings.ToLower(ended), s)
	})
}
