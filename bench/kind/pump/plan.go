package pump

import (
	"slices"
	"time"

	"dutybench/bench/kind"
	"dutybench/profiles"
)

// known is when a plateau is good enough, as a relative standard uncertainty
// of its mean: a sixth of the spread between good units of mass-made motors
// (common practice, no source).
const known = 0.005

func commandedTo(name string, duty float64, least, most time.Duration) kind.Step {
	return kind.Step{Name: name, Supply: true, Command_pct: duty, Min: least, Max: most, Good: known}
}

// begin is how every plan begins: zero with the supply off, quiet current
// with the stop command already on the line, start-up, as the first start may
// be the only one that sticks.
func begin(p *profiles.Profile, duty float64) []kind.Step {
	wait := p.Limits.StartTimeout
	if wait <= 0 {
		wait = 8 * time.Second
	}
	return []kind.Step{
		{Name: "zero", Command_pct: p.Command.Stop_pct, Min: 300 * time.Millisecond, Max: 500 * time.Millisecond},
		{Name: "quiet", Supply: true, Command_pct: p.Command.Stop_pct, Min: 1 * time.Second, Max: 1500 * time.Millisecond},
		commandedTo("start", duty, 3*time.Second, max(wait, 3*time.Second)),
	}
}

// end is how every plan ends: what the unit does without a command, where the
// profile says, and stop.
//
// While the line is let go or held, the duty that the trace states is that of
// stop: what the unit does then is no answer to a command, also to a reader who
// does not know the line's columns.
func end(p *profiles.Profile) (steps []kind.Step) {
	for _, m := range []struct {
		name, does string
		action     kind.Action
	}{{"missing-open", p.Command.Missing.Open, kind.Release}, {"missing-low", p.Command.Missing.Low, kind.HoldLow}, {"missing-high", p.Command.Missing.High, kind.HoldHigh}} {
		if m.does != "" {
			steps = append(steps, kind.Step{Name: m.name, Supply: true, Line: m.action, Command_pct: p.Command.Stop_pct, Min: 2 * time.Second, Max: 3 * time.Second, Good: known})
		}
	}
	return append(steps, kind.Step{Name: "stop", Supply: true, Command_pct: p.Command.Stop_pct, Min: time.Second, Max: 2 * time.Second})
}

// up and down are the steps of a sweep.
func up(duties []float64) (steps []kind.Step) {
	for _, d := range duties {
		steps = append(steps, commandedTo("up", d, 1500*time.Millisecond, 4*time.Second))
	}
	return steps
}

func down(duties []float64) (steps []kind.Step) {
	for _, d := range slices.Backward(duties) {
		steps = append(steps, commandedTo("down", d, 1500*time.Millisecond, 4*time.Second))
	}
	return steps
}

// Plan is the full test of a pump: start-up, sweep up, hold at full, sweep
// down, and what it does without a command.
func (Kind) Plan(p *profiles.Profile) kind.Plan {
	duties := sweep(p.Command)
	low, full := duties[0], duties[len(duties)-1]
	steps := append(begin(p, low), up(duties[1:])...)
	steps = append(steps, commandedTo("hold", full, 3*time.Second, 6*time.Second))
	steps = append(steps, down(duties[:len(duties)-1])...)
	return kind.Plan{Steps: append(steps, end(p)...)}
}

// quickHold is how long the quick plan holds full command: with the sweep
// before it, running long enough that a drop-out once in six seconds is missed
// in one unit of fifteen (e^(-16/6)).
const quickHold = 6 * time.Second

// Quick is the full test with what decides most first: every second duty up,
// a long hold at full; then, unless enough is known, the whole sweep down and
// the rest.
func (Kind) Quick(p *profiles.Profile) kind.Plan {
	duties := sweep(p.Command)
	low, full := duties[0], duties[len(duties)-1]
	var some []float64
	for i := len(duties) - 1; i > 0; i -= 2 {
		some = append(some, duties[i])
	}
	slices.Reverse(some)
	steps := append(begin(p, low), up(some)...)
	steps = append(steps, commandedTo("hold", full, quickHold, quickHold))
	first, held := len(begin(p, low)), len(steps)
	steps = append(steps, down(duties[:len(duties)-1])...)
	steps = append(steps, end(p)...)
	for i := range steps {
		steps[i].Ask, steps[i].Suffices = i >= first, i >= held
	}
	return kind.Plan{Steps: steps}
}

// A soak runs so long at full, rests, and starts again: long enough for
// winding and board to warm (minutes), short enough for a few restarts in a
// quarter of an hour (chosen).
const (
	soakRun  = 4 * time.Minute
	soakRest = 20 * time.Second
	soakThin = 10 * time.Millisecond // an attempt lasts a second, a drop-out tens of milliseconds
)

// Soak is the full test with a long run at full and restarts before the sweep
// down.
func (k Kind) Soak(p *profiles.Profile, d time.Duration) kind.Plan {
	duties := sweep(p.Command)
	low, full := duties[0], duties[len(duties)-1]
	steps := append(begin(p, low), up(duties[1:])...)
	for d > 0 {
		long := min(d, soakRun)
		d -= long
		steps = append(steps,
			kind.Step{Name: "soak", Supply: true, Command_pct: full, Min: long, Max: long, Thin: soakThin},
			kind.Step{Name: "rest", Supply: true, Command_pct: p.Command.Stop_pct, Min: soakRest, Max: soakRest, Thin: soakThin},
			commandedTo("restart", low, 3*time.Second, begin(p, low)[2].Max))
	}
	steps = append(steps, commandedTo("hold", full, 3*time.Second, 6*time.Second))
	steps = append(steps, down(duties[:len(duties)-1])...)
	return kind.Plan{Steps: append(steps, end(p)...)}
}

// sweep is the duties of a test, rising: tens from the wake-up duty to full.
func sweep(c profiles.Command) []float64 {
	full := c.Full_pct
	if full <= 0 {
		full = 100
	}
	var out []float64
	for d := 20.0; d < full-1; d += 10 {
		if d >= c.Wake_pct+5 {
			out = append(out, d)
		}
	}
	return append(out, full)
}
