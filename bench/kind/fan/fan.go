// Package fan is the kind of unit that has a motor, blades in air and a control
// board of its own, commanded by PWM: radiator fans and cabin blowers.
//
// What tells its faults apart is the curve of current over duty. Supply current
// is I = Iq + P(ω)/(V·η), and the shaft's torque is dry friction, a part with ω
// and the air's with ω² and the density of the air (fan laws; ISO 5801):
// friction lifts the curve most at low speed, in proportion, air at high speed
// (contrast.go). Where the ripple of a six-step drive tells the speed, the
// split of the power over the speed says the same without good units (speed.go).
package fan

import "dutybench/profiles"

// Section is the [fan] part of a profile.
type Section struct {
	Regulation string `toml:"regulation" oneof:"speed|voltage|unknown" comment:"speed, voltage or unknown"`
	Drive      string `toml:"drive" oneof:"six-step|sine|unknown" comment:"six-step, sine or unknown"`
	PolePairs  int    `toml:"pole_pairs" min:"0" max:"100" comment:"0 when not known"`
	// Air says what a throttled path does: it lifts the torque of an axial fan
	// and takes that of a radial one.
	Air string `toml:"air" oneof:"axial|radial|unknown" comment:"axial, radial or unknown: which way the air leaves the blades"`
}

// Unknown fills a section of which nothing is known, as for a profile learned
// from traces alone.
func (s *Section) Unknown() {
	*s = Section{Regulation: "unknown", Drive: "unknown", Air: "unknown"}
}

// Kind is the fan.
type Kind struct{}

// Name is "fan".
func (Kind) Name() string { return "fan" }

// Charted are the current at full, of gain, supply and air; the quiet current, of
// the zero; the drop of plug and leads; friction, of a check unit that wears.
func (Kind) Charted() []string { return []string{Full, Quiet, SupplyDrop, Friction} }

// Section is an empty [fan] part.
func (Kind) Section() any { return &Section{} }

// Cautions are what a person must know before the unit is switched on.
func (Kind) Cautions() []string {
	return []string{
		"Blades turn without warning and cannot be seen at speed: fit the guard, keep hands, sleeves and leads clear, and never reach in before the supply is off and the blades stand.",
		"Secure the fan in a vice or frame that holds it at full speed; a broken or loose blade flies off: wear eye protection and stay out of the plane of the blades.",
		"Many fans run at full when their command is missing: it may start by itself as soon as it has supply. Only the supply switched off makes it safe.",
		"Keep the air path clear, both sides: what stands in it changes what is measured.",
	}
}

// sectionOf is the profile's [fan] part, all unknown when there is none.
func sectionOf(p *profiles.Profile) Section {
	if p != nil {
		if s, ok := p.Section.(*Section); ok && s != nil {
			return *s
		}
	}
	var s Section
	s.Unknown()
	return s
}
