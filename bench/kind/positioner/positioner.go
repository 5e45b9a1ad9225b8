// Package positioner is the kind of unit that goes where it is told and says
// where it is: motor, gear and track behind a control board of its own, between
// two stops, with a return spring or without.
//
// A sample's path here: reading.go makes places of what the unit tells, steps.go
// cuts the trace at every command, signal/travel says what the unit did at each;
// sweep.go, strokes.go, small.go and pushing.go name the values. Assess holds
// them against good units by the rules of rules.go; state.go says how far the
// unit got; modes.go lists what can be wrong with it.
//
// Which side is what: the track is printed on the board or soldered to it in
// such units, so what the track does is the control board's; motor, gear, shaft
// and stops are the mechanics (common practice, no source).
package positioner

import (
	"math"
	"slices"

	"dutybench/bench/kind"
	"dutybench/bench/kind/weigh"
	"dutybench/profiles"
)

// Words of the section.
const (
	springNone, springLow, springHigh = "none", "low", "high"
	stopsReached, stopsBeyond         = "reached", "beyond"
	unknown                           = "unknown"
)

// Section is the [positioner] part of a profile.
type Section struct {
	// Spring: where a return spring brings it without supply.
	Spring string `toml:"spring" oneof:"none|low|high|unknown" comment:"where a return spring brings it without supply: none, low, high or unknown"`
	// Stops: whether the command reaches them.
	Stops string `toml:"stops" oneof:"reached|beyond|unknown" comment:"its stops are reached by the lowest and highest command, lie beyond, or unknown"`
	// At0 and At100 are the commands that ask for a position of 0 % and of 100 %.
	At0   profiles.Percent `toml:"at_0" min:"0" max:"100" comment:"command that asks for a position of 0 %"`
	At100 profiles.Percent `toml:"at_100" min:"0" max:"100" comment:"and for 100 %"`
	// DeadBand is by how much of the travel a command may change without an
	// answer; 0 not known.
	DeadBand profiles.Percent `toml:"dead_band,omitempty" min:"0" max:"20" comment:"change of position that may be asked for without an answer; 0 when not known"`
	// Stroke is how long the whole travel takes at most; 0 not known.
	Stroke profiles.Seconds `toml:"stroke,omitempty" min:"0" max:"120" comment:"the whole travel takes no longer"`
}

// Unknown fills a section of which nothing is known.
func (s *Section) Unknown() { *s = Section{Spring: unknown, Stops: unknown, At0: 0, At100: 100} }

// Ends are the commands that ask for 0 % and for 100 %.
func (s *Section) Ends() (at0_pct, at100_pct float64) { return float64(s.At0), float64(s.At100) }

// Sprung says that there is a return spring.
func (s *Section) Sprung() bool { return s.Spring == springLow || s.Spring == springHigh }

// asked is the position that a duty asks for, in per cent, beyond 0 and 100 too.
func (s Section) asked(duty_pct float64) float64 {
	if s.At0 == s.At100 {
		return duty_pct
	}
	return 100 * (duty_pct - float64(s.At0)) / float64(s.At100-s.At0)
}

// duty is the reverse of asked.
func (s Section) duty(place_pct float64) float64 {
	if s.At0 == s.At100 {
		return place_pct
	}
	return float64(s.At0) + place_pct/100*float64(s.At100-s.At0)
}

// Kind is the positioner.
type Kind struct{}

// Name is "positioner".
func (Kind) Name() string { return "positioner" }

// Section is an empty [positioner] part.
func (Kind) Section() any { return &Section{} }

// Cautions are what a person should know before such a unit moves.
func (Kind) Cautions() []string {
	return []string{
		"The flap moves without warning, with force and to its stops: keep fingers, cables and tools out of its way, and hold nothing in it.",
		"A return spring lets go when the supply is cut: it snaps back, also when the test ends or trips.",
		"Edges of flaps and levers are sharp: wear gloves when you turn one by hand, and do that with the supply off only.",
		"Fix the body in the vice by what it is fixed by in use: it turns the other way when the lever meets a stop.",
	}
}

// Fast asks for the rig that reads a position.
func (Kind) Fast() bool { return true }

// Rate_Hz is enough for it: a motor of such a unit takes tens of milliseconds to
// speed up, and its position is read every five.
func (Kind) Rate_Hz() float64 { return 2000 }

// Charted are findings that say most of the bench itself.
func (Kind) Charted() []string { return []string{Quiet, MovingUp, LowEnd, HighEnd} }

// AtSupply leaves a measurement as it is: a unit that stands takes its board's
// current, which regulators keep, and speeds are brought to nominal as they are
// measured.
func (Kind) AtSupply(m *kind.Measured, _ *profiles.Profile, _ func(duty_pct float64, up bool) float64) (at *kind.Measured, known bool) {
	return m, false
}

// Ratio says that good units differ in a named value by ratios.
func (Kind) Ratio(value string) bool {
	i := slices.IndexFunc(rules, func(r weigh.Rule) bool { return r.Name == value })
	return i >= 0 && rules[i].Log
}

// sectionOf is the profile's [positioner] part, all unknown when there is none.
func sectionOf(p *profiles.Profile) Section {
	s := Section{}
	s.Unknown()
	if p != nil {
		if q, ok := p.Section.(*Section); ok && q != nil {
			return *q
		}
	}
	return s
}

// stroke is how long the travel is taken to last, in seconds: what the profile
// says, else what slow ones need (chosen; a test of one that is quicker only
// lasts longer).
func (s Section) stroke() float64 {
	if s.Stroke > 0 {
		return float64(s.Stroke)
	}
	return 6
}

// band is the dead band, in per cent of the travel.
func (s Section) band() float64 {
	if s.DeadBand > 0 {
		return float64(s.DeadBand)
	}
	return 1
}

// lowest and highest are the places that the profile's commands reach.
func (s Section) span(p *profiles.Profile) (low, high float64) {
	full := p.Command.Full_pct
	if full <= 0 {
		full = 100
	}
	a, b := s.asked(p.Command.Stop_pct), s.asked(full)
	return math.Min(a, b), math.Max(a, b)
}
