package kinds

import (
	"fmt"
	"math"
	"slices"

	"dutybench/bench/sim"
	"dutybench/bench/socket"
	"dutybench/profiles"
)

// What a simulated unit and its faults are; see package socket.
type (
	Fault        = socket.Fault
	Simulated    = socket.Simulated
	Perturbation = socket.Perturbation
)

// ErrNoUnit says that no simulated unit is of a profile's type.
var ErrNoUnit = socket.ErrNoUnit

// Faults lists the faults of a kind's simulated units; none for a kind that
// has no simulated units.
func Faults(kind string) []Fault {
	if e, ok := find(kind); ok {
		return e.socket.Faults()
	}
	return nil
}

// Perturbations lists the groups of constants of a kind's simulated units.
func Perturbations(kind string) []string {
	if e, ok := find(kind); ok {
		return e.socket.Perturbations()
	}
	return nil
}

// FaultsFor says which unit the figures in a kind's faults are for, in a clause;
// empty where they hold for all.
func FaultsFor(kind string) string {
	if e, ok := find(kind); ok {
		if s, ok := e.socket.(socket.Sized); ok {
			return s.FaultsFor()
		}
	}
	return ""
}

// Slows says that good units of a kind start later when a group of constants
// is perturbed upwards.
func Slows(kind, group string) bool {
	e, ok := find(kind)
	if !ok {
		return false
	}
	s, ok := e.socket.(socket.Slower)
	return ok && s.Slows(group)
}

// Bench is a simulated bench with a unit of the profile's type in its socket.
// The supply stands at the profile's nominal voltage, and the line is driven as
// the profile asks.
func Bench(p *profiles.Profile, s Simulated) (sim.Options, error) {
	e, ok := find(p.Kind)
	if !ok {
		return sim.Options{}, fmt.Errorf("kinds: profile %s is for a %s: %w", p.Name, p.Kind, ErrNoUnit)
	}
	if IsBenchFault(s.Fault) {
		s.Bench, s.Fault, s.Severity = armed(s.Fault, s.Severity, s.Seed, quickest(e.kind, p)), "", 0
	}
	if !(s.Severity >= 0 && s.Severity <= 1) || math.IsNaN(s.Severity) {
		return sim.Options{}, fmt.Errorf("kinds: severity %g: give one from 0 to 1", s.Severity)
	}
	if name := s.Bench.Name; IsBenchFault(name) && !slices.ContainsFunc(BenchFaultsFor(p), func(f Fault) bool { return f.Name == name }) {
		return sim.Options{}, fmt.Errorf("kinds: fault %s is none of the bench that a %s of profile %s gets: choose another", name, p.Kind, p.Name)
	}
	if f := s.Bench; f != (sim.Armed{}) && (!IsBenchFault(f.Name) || !(f.Severity >= 0 && f.Severity <= 1)) {
		return sim.Options{}, fmt.Errorf("kinds: fault %q of the bench at %g: there is none of that name, or its severity lies outside 0 to 1", f.Name, f.Severity)
	}
	o, err := e.socket.Bench(p, s)
	if err != nil {
		return sim.Options{}, fmt.Errorf("kinds: %w", err)
	}
	return o, nil
}
