package matter

import (
	"math"

	"dutybench/signal/stat"
)

const (
	// copperPerK is the temperature coefficient of the resistance of annealed
	// copper at 20 °C, constant mass, per kelvin (IEC 60028).
	copperPerK = 0.00393
	// copperSpread is how far the coefficient of winding wire lies off either
	// way, uniform: a hard drawn wire has 0.00381 (IEC 60028 conductivity
	// grades, from memory), cable tables round to 0.004.
	copperSpread = 0.0001
)

// copper is where the straight line is used.
var copper = Range{-40, 200}

// CopperRatio is the resistance of a copper conductor at one temperature over
// that at another, both in °C; its uncertainty is 0 at equal temperatures.
func CopperRatio(from_C, to_C float64) (stat.Quantity, error) {
	for _, t := range []float64{from_C, to_C} {
		if err := copper.check(t, "the resistance of copper"); err != nil {
			return stat.Quantity{}, err
		}
	}
	below := 1 + copperPerK*(from_C-20)
	ratio := (1 + copperPerK*(to_C-20)) / below
	// ∂ratio/∂α = (to − from)/below².
	u := uniform(copperSpread) * math.Abs(to_C-from_C) / (below * below)
	return stat.Quantity{Value: ratio}.With("temperature coefficient", u, 0), nil
}
