package fan

import (
	"slices"
	"time"

	"dutybench/bench/kind"
	"dutybench/profiles"
)

// known is when a plateau is good enough, as a relative standard uncertainty of
// its mean: a fraction of what the weather does to the air (density_u).
const known = 0.005

// A fan starts softly and a wheel of some tenths of a kilogram takes seconds to
// follow (common practice, no source): steps are longer than those of a pump.
func at(name string, duty float64, least, most time.Duration) kind.Step {
	return kind.Step{Name: name, Supply: true, Command_pct: duty, Min: least, Max: most, Good: known}
}

func begin(p *profiles.Profile, duty float64) []kind.Step {
	wait := max(p.Limits.StartTimeout, 8*time.Second)
	return []kind.Step{
		{Name: "zero", Command_pct: p.Command.Stop_pct, Min: 300 * time.Millisecond, Max: 500 * time.Millisecond},
		{Name: "quiet", Supply: true, Command_pct: p.Command.Stop_pct, Min: 1 * time.Second, Max: 1500 * time.Millisecond},
		at("start", duty, 5*time.Second, wait),
	}
}

// end is what it does without a command, where the profile says, and stop.
// Meanwhile the duty that the trace states is that of stop: what the unit does
// then is no answer to a command.
func end(p *profiles.Profile) (steps []kind.Step) {
	for _, m := range []struct {
		name, does string
		action     kind.Action
	}{{"missing-open", p.Command.Missing.Open, kind.Release}, {"missing-low", p.Command.Missing.Low, kind.HoldLow}, {"missing-high", p.Command.Missing.High, kind.HoldHigh}} {
		if m.does != "" {
			steps = append(steps, kind.Step{Name: m.name, Supply: true, Line: m.action, Command_pct: p.Command.Stop_pct, Min: 4 * time.Second, Max: 5 * time.Second, Good: known})
		}
	}
	return append(steps, kind.Step{Name: "stop", Supply: true, Command_pct: p.Command.Stop_pct, Min: time.Second, Max: 2 * time.Second})
}

func steps(name string, duties []float64) (out []kind.Step) {
	for _, d := range duties {
		out = append(out, at(name, d, 2*time.Second, 5*time.Second))
	}
	return out
}

// backward is the duties below the highest, falling.
func backward(duties []float64) []float64 {
	down := slices.Clone(duties[:len(duties)-1])
	slices.Reverse(down)
	return down
}

// Plan is the full test: start-up at the lowest duty, sweep up, hold at full,
// sweep down, and what it does without a command.
func (Kind) Plan(p *profiles.Profile) kind.Plan {
	duties := sweep(p.Command)
	full := duties[len(duties)-1]
	out := append(begin(p, duties[0]), steps("up", duties[1:])...)
	out = append(out, at("hold", full, 3*time.Second, 6*time.Second))
	out = append(out, steps("down", backward(duties))...)
	return kind.Plan{Steps: append(out, end(p)...)}
}

// Quick is the sweep up and the hold at full first; then, unless enough is
// known, the rest.
func (k Kind) Quick(p *profiles.Profile) kind.Plan {
	plan := k.Plan(p)
	held := slices.IndexFunc(plan.Steps, func(s kind.Step) bool { return s.Name == "hold" })
	for i := range plan.Steps {
		plan.Steps[i].Ask, plan.Steps[i].Suffices = i > 2, i > held
	}
	return plan
}

// sweep is the duties of a test, rising: from 20 % or the wake-up duty to full in
// steps of 15, six speeds for three contrasts.
func sweep(c profiles.Command) (out []float64) {
	full := c.Full_pct
	if full <= 0 {
		full = 100
	}
	for d := max(20, c.Wake_pct+5); d < full-5; d += 15 {
		out = append(out, d)
	}
	return append(out, full)
}
