// Package motor is the kind of unit that is a brushed motor between two wires,
// turning one way: the bench itself switches its supply.
//
// A sample's path here: runs.go finds when it was driven, from the columns;
// start.go reads each start (peak, resistance, how long it takes), running.go the
// current once it runs, speed.go its ripple, with it the speed and one turn;
// rules.go says what is held against good units, modes.go what can be wrong and
// what that would change, assess.go brings both together.
package motor

import (
	"dutybench/profiles"
	"dutybench/signal/commutator"
)

// Section is the [motor] part of a profile.
type Section struct {
	// Brushes and Segments of the commutator; 0 not known: then the ripple gives no
	// speed.
	Brushes  int `toml:"brushes" min:"0" max:"16" comment:"on the commutator; 0 when not known"`
	Segments int `toml:"segments" min:"0" max:"400" comment:"of the commutator; 0 when not known"`
	// NoLoad is the speed at nominal supply with nothing coupled; 0 not known. It
	// bounds what speed the ripple can mean.
	NoLoad profiles.PerMinute `toml:"no_load" min:"0" max:"100000" comment:"speed at nominal supply with nothing coupled; 0 /min when not known"`
}

// Unknown fills a section of which nothing is known.
func (s *Section) Unknown() { *s = Section{} }

// Kind is the motor.
type Kind struct{}

// Name is "motor".
func (Kind) Name() string { return "motor" }

// Section is an empty [motor] part.
func (Kind) Section() any { return &Section{} }

// Cautions are what can hurt whoever tests a motor.
func (Kind) Cautions() []string {
	return []string{
		"The motor starts at full supply without warning and turns on for a while after: clamp it in a vice, keep hair, sleeves and cables off the shaft, and take off anything that can fly off it.",
		"A motor that is held or blocked draws many times its running current and is hot within seconds: do not hold the shaft, and let it cool before taking it off.",
		"Brushes spark: keep fuel, solvents and dust away.",
	}
}

// sectionOf is the profile's [motor] part, all unknown when there is none.
func sectionOf(p *profiles.Profile) Section {
	if p != nil {
		if s, ok := p.Section.(*Section); ok && s != nil {
			return *s
		}
	}
	return Section{}
}

// perTurn ripples; 0 not known.
func (s Section) perTurn() int { return commutator.PerTurn(s.Brushes, s.Segments) }
