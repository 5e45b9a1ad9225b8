package motor

import (
	"time"

	"dutybench/bench/kind"
	"dutybench/profiles"
)

const (
	// first is how long the first start is held: five times the longest start of
	// motors of this size, and some turns' ripple beyond it. One that does not turn
	// stands under its stall current for as long; the profile's stall limit ends it
	// before (chosen).
	first = 1200 * time.Millisecond
	// again is how long the later starts are held: the peak and the start.
	again = 400 * time.Millisecond
	// coast is how long it may turn on between two starts; one that has not come to
	// rest shows a lower peak at the next.
	coast = 1500 * time.Millisecond
	// run is how long it runs for the ripple: a second and a half of it, fifty turns
	// at 2000 rpm.
	run = 1800 * time.Millisecond
	// plateau of a sweep.
	plateau = 700 * time.Millisecond
	// thin is how finely a coasting unit is kept.
	thin = 5 * time.Millisecond
)

// starts of a full test: the winding's resistance depends on where the rotor
// stands, and each start finds it elsewhere.
const starts = 3

func held(name string, supply bool, duty float64, d time.Duration) kind.Step {
	return kind.Step{Name: name, Supply: supply, Command_pct: duty, Min: d, Max: d}
}

func coasting(p *profiles.Profile) kind.Step {
	s := held("coast", true, p.Command.Stop_pct, coast)
	s.Thin = thin
	return s
}

// Plan is the full test: zero, the switch's leakage, starts from rest with coasting
// between them, a run at full, and a sweep where the unit may be driven by PWM.
func (Kind) Plan(p *profiles.Profile) kind.Plan {
	full := p.Command.Full_pct
	if full <= 0 {
		full = 100
	}
	steps := []kind.Step{held("zero", false, p.Command.Stop_pct, 300*time.Millisecond), held("quiet", true, p.Command.Stop_pct, 400*time.Millisecond)}
	steps = append(steps, held("start", true, full, first), coasting(p))
	for range starts - 2 {
		steps = append(steps, held("start", true, full, again), coasting(p))
	}
	if p.Command.Frequency_Hz == 0 {
		return kind.Plan{Steps: append(steps, held("run", true, full, run), held("stop", true, p.Command.Stop_pct, 100*time.Millisecond))}
	}
	duties := duties(p.Command)
	// The last start is at full too: a low duty may not turn it.
	steps = append(steps, held("run", true, full, run))
	for i := len(duties) - 1; i >= 0; i-- {
		steps = append(steps, held("down", true, duties[i], plateau))
	}
	for _, d := range duties[1:] {
		steps = append(steps, held("up", true, d, plateau))
	}
	steps = append(steps, held("up", true, full, plateau), held("stop", true, p.Command.Stop_pct, 100*time.Millisecond))
	return kind.Plan{Steps: steps}
}

// duties of a sweep, rising, below full: every twenty from the wake-up duty.
func duties(c profiles.Command) (out []float64) {
	for d := 40.0; d < c.Full_pct-5; d += 20 {
		if d >= c.Wake_pct {
			out = append(out, d)
		}
	}
	if len(out) == 0 {
		out = []float64{c.Wake_pct}
	}
	return out
}

// Quick asks after the first start, and again before the run.
func (k Kind) Quick(p *profiles.Profile) kind.Plan {
	plan := k.Plan(p)
	for i := range plan.Steps {
		plan.Steps[i].Ask = i >= 3
	}
	return plan
}
