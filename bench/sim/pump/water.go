package pump

import "math"

// copperPerK is the temperature coefficient of copper's resistance at 20 °C,
// constant mass (0.00393 per kelvin; the standard, IEC 60028, from memory).
const copperPerK = 0.00393

// copperRatio is a winding's resistance at the temperature over that at 20 °C.
func copperRatio(celsius float64) float64 {
	return 1 + copperPerK*(celsius-20)
}

// waterViscosity is the dynamic viscosity of water at 0.1 MPa in pascal
// seconds, for -20 to 110 °C and held at the ends (IAPWS SR6-08, equation 7).
func waterViscosity(celsius float64) float64 {
	x := (math.Min(math.Max(celsius, -20), 110) + 273.15) / 300
	return 1e-6 * (280.68*math.Pow(x, -1.9) + 511.45*math.Pow(x, -7.7) +
		61.131*math.Pow(x, -19.6) + 0.45903*math.Pow(x, -40))
}

// waterHeat is the heat capacity of water in J/(kg·K) at 20 °C, rounded; from
// memory.
const waterHeat = 4186.0
