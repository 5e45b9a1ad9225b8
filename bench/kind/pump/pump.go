// Package pump is the kind of unit that has a motor, a rotor in liquid and a
// control board of its own, commanded by PWM: auxiliary coolant pumps,
// heating and solar circulators.
//
// A sample's path here: Measure takes steps, plateaus and start-up from the
// trace (measure.go, swing.go, supply.go); Assess holds them against the good
// units' rows of a profile (reference.go, limits.go, assess.go); modes.go
// lists what can be wrong with a pump, each with what it would change;
// causes.go weighs them.
package pump

import (
	"time"

	"dutybench/bench/kind"
	"dutybench/profiles"
)

// Section is the [pump] part of a profile.
type Section struct {
	// Regulation: "speed" (constant power at a given duty: current falls as
	// supply rises), "voltage" (duty merely sets the motor's voltage), "power",
	// or "unknown".
	Regulation string `toml:"regulation" oneof:"speed|voltage|power|unknown" comment:"speed, voltage, power or unknown"`
	// Drive: "six-step", "sine" or "unknown".
	Drive string `toml:"drive" oneof:"six-step|sine|unknown" comment:"six-step, sine or unknown"`
	// PolePairs of the motor; 0 not known.
	PolePairs int `toml:"pole_pairs" min:"0" max:"100" comment:"0 when not known"`
	// Hydraulics: "centrifugal", "peripheral", "displacement" or "unknown".
	Hydraulics string `toml:"hydraulics" oneof:"centrifugal|peripheral|displacement|unknown" comment:"centrifugal, peripheral, displacement or unknown"`
}

// Unknown fills a section of which nothing is known, as for a profile learned
// from traces alone.
func (s *Section) Unknown() {
	*s = Section{Regulation: "unknown", Drive: "unknown", Hydraulics: "unknown"}
}

// Kind is the pump.
type Kind struct{}

// Name is "pump".
func (Kind) Name() string { return "pump" }

// Section is an empty [pump] part.
func (Kind) Section() any { return &Section{} }

// sectionOf is the profile's [pump] part, all unknown when there is none.
func sectionOf(p *profiles.Profile) Section {
	if p != nil {
		if s, ok := p.Section.(*Section); ok && s != nil {
			return *s
		}
	}
	return Section{Regulation: "unknown", Drive: "unknown", Hydraulics: "unknown"}
}

// Plan is the full test of a pump: zero with the supply off, quiet current
// with the stop command already on the line, start-up straight to a middle
// duty as the first start may be the only one that sticks, sweep up, hold at
// full, sweep down, what it does without a command where the profile says,
// stop.
func (Kind) Plan(p *profiles.Profile) kind.Plan {
	c := p.Command
	good := 0.005 // relative standard uncertainty of a plateau's mean: a sixth of the spread between good units of mass-made motors (common practice, no source)
	run := func(name string, duty float64, least, most time.Duration) kind.Step {
		return kind.Step{Name: name, Supply: true, Command_pct: duty, Min: least, Max: most, Good: good}
	}
	steps := []kind.Step{
		{Name: "zero", Command_pct: c.Stop_pct, Min: 300 * time.Millisecond, Max: 500 * time.Millisecond},
		{Name: "quiet", Supply: true, Command_pct: c.Stop_pct, Min: 1 * time.Second, Max: 1500 * time.Millisecond},
	}
	duties := sweep(c)
	wait := p.Limits.StartTimeout
	if wait <= 0 {
		wait = 8 * time.Second
	}
	steps = append(steps, run("start", duties[0], 3*time.Second, max(wait, 3*time.Second)))
	for _, d := range duties[1:] {
		steps = append(steps, run("up", d, 1500*time.Millisecond, 4*time.Second))
	}
	steps = append(steps, run("hold", duties[len(duties)-1], 3*time.Second, 6*time.Second))
	for i := len(duties) - 2; i >= 0; i-- {
		steps = append(steps, run("down", duties[i], 1500*time.Millisecond, 4*time.Second))
	}
	for _, m := range []struct {
		name, does string
		action     kind.Action
	}{{"missing-open", c.Missing.Open, kind.Release}, {"missing-low", c.Missing.Low, kind.HoldLow}, {"missing-high", c.Missing.High, kind.HoldHigh}} {
		if m.does != "" {
			steps = append(steps, kind.Step{Name: m.name, Supply: true, Line: m.action, Command_pct: duties[0], Min: 2 * time.Second, Max: 3 * time.Second, Good: good})
		}
	}
	return kind.Plan{Steps: append(steps, kind.Step{Name: "stop", Supply: true, Command_pct: c.Stop_pct, Min: time.Second, Max: 2 * time.Second})}
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
