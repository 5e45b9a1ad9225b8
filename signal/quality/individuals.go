package quality

import (
	"fmt"
	"math"

	"dutybench/signal/stat"
)

// Constants of ranges of two values, as charts are made with everywhere
// (e-Handbook 6.3.2.1 and 6.3.2.2; ISO 7870-2 prints the same). They are
// rounded: exactly, D2 is 2/√π = 1.12838 and D3 is √(2-4/π) = 0.85250.
const (
	D2 = 1.128 // mean range over standard deviation
	D3 = 0.853 // standard deviation of the range over standard deviation
	D4 = 3.267 // upper limit of the range over the mean range, 1 + 3·D3/D2
)

// Rule says how far out the limits of an individuals chart lie.
type Rule struct {
	Sigmas float64 // of single values from their mean, in standard deviations
	Ranges float64 // of moving ranges, as a factor on the mean range
}

// Usual is the rule of the published charts. One value in 370 of a process in
// control lies beyond, and one range in 109.
func Usual() Rule { return Rule{Sigmas: 3, Ranges: D4} }

// Rate is the rule at which values, and ranges just so, of a process in
// control with normal values lie beyond with the given probability.
func Rate(p float64) Rule {
	z := stat.Normal(1 - p/2)
	return Rule{Sigmas: z, Ranges: math.Sqrt2 * z / D2}
}

// Next is the rule at which the next value after a baseline of n, and the next
// range, lies beyond with the given probability when nothing has changed: it
// allows for what n values do not know of mean and standard deviation (a
// prediction interval; Student's t at the degrees of freedom that SigmaError
// stands for). With limits as if both were known, a baseline of 20 gives many
// times the false alarms that were meant.
func Next(p float64, n int) Rule {
	t := stat.StudentT(1-p/2, sigmaDoF(n))
	return Rule{Sigmas: t * math.Sqrt(1+1/float64(n)), Ranges: math.Sqrt2 * t / D2}
}

// sigmaDoF is the degrees of freedom of a standard deviation that is known as
// well as Sigma from n values: 1/(2·error²) (JCGM 100:2008, G.4.2).
func sigmaDoF(n int) float64 {
	e := SigmaError(n)
	return 1 / (2 * e * e)
}

// Individuals is an individuals and moving-range chart, with limits from a
// baseline (e-Handbook 6.3.2.2). Values and limits are in the unit of what is
// charted.
type Individuals struct {
	Mean      float64
	MeanRange float64 // of neighbours in the baseline
	Sigma     float64 // MeanRange/D2: what differs from one value to the next
	Low, High float64
	RangeHigh float64 // the lower limit of a range of two is zero
	N         int     // values of the baseline
}

// NewIndividuals makes the chart from a baseline: two finite values or more,
// in their order.
func NewIndividuals(baseline []float64, r Rule) (Individuals, error) {
	n := len(baseline)
	if n < 2 {
		return Individuals{}, fmt.Errorf("quality: a chart's limits need a baseline of 2 values or more, got %d: measure again", n)
	}
	if !(r.Sigmas > 0) || !(r.Ranges > 0) {
		return Individuals{}, fmt.Errorf("quality: limits at %g standard deviations and %g mean ranges: give numbers above zero", r.Sigmas, r.Ranges)
	}
	var sum float64
	for i, x := range baseline {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return Individuals{}, fmt.Errorf("quality: value %d of the baseline is not finite; leave it out", i+1)
		}
		if i > 0 {
			sum += math.Abs(x - baseline[i-1])
		}
	}
	c := Individuals{Mean: stat.Mean(baseline), MeanRange: sum / float64(n-1), N: n}
	c.Sigma = c.MeanRange / D2
	c.Low, c.High = c.Mean-r.Sigmas*c.Sigma, c.Mean+r.Sigmas*c.Sigma
	c.RangeHigh = r.Ranges * c.MeanRange
	return c, nil
}

// Out says that a value lies beyond the limits; NaN does not.
func (c Individuals) Out(x float64) bool { return x < c.Low || x > c.High }

// RangeOut says that two neighbours lie too far apart; NaN does not.
func (c Individuals) RangeOut(before, x float64) bool { return math.Abs(x-before) > c.RangeHigh }

// SigmaError is the relative standard uncertainty of Sigma from a baseline of
// n normal values. Neighbouring ranges share a value; with ρ = -1/2 between the
// two differences, the mean of the product of their sizes is
// 4/π·(√(1-ρ²) + ρ·asin ρ) (absolute moments of the bivariate normal, any
// handbook of distributions).
func SigmaError(n int) float64 {
	if n < 2 {
		return math.NaN()
	}
	const rho = -0.5
	d2 := 2 / math.Sqrt(math.Pi)
	variance := 2 - d2*d2
	shared := 4/math.Pi*(math.Sqrt(1-rho*rho)+rho*math.Asin(rho)) - d2*d2
	m := float64(n - 1)
	return math.Sqrt(m*variance+2*(m-1)*shared) / (m * d2)
}

// ARL is how many values pass on average until one lies beyond limits at so
// many standard deviations, when the mean has moved by shift standard
// deviations and both were known exactly.
func ARL(sigmas, shift float64) float64 {
	return 1 / (stat.NormalCDF(-sigmas-shift) + stat.NormalCDF(-sigmas+shift))
}
