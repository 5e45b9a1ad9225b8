package solenoid

import "math"

// r is the reciprocal of inductance at a gap, and its slope there.
func (p *Pole) r(gap_m float64) (perH, slope float64) {
	if p.Cone_H > 0 {
		l := max(p.Cone_H-p.Slope_H_m*gap_m, 0.1*p.Cone_H)
		return 1 / l, p.Slope_H_m / (l * l)
	}
	f := 1 / (1 + gap_m/p.Fringe_m)
	return p.Core_perH + p.Gap_perHm*gap_m*f, p.Gap_perHm * f * f
}

// magnetising is i_m at a flux linkage, where the gap's part is perH.
func (p *Params) magnetising(flux_Wb, perH float64) float64 {
	z := flux_Wb / p.Saturation_Wb
	z2 := z * z
	return flux_Wb*perH + p.Knee_A*z2*z2*z2*z
}

// field is the energy of the field in J.
func (p *Params) field(flux_Wb, perH float64) float64 {
	z := flux_Wb / p.Saturation_Wb
	return flux_Wb*flux_Wb*perH/2 + p.Knee_A*p.Saturation_Wb/8*math.Pow(z, 8)
}

// gap left at a travel.
func (p *Params) gap(travel_m float64) float64 { return p.Gap_m + p.Stroke_m - travel_m }

// spring force at a travel.
func (p *Params) spring(travel_m float64) float64 { return p.Preload_N + p.Rate_N_m*travel_m }

// Hot is the unit's resistance with the winding at a temperature.
func (p *Params) Hot(celsius float64) float64 {
	return p.Ohm*(1+CopperPerK*(celsius-20)) + p.Joint_Ohm
}

// balance is the current at which a steady magnet holds a force at a travel.
func (p *Params) balance(force_N, travel_m float64) float64 {
	perH, slope := p.Pole.r(p.gap(travel_m))
	return p.magnetising(math.Sqrt(2*max(0, force_N)/slope), perH)
}

// PullIn is the steady current above which the plunger leaves its rest, DropOut
// that below which it leaves the pole.
func (p *Params) PullIn() float64 { return p.balance(p.spring(0)+p.Coulomb_N, 0) }

// DropOut is beside PullIn; 0 when the spring does not overcome the friction.
func (p *Params) DropOut() float64 {
	return p.balance(p.spring(p.Stroke_m)-p.Coulomb_N, p.Stroke_m)
}
