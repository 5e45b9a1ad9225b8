package quality

import (
	"fmt"
	"math"

	"dutybench/signal/stat"
)

// Capability is how well values fit between their limits (e-Handbook 6.1.6).
// Where there is a limit on one side only, Cp is NaN.
type Capability struct {
	Cp  float64 // width of the limits over six standard deviations
	Cpk float64 // room to the nearer limit over three standard deviations
	// Cpl and Cpu are the room to the lower and to the upper limit; NaN
	// without it.
	Cpl, Cpu float64
	// The intervals at the level asked for. That of Cp is exact for normal
	// values, that of Cpk approximate (Bissell 1990; e-Handbook 6.1.6).
	CpLow, CpHigh, CpkLow, CpkHigh float64
}

// Capable holds n values with this mean and standard deviation (n-1) against
// limits; NaN is no limit on that side.
func Capable(mean, sd float64, n int, low, high, level float64) (Capability, error) {
	if n < 2 || !(sd > 0) || math.IsInf(sd, 0) || math.IsNaN(mean) || math.IsInf(mean, 0) || !(level > 0 && level < 1) {
		return Capability{}, fmt.Errorf("quality: capability needs 2 values or more that are not all equal, and a level between 0 and 1; got %d values with standard deviation %g, level %g", n, sd, level)
	}
	if math.IsNaN(low) && math.IsNaN(high) || low >= high {
		return Capability{}, fmt.Errorf("quality: capability needs a lower limit below an upper one, or one of them; got %g and %g", low, high)
	}
	c := Capability{Cp: (high - low) / (6 * sd), Cpl: (mean - low) / (3 * sd), Cpu: (high - mean) / (3 * sd)}
	switch {
	case math.IsNaN(c.Cpl):
		c.Cpk = c.Cpu
	case math.IsNaN(c.Cpu):
		c.Cpk = c.Cpl
	default:
		c.Cpk = min(c.Cpl, c.Cpu)
	}
	dof := float64(n - 1)
	c.CpLow = c.Cp * math.Sqrt(stat.ChiSquare((1-level)/2, dof)/dof)
	c.CpHigh = c.Cp * math.Sqrt(stat.ChiSquare((1+level)/2, dof)/dof)
	half := stat.Normal((1+level)/2) * math.Sqrt(1/(9*float64(n))+c.Cpk*c.Cpk/(2*dof))
	c.CpkLow, c.CpkHigh = c.Cpk-half, c.Cpk+half
	return c, nil
}
