package matter

// cold is where the formulas for mixtures are used. They were fitted from
// freezing up to 40 °C; below 0 °C weak mixtures freeze.
var cold = Range{0, 40}

const (
	// mixedDensityU is the relative standard uncertainty of a mixture's
	// density. Pure glycols in water agree with measured values to 0.1 %
	// (fluid_test.go); sold coolants, with their inhibitors, lie up to 0.8 %
	// above (tables of inhibited ethylene glycol), taken as uniform.
	mixedDensityU = 0.005
	// mixedViscosityU is that of its viscosity: published measurements of the
	// same mixture lie up to 17 % above the formula and 10 % below it
	// (fluid_test.go); 15 % either way, taken as uniform. Ratios between two
	// temperatures are known better.
	mixedViscosityU = 0.09
)

// poly is a polynomial in mass per cent and temperature about a mean point:
// Σ c·(x−x0)^i·(t−t0)^j, coefficients in the order of i, then j, with as many
// j for each i as powers says. Layout and coefficients: Melinder, Properties
// of Secondary Working Fluids for Indirect Systems, International Institute of
// Refrigeration, 2010, as reprinted in public program text.
type poly struct {
	x0, t0 float64 // mass per cent, °C
	c      [18]float64
}

var powers = [...]int{4, 4, 4, 3, 2, 1}

func (p *poly) at(fraction, celsius float64) float64 {
	dx, dt := 100*fraction-p.x0, celsius-p.t0
	var sum float64
	n, xi := 0, 1.0
	for _, k := range powers {
		tj := xi
		for range k {
			sum += p.c[n] * tj
			n++
			tj *= dt
		}
		xi *= dx
	}
	return sum
}

// mixture holds density in kg/m³ and the logarithm of viscosity in mPa·s.
type mixture struct{ density, viscosity poly }

var mixtures = map[Glycol]*mixture{
	Ethylene: {
		density: poly{30.8462, 31.728, [18]float64{
			1.034e3, -4.781e-1, -2.692e-3, 4.725e-6,
			1.311, -6.876e-3, 4.805e-5, 1.690e-8,
			7.490e-5, 7.855e-5, -3.995e-7, 4.982e-9,
			-1.062e-4, 1.229e-6, -1.153e-8,
			-9.623e-7, -7.221e-8,
			4.891e-8}},
		viscosity: poly{30.8462, 31.728, [18]float64{
			4.705e-1, -2.550e-2, 1.782e-4, -7.669e-7,
			2.471e-2, -1.171e-4, 1.052e-6, -1.634e-8,
			3.328e-6, -1.086e-6, -1.051e-8, -6.475e-10,
			1.695e-6, 3.157e-9, 4.063e-10,
			3.089e-8, 1.831e-10,
			-1.865e-9}},
	},
	Propylene: {
		density: poly{30.7031, 32.7089, [18]float64{
			1.018e3, -5.406e-1, -2.666e-3, 1.347e-5,
			7.604e-1, -9.450e-3, 5.541e-5, -1.343e-7,
			-2.498e-3, 2.700e-5, -4.018e-7, 3.376e-9,
			-1.550e-4, 2.829e-6, -7.175e-9,
			-1.131e-6, -2.221e-8,
			2.342e-8}},
		viscosity: poly{30.7031, 32.7089, [18]float64{
			6.837e-1, -3.045e-2, 2.525e-4, -1.399e-6,
			3.328e-2, -3.984e-4, 4.332e-6, -1.860e-8,
			5.453e-5, -8.600e-8, -1.593e-8, -4.465e-11,
			-3.900e-6, 1.054e-7, -1.589e-9,
			-1.587e-8, 4.475e-10,
			3.564e-9}},
	},
}
