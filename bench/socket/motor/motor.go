// Package motor puts simulated brushed motors into the socket.
package motor

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"dutybench/bench/sim"
	simmotor "dutybench/bench/sim/motor"
	"dutybench/bench/socket"
	"dutybench/profiles"
)

// Socket takes motors.
type Socket struct{}

// Faults that simulated motors can have.
func (Socket) Faults() (out []socket.Fault) {
	for _, f := range simmotor.Faults() {
		out = append(out, socket.Fault{Name: f.Name, Side: f.Side, Line: f.Line, Half: f.Half, Full: f.Full, Graded: f.Graded, Inseparable: f.Inseparable})
	}
	return out
}

// Perturbations are the simulator's groups of constants.
func (Socket) Perturbations() []string { return append(simmotor.Perturbations(), socket.NoiseGroup) }

// What differs from one test of a unit to the next, and from one clamping to the
// next (chosen; no limit rests on them).
const (
	againSupply    = 0.001 // share of the supply's open voltage
	againAmbient_C = 0.5
	clampLoad      = 0.01 // share of the coupled load
	clampLead_Ohm  = 0.001
)

// Bench is a simulated bench with a motor of the profile's type in its socket: the
// size for its supply whose start draws nearest to what the profile leaves room for.
func (Socket) Bench(p *profiles.Profile, s socket.Simulated) (sim.Options, error) {
	supply := sim.DefaultSupply()
	supply.Open_V = p.Supply.Nominal_V
	size, err := sizeFor(p)
	if err != nil {
		return sim.Options{}, err
	}
	unit, err := simmotor.Draw(size, s.UnitSource())
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
		unit.Ambient_C += againAmbient_C * socket.Cut(r)
	}
	if r := s.FillingSource(); r != nil {
		unit.Load_Nm *= 1 + clampLoad*socket.Cut(r)
		supply.Ohm += clampLead_Ohm * (1 + socket.Cut(r)/3)
	}
	body, err := simmotor.New(unit, s.Fault, s.Severity, s.Seed^s.Again<<32)
	if err != nil {
		return sim.Options{}, err
	}
	ohm, limit := simmotor.Outside(unit, s.Fault, s.Severity, supply.Open_V)
	supply.Ohm += ohm
	if limit > 0 {
		supply.Limit_A = limit
	}
	return sim.Options{Seed: s.Seed, Again: s.Again, TwoWire: body, Supply: supply, Wire: sim.DefaultWire(), Fault: s.Bench}, nil
}

// rated is the voltage of a size, by its name.
func rated(size string) (volt float64) {
	_, _ = fmt.Sscanf(size, "%gv", &volt)
	return volt
}

// sizeFor is the size of the profile's supply and segments whose peak at the start
// lies below the profile's limit, nearest to it.
func sizeFor(p *profiles.Profile) (string, error) {
	best, off := "", math.Inf(1)
	var have []string
	for _, size := range simmotor.Sizes() {
		u, err := simmotor.Nominal(size)
		if err != nil {
			return "", err
		}
		have = append(have, size)
		peak := p.Supply.Nominal_V / (u.R_Ohm + u.Brush_Ohm + u.Lead_Ohm)
		fits := slices.Contains([]float64{12, 24}, rated(size)) && math.Abs(p.Supply.Nominal_V/rated(size)-1) < 0.25
		if d := math.Abs(math.Log(p.Limits.Peak_A / peak)); fits && d < min(off, math.Ln2) {
			best, off = size, d
		}
	}
	if best == "" {
		return "", fmt.Errorf("profile %s: %w: there are %s; test it on a rig, or judge recorded traces", p.Name, socket.ErrNoUnit, strings.Join(have, ", "))
	}
	return best, nil
}
