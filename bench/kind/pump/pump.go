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
