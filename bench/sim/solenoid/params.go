package solenoid

import (
	"fmt"
	"math/rand/v2"
	"strings"
)

// CopperPerK is the temperature coefficient of copper's resistance at 20 °C
// (IEC 60028).
const CopperPerK = 0.00393

// Params are one unit.
type Params struct {
	Nominal_V float64
	// Ohm is the winding at 20 °C, Joint_Ohm what a joint adds inside the unit.
	Ohm, Joint_Ohm float64
	Pole           Pole
	Knee_A         float64 // I_k: what the iron takes at Saturation_Wb
	Saturation_Wb  float64
	Eddy_Ohm       float64 // R_e
	// Gap_m is left when the plunger is in, Stroke_m its travel.
	Gap_m, Stroke_m       float64
	Mass_kg               float64
	Preload_N, Rate_N_m   float64
	Coulomb_N             float64
	Viscous_Nsm           float64
	Ambient_C             float64
	Heat_J_K, Cooling_W_K float64
}

// Pole is the gap's part of the magnetic circuit: a flat one with fringing, or,
// where Cone_H is set, a conical one.
type Pole struct {
	Core_perH, Gap_perHm, Fringe_m float64
	Cone_H, Slope_H_m              float64
}

// Sizes of units.
const (
	OnOff12        = "on-off-12v"
	OnOff24        = "on-off-24v"
	Proportional12 = "proportional-12v"
)

// Sizes lists them.
func Sizes() []string { return []string{OnOff12, OnOff24, Proportional12} }

// Nominal is the middle unit of a size. All are invented: the usual size of coils
// that take 10 to 20 W, with a stroke of 2.5 to 3 mm and a plunger of some grams.
func Nominal(size string) (Params, error) {
	p := Params{Gap_m: 0.15e-3, Stroke_m: 2.5e-3, Mass_kg: 0.015, Rate_N_m: 480, Coulomb_N: 0.2, Viscous_Nsm: 0.6,
		Ambient_C: 23, Heat_J_K: 28, Cooling_W_K: 0.12}
	switch size {
	case OnOff12: // 18 W
		p.Nominal_V, p.Ohm, p.Eddy_Ohm = 12, 8, 160
		p.Pole = Pole{Core_perH: 12, Gap_perHm: 12e3, Fringe_m: 6e-3}
		p.Knee_A, p.Saturation_Wb, p.Preload_N = 0.2, 0.07, 1.8
	case OnOff24: // 12 W: the same iron with 2.45 times as many turns
		p.Nominal_V, p.Ohm, p.Eddy_Ohm = 24, 48, 960
		p.Pole = Pole{Core_perH: 2, Gap_perHm: 2e3, Fringe_m: 6e-3}
		p.Knee_A, p.Saturation_Wb, p.Preload_N = 0.0816, 0.171, 1.3
		p.Mass_kg, p.Heat_J_K = 0.012, 22
	case Proportional12: // moves from 0.45 A to 1.1 A
		p.Nominal_V, p.Ohm, p.Eddy_Ohm = 12, 8.2, 200
		p.Pole = Pole{Cone_H: 0.039, Slope_H_m: 5}
		p.Knee_A, p.Saturation_Wb = 0.1, 0.065
		p.Gap_m, p.Stroke_m, p.Mass_kg = 0.2e-3, 3e-3, 0.010
		p.Preload_N, p.Rate_N_m, p.Coulomb_N, p.Viscous_Nsm = 0.5, 840, 0.12, 3
	default:
		return p, fmt.Errorf("solenoid: there is no size %q; take one of: %s", size, strings.Join(Sizes(), ", "))
	}
	return p, nil
}

// Spread is how good units of one make differ: standard deviations, relative but
// for the temperature. All chosen. Winding wire of one diameter differs by some
// per cent in resistance; springs of one drawing by 4 % in force; friction by more.
var spread = struct {
	ohm, turns, pole, knee, eddy, gap, stroke, mass, preload, rate, coulomb, viscous, ambient_C float64
}{ohm: 0.02, turns: 0.002, pole: 0.03, knee: 0.05, eddy: 0.08, gap: 0.1, stroke: 0.02, mass: 0.01, preload: 0.04, rate: 0.03, coulomb: 0.15, viscous: 0.15, ambient_C: 1.5}

// Draw is a unit of a size out of the spread of good ones.
func Draw(size string, r *rand.Rand) (Params, error) {
	p, err := Nominal(size)
	if err != nil {
		return p, err
	}
	vary := func(sd float64, xs ...*float64) {
		f := 1 + sd*cut(r)
		for _, x := range xs {
			*x *= f
		}
	}
	vary(spread.ohm, &p.Ohm)
	p.turns(1 + spread.turns*cut(r))
	vary(spread.pole, &p.Pole.Core_perH, &p.Pole.Gap_perHm, &p.Pole.Cone_H)
	vary(spread.pole, &p.Pole.Gap_perHm, &p.Pole.Slope_H_m)
	vary(spread.knee, &p.Saturation_Wb)
	vary(spread.eddy, &p.Eddy_Ohm)
	vary(spread.gap, &p.Gap_m)
	vary(spread.stroke, &p.Stroke_m)
	vary(spread.mass, &p.Mass_kg)
	vary(spread.preload, &p.Preload_N)
	vary(spread.rate, &p.Rate_N_m)
	vary(spread.coulomb, &p.Coulomb_N)
	vary(spread.viscous, &p.Viscous_Nsm)
	p.Ambient_C += spread.ambient_C * cut(r)
	return p, nil
}

// cut is a normal number that lies within three.
func cut(r *rand.Rand) float64 {
	for {
		if z := r.NormFloat64(); z >= -3 && z <= 3 {
			return z
		}
	}
}

// turns multiplies the number of turns; resistance is not touched.
func (p *Params) turns(f float64) {
	p.Pole.Core_perH /= f * f
	p.Pole.Gap_perHm /= f * f
	p.Pole.Cone_H *= f * f
	p.Pole.Slope_H_m *= f * f
	p.Knee_A /= f
	p.Saturation_Wb *= f
	p.Eddy_Ohm *= f * f
}
