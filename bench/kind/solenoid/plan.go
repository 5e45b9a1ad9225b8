package solenoid

import (
	"time"

	"dutybench/bench/kind"
	"dutybench/profiles"
)

const (
	// usualPulse is how long a coil is on, and off: thirty time constants of 10 ms,
	// so that resistance is read with the current at rest, and motion of even a
	// slow plunger is over (chosen; nothing depends on it but the length of a test).
	usualPulse = 300 * time.Millisecond
	// pulses of a full test: scatter of times wants a few; a plunger that sticks
	// once in five is seen in two tests of three.
	pulses = 5
	// plateau of a sweep: ten periods of 100 Hz once the current has settled.
	plateau = 250 * time.Millisecond
)

// pulseOf is the length of the profile's pulses.
func pulseOf(p *profiles.Profile) time.Duration {
	if d := sectionOf(p).Pulse.Duration(); d > 0 {
		return d
	}
	return usualPulse
}

func held(name string, supply bool, duty float64, d time.Duration) kind.Step {
	return kind.Step{Name: name, Supply: supply, Command_pct: duty, Min: d, Max: d}
}

// begin is zero with the supply off, and the switch's leakage with it on.
func begin(p *profiles.Profile) []kind.Step {
	stop := p.Command.Stop_pct
	return []kind.Step{
		{Name: "zero", Command_pct: stop, Min: 300 * time.Millisecond, Max: 300 * time.Millisecond},
		held("quiet", true, stop, 300*time.Millisecond),
	}
}

func pulsed(p *profiles.Profile, n int) (steps []kind.Step) {
	long := pulseOf(p)
	for range n {
		steps = append(steps, held("on", true, 100, long), held("off", true, p.Command.Stop_pct, long))
	}
	return steps
}

// swept is a sweep up to full and down again, with the PWM's own ripple as dither.
func swept(p *profiles.Profile) (steps []kind.Step) {
	duties := duties(p.Command)
	for _, d := range duties {
		steps = append(steps, held("up", true, d, plateau))
	}
	steps = append(steps, held("hold", true, 100, plateau))
	for i := len(duties) - 1; i >= 0; i-- {
		steps = append(steps, held("down", true, duties[i], plateau))
	}
	return append(steps, held("stop", true, p.Command.Stop_pct, pulseOf(p)))
}

// sweeps says that a profile's unit may be driven by PWM.
func sweeps(p *profiles.Profile) bool {
	s := sectionOf(p)
	return s.Type == proportional && s.Dither && p.Command.Frequency_Hz > 0
}

// duties of a sweep, rising: tens from the wake-up duty to below full.
func duties(c profiles.Command) (out []float64) {
	for d := 10.0; d < 95; d += 10 {
		if d >= c.Wake_pct && d < c.Full_pct {
			out = append(out, d)
		}
	}
	return out
}

// Plan is the full test: pulses, and for a proportional unit a sweep.
func (Kind) Plan(p *profiles.Profile) kind.Plan {
	steps := begin(p)
	if sweeps(p) {
		return kind.Plan{Steps: append(append(steps, pulsed(p, 3)...), swept(p)...)}
	}
	return kind.Plan{Steps: append(steps, pulsed(p, pulses)...)}
}

// Quick asks after three pulses whether enough is known.
func (k Kind) Quick(p *profiles.Profile) kind.Plan {
	plan := k.Plan(p)
	after := len(begin(p)) + 2*3
	for i := range plan.Steps {
		plan.Steps[i].Ask = i >= after && plan.Steps[i].Name != "off"
		plan.Steps[i].Suffices = plan.Steps[i].Ask && !sweeps(p)
	}
	return plan
}
