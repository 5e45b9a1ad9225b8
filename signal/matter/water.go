package matter

import (
	"math"

	"dutybench/signal/stat"
)

// liquid is where the formulas for water at 0.1 MPa are used: from freezing to
// boiling.
var liquid = Range{0, 100}

const (
	// densityU is the standard uncertainty of water's density in kg/m³. The
	// formula's own is 0.006; dissolved air takes up to 0.005 off (Tanaka and
	// others, Metrologia 38, 2001, 301, section 6, from memory); tap water's
	// salts add up to half a kilogram (chosen: 500 mg/l, hard water).
	densityU = 0.3
	// viscosityU is the relative standard uncertainty of water's viscosity:
	// half of the 1 % at two standard deviations that IAPWS SR6-08 states
	// (from memory).
	viscosityU = 0.005
)

// waterDensity is in kg/m³ at 0.1 MPa: Kell's formula on ITS-90, as printed by
// Bettin and Spieweck (IP Standard Methods 1998, appendix G).
func waterDensity(t float64) float64 {
	return (999.83952 + t*(16.952577+t*(-7.9905127e-3+t*(-46.241757e-6+t*(105.84601e-9-281.03006e-12*t))))) /
		(1 + 16.887236e-3*t)
}

// waterViscosity is in Pa·s at 0.1 MPa (IAPWS SR6-08, equation 7, good from
// -20 to 110 °C).
func waterViscosity(t float64) float64 {
	x := (t + 273.15) / 300
	return 1e-6 * (280.68*math.Pow(x, -1.9) + 511.45*math.Pow(x, -7.7) +
		61.131*math.Pow(x, -19.6) + 0.45903*math.Pow(x, -40))
}

// formula is a value with the relative uncertainty of the formula behind it.
func formula(v, relative float64) stat.Quantity {
	return stat.Quantity{Value: v}.With("published formula", relative*math.Abs(v), 0)
}
