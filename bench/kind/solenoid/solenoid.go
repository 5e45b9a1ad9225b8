// Package solenoid is the kind of unit that is a coil and a plunger: a valve or
// an actuator of two wires, switched by the bench, on and off or in proportion.
//
// A sample's path here: cut.go finds from the duty and supply columns where the
// bench switched; pulses.go reads every switching edge with signal/coil
// (resistance, inductance, and when the plunger moved), sweep.go what a
// proportional unit does under PWM, supply.go the bench's own part. Assess
// (assess.go) holds it against a profile's good units by the rules in rules.go;
// modes.go lists what can be wrong with a solenoid, each with what it would move.
package solenoid

import "dutybench/profiles"

// Words of Section.Type.
const (
	onOff        = "on-off"
	proportional = "proportional"
	unknownType  = "unknown"
)

// Section is the [solenoid] part of a profile.
type Section struct {
	// Type: "on-off", "proportional" (the plunger follows the current), or
	// "unknown".
	Type string `toml:"type" oneof:"on-off|proportional|unknown" comment:"on-off, proportional or unknown"`
	// Resistance of the winding at 20 °C by the type's sheet, and how far a good
	// one may lie off; 0 not known.
	Resistance profiles.Ohm   `toml:"resistance,omitempty" min:"0" max:"100000" comment:"of the winding at 20 °C, by the type's sheet"`
	Tolerance  profiles.Share `toml:"tolerance,omitempty" min:"0" max:"0.5" comment:"of that, either way"`
	// Pulse is how long the coil is switched on and off, each; 0 takes usualPulse.
	Pulse profiles.Seconds `toml:"pulse,omitempty" min:"0" max:"10" comment:"switched on and off for so long each"`
	// Dither says that the type is meant to be driven with ripple, so that its
	// PWM may be as slow as the profile says; else a sweep stays away.
	Dither bool `toml:"dither,omitempty" comment:"ripple of the PWM is allowed, or wanted, to keep the plunger from sticking"`
}

// Unknown fills a section of which nothing is known.
func (s *Section) Unknown() { *s = Section{Type: unknownType} }

// Kind is the solenoid.
type Kind struct{}

// Name is "solenoid".
func (Kind) Name() string { return "solenoid" }

// Section is an empty [solenoid] part.
func (Kind) Section() any { return &Section{} }

// Cautions are what a person should know before such a unit is switched.
func (Kind) Cautions() []string {
	return []string{
		"The plunger moves at once and with force: keep fingers and tools away from plunger, lever and linkage.",
		"A spring is under load: fix the unit in the vice, and do not take it apart under load.",
		"A valve opens: nothing under pressure may stand behind it; relieve pressure and drain before the test.",
		"The coil gets hot, and so does the surface: do not touch it after the test, and let it cool between tests.",
	}
}

// Charted are what says most of the bench itself: the resistance of a check unit,
// of gains and sensor; leakage, of zero and switch; the drop of leads and plug.
func (Kind) Charted() []string { return []string{Resistance20, Leakage, SupplyDrop} }

// sectionOf is the profile's [solenoid] part, all unknown when there is none.
func sectionOf(p *profiles.Profile) Section {
	if p != nil {
		if s, ok := p.Section.(*Section); ok && s != nil {
			return *s
		}
	}
	return Section{Type: unknownType}
}
