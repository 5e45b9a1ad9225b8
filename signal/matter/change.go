package matter

import "math"

// Change is how a fluid, and copper in it, differ between two temperatures.
// Errors that a formula has at both temperatures cancel in it: for
// mixtures, two published correlations differ by up to 3 % of viscosity per
// 10 K from 0 to 40 °C.
type Change struct {
	// Density, Viscosity and Copper are natural logarithms of ratios, of the
	// second temperature to the first; Copper is that of a resistance.
	Density, Viscosity, Copper float64
	Kelvin                     float64 // the second temperature less the first
}

// Change is from one temperature to another, in °C.
func (f Fluid) Change(from_C, to_C float64) (Change, error) {
	var ln [2][2]float64
	for i, t := range []float64{from_C, to_C} {
		d, err := f.Density(t)
		if err != nil {
			return Change{}, err
		}
		v, err := f.Viscosity(t)
		if err != nil {
			return Change{}, err
		}
		ln[i] = [2]float64{math.Log(d.Value), math.Log(v.Value)}
	}
	r, err := CopperRatio(from_C, to_C)
	if err != nil {
		return Change{}, err
	}
	return Change{Density: ln[1][0] - ln[0][0], Viscosity: ln[1][1] - ln[0][1], Copper: math.Log(r.Value), Kelvin: to_C - from_C}, nil
}

// Scale is a share of a change, or a multiple of a small one.
func (c Change) Scale(k float64) Change {
	return Change{k * c.Density, k * c.Viscosity, k * c.Copper, k * c.Kelvin}
}
