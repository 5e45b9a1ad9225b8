// Package matter holds what published tables say of the matter that a test
// depends on: density and viscosity of water and of glycol in water, and the
// resistance of copper. All by temperature, with the uncertainty of the
// formula in the quantity's budget. What a formula does not hold for is
// refused with an error.
package matter

import (
	"fmt"
	"math"
)

// Range is a span of temperatures in °C, ends included.
type Range struct{ Low_C, High_C float64 }

// Holds says whether a temperature lies within; NaN does not.
func (r Range) Holds(celsius float64) bool { return celsius >= r.Low_C && celsius <= r.High_C }

// check refuses a temperature outside.
func (r Range) check(celsius float64, what string) error {
	if r.Holds(celsius) {
		return nil
	}
	return fmt.Errorf("matter: the published formula for %s holds from %g to %g °C, not at %g °C; test within that range", what, r.Low_C, r.High_C, celsius)
}

// uniform is the standard deviation of an even spread of the half-width.
func uniform(half float64) float64 { return half / math.Sqrt(3) }
