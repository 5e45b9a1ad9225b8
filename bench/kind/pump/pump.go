// Package pump is the kind of unit that has a motor, a rotor in liquid and a
// control board of its own, commanded by PWM: auxiliary coolant pumps,
// heating and solar circulators.
//
// A sample's path here: Measure takes steps, plateaus and start-up from the
// trace (measure.go, swing.go, supply.go); Assess holds them against the good
// units' rows of a profile (reference.go, rules.go, assess.go); modes.go
// lists what can be wrong with a pump, each with what it would change;
// causes.go weighs them.
package pump

import "dutybench/profiles"

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

// Wet: its rotor runs in what it moves.
func (Kind) Wet() bool { return true }

// Cautions of a pump: what is in the loop.
func (Kind) Cautions() []string {
	return []string{"Coolant may be hot, under pressure and poisonous: take the supply off and let it cool before opening the loop."}
}

// Whole is what a trace has to hold.
func (Kind) Whole() string {
	return "record a whole test: rest, start, a sweep of duty up to full command and back"
}

// Charted are the current at full, of gain, supply and loop; the quiet current,
// of the zero; the drop of the plug and the leads; the excess at low speed, of a
// check unit that wears, and of the loop.
func (Kind) Charted() []string { return []string{Full, Quiet, SupplyDrop, LowSpeed} }

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
