// Package solenoid puts simulated solenoids into the socket.
package solenoid

import (
	"fmt"
	"math"
	"strings"

	"dutybench/bench/sim"
	simsolenoid "dutybench/bench/sim/solenoid"
	"dutybench/bench/socket"
	"dutybench/profiles"
)

// Socket takes solenoids.
type Socket struct{}

// Faults that simulated solenoids can have.
func (Socket) Faults() []socket.Fault {
	var out []socket.Fault
	for _, f := range simsolenoid.Faults() {
		out = append(out, socket.Fault{Name: f.Name, Side: f.Side, Line: f.Line, Half: f.Half, Full: f.Full, Graded: f.Graded, Inseparable: f.Inseparable})
	}
	return out
}

// FaultsFor says of which size the figures in the faults are.
func (Socket) FaultsFor() string { return "figures are for an on/off unit of 12 V and 18 W" }

// Perturbations are the simulator's groups of constants.
func (Socket) Perturbations() []string { return simsolenoid.Perturbations() }

// widest is how far, as a ratio, a simulated unit's current may lie from that of
// the profile's good units: sizes lie further apart than this.
const widest = 1.8

// What differs from one test of a unit to the next, and from one mounting to the
// next, as standard deviations; all chosen.
const (
	againSupply  = 0.001 // share of the supply's open voltage
	againAir_C   = 0.5
	fillLead_Ohm = 0.001 // of the plug, put on again
)

// Bench is a simulated bench with a unit of the profile's type in its socket.
func (Socket) Bench(p *profiles.Profile, s socket.Simulated) (sim.Options, error) {
	supply := sim.DefaultSupply()
	supply.Open_V = p.Supply.Nominal_V
	size, err := sizeFor(p)
	if err != nil {
		return sim.Options{}, err
	}
	unit, err := simsolenoid.Draw(size, s.UnitSource())
	if err != nil {
		return sim.Options{}, err
	}
	if s.Perturb != (socket.Perturbation{}) {
		if unit, err = unit.Perturbed(s.Perturb.Group, s.Perturb.Factor); err != nil {
			return sim.Options{}, err
		}
	}
	if r := s.AgainSource(); r != nil {
		supply.Open_V *= 1 + againSupply*socket.Cut(r)
		unit.Ambient_C += againAir_C * socket.Cut(r)
	}
	if r := s.FillingSource(); r != nil {
		supply.Ohm += fillLead_Ohm * (1 + socket.Cut(r)/3)
	}
	body, err := simsolenoid.New(unit, s.Fault, s.Severity, s.Seed^s.Again<<32)
	if err != nil {
		return sim.Options{}, err
	}
	ohm, limit := simsolenoid.SourceChange(s.Fault, s.Severity)
	supply.Ohm += ohm
	if limit > 0 {
		supply.Limit_A = limit * supply.Open_V / unit.Hot(unit.Ambient_C)
	}
	return sim.Options{Seed: s.Seed, Again: s.Again, TwoWire: body, Supply: supply, Wire: sim.DefaultWire(), Fault: s.Bench}, nil
}

// sizeFor is the size for the profile's supply and way of commanding whose current
// lies nearest to that of the good units or, before any were measured, to what
// its current limit leaves room for.
func sizeFor(p *profiles.Profile) (string, error) {
	best, off := "", math.Inf(1)
	var draws []string
	for _, size := range simsolenoid.Sizes() {
		u, err := simsolenoid.Nominal(size)
		if err != nil {
			return "", err
		}
		cone := u.Pole.Cone_H > 0
		if v := p.Supply.Nominal_V; v < 0.8*u.Nominal_V || v > 1.25*u.Nominal_V || cone != (p.Command.Frequency_Hz > 0) {
			continue
		}
		full := p.Supply.Nominal_V / u.Ohm
		draws = append(draws, fmt.Sprintf("%.2g A", full))
		if d := math.Abs(math.Log(full / socket.FullCurrent(p))); d < off {
			best, off = size, d
		}
	}
	if !(off <= math.Log(widest)) {
		have := "there is none for its supply and way of switching"
		if len(draws) > 0 {
			have = "those for its supply draw " + strings.Join(draws, ", ")
		}
		return "", fmt.Errorf("profile %s: %w: %s: test it on a rig, or judge recorded traces", p.Name, socket.ErrNoUnit, have)
	}
	return best, nil
}
