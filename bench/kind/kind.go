// Package kind says what a kind of unit is: its section in a profile, its
// plan, what it measures in a trace, and what those measurements say for and
// against each cause. A kind touches only its own rooms; the pump is one.
package kind

import (
	"slices"

	"dutybench/bench/result"
	"dutybench/profiles"
	"dutybench/signal/startup"
	"dutybench/signal/stat"
	"dutybench/signal/trace"
)

// Kind is one kind of unit.
type Kind interface {
	// Name is the word in profiles, such as "pump".
	Name() string
	// Section is a pointer to a zero value of the kind's part of a profile.
	Section() any
	// Plan is the ordered steps of a full test.
	Plan(p *profiles.Profile) Plan
	// Measure takes from a trace what the kind can know without a profile but
	// for what the type is like; p may be nil when a profile is being learned.
	Measure(tr *trace.Trace, p *profiles.Profile) (*Measured, error)
	// Assess holds measurements against a profile: findings, curve with its
	// band, and evidence for causes. It decides nothing.
	Assess(m *Measured, p *profiles.Profile, c Conditions) *Assessment
}

// Measured is what a trace says, before any profile.
type Measured struct {
	Trace   *trace.Trace
	Values  []Value // in the order in which a person should read them
	Curve   []Point
	Startup startup.Startup
	// Detail is the kind's own, for its Assess.
	Detail   any
	Warnings []string
}

// Value is one named measurement. Missing says why it was not measured;
// empty when it was.
type Value struct {
	Name    string
	Unit    string
	Q       stat.Quantity
	Missing string
}

// Measurements that say how a unit was tested, not what it is; good units are
// kept with them, and held to nothing in them.
const (
	WaterTemperature = "water_temperature" // °C
	SupplyVoltage    = "supply_voltage"    // V, at full
	Rested           = "rested"            // s, since the unit last ran
)

// Circumstance says that a measurement is one of them.
func Circumstance(name string) bool {
	return name == WaterTemperature || name == SupplyVoltage || name == Rested
}

// Get finds a measurement by name; nil when there is none of that name.
func (m *Measured) Get(name string) *Value {
	for i := range m.Values {
		if m.Values[i].Name == name {
			return &m.Values[i]
		}
	}
	return nil
}

// Point is one settled plateau.
type Point struct {
	Duty_pct float64
	Up       bool // reached from a lower duty
	Current  stat.Quantity
	Supply_V float64 // mean at the unit's plug; NaN when not sampled
	Start_s  float64 // of the settled part
	End_s    float64
}

// Conditions are what the person at the bench said.
type Conditions struct {
	// Primed is the operator's word that the loop is primed, bled and open.
	Primed bool
	// Purpose of the verdict; it chooses the decision rule.
	Purpose Purpose
}

// Flawless says that nothing lies out, nothing is in doubt and nothing is
// lacking: what a pass takes.
func (a *Assessment) Flawless() bool {
	return !a.Stark && len(a.Lacking) == 0 && !slices.ContainsFunc(a.Findings, func(f result.Finding) bool {
		return f.Result == result.Failed || f.Result == result.Doubtful
	})
}

// OnlyHollow says that the bench's unsteadiness is all that keeps from a pass.
func (a *Assessment) OnlyHollow() bool {
	return len(a.Hollow) > 0 && !a.Stark && len(a.Lacking) == 0 && !slices.ContainsFunc(a.Findings, func(f result.Finding) bool {
		return f.Result == result.Failed || f.Result == result.Doubtful && !slices.Contains(a.Hollow, f.Name)
	})
}

// Assessment is measurements held against a profile.
type Assessment struct {
	Findings []result.Finding
	Curve    []result.Point
	Views    []result.View // beside the curve
	// Causes hold a probability each; they sum to 1 over all causes. Only
	// meaningful when a finding does not pass.
	Causes      []result.CauseProbability
	Inseparable []result.Cause
	SeparatedBy string
	// Stark says that what the unit did is no test of a running unit at all:
	// it got no supply, did not start, or did one thing throughout. Such a
	// unit never passes, whatever its findings.
	Stark bool
	// Soaked says that the unit ran long enough to show what it does warm.
	Soaked bool
	// Final says that no further step of a plan can change what is wrong: the
	// unit has had every chance to show a sign of life.
	Final bool
	// Sketchy says that the unit runs and too little of its curve is known yet
	// to weigh causes by it.
	Sketchy bool
	// Reached says that something proves that supply and command got to the
	// unit; a control-board cause needs it.
	Reached bool
	// Refusal is the rate at which all findings together refuse good units;
	// Chance is the probability, at most, that a good unit lies as far out as
	// this one in any of them; 1 when nothing is known of good units.
	Refusal, Chance float64
	// Unseen are effects with the size from which nine of ten are refused, each a
	// clause: a pass leaves smaller ones open.
	Unseen  []string
	Carried []string // names of the findings that carry the likeliest cause
	// Seen is one clause in physical words: what the unit did.
	Seen string
	// Elsewhere is a clause on what of the surroundings lies outside what the
	// profile was learned in, ElsewhereNext what to do about it.
	Elsewhere, ElsewhereNext string
	// Hollow are names of findings for whose limits the bench is too unsteady, by
	// its gauge study (the function of that name).
	Hollow    []string
	Disproof  string
	NextStep  string
	Reusable  []string
	NotTested []string
	// Lacking is what a pass would have needed and the trace does not hold,
	// each a whole clause.
	Lacking  []string
	Warnings []string
}
