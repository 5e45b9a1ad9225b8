package quality

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/mat"

	"dutybench/signal/stat"
)

// nodes is how many points the quadrature takes: the kernel is a normal density
// as wide as Lambda, between limits h out. Three within its standard deviation,
// and some, are enough; twice as many change the published values by less than
// one in 10^6.
func nodes(h, lambda float64) int { return 21 + int(math.Ceil(3*2*h/lambda)) }

// mostNodes bounds the work.
const mostNodes = 500

// leastLambda is the smallest weight that the quadrature above resolves.
const leastLambda = 0.01

// ARL is how many values pass on average until the average lies beyond its
// final limits, when the mean has moved by shift standard deviations before
// the first: the integral equation
//
//	A(u) = 1 + 1/λ·∫ A(y)·φ((y-(1-λ)u)/λ - shift) dy over the limits
//
// (Crowder 1987), at u = 0. The limits that widen at the start signal somewhat
// earlier. It holds for normal values whose mean and standard deviation are
// known; where they were estimated (N), for a bench on which they came out right,
// with the limits as wide as N makes them. Lambda is 0.01 to 1. What is too long to
// work out is +Inf.
func (e EWMA) ARL(shift float64) (float64, error) {
	if !(e.Lambda >= leastLambda && e.Lambda <= 1) || !(e.L > 0) || math.IsInf(e.L, 0) || math.IsNaN(shift) || math.IsInf(shift, 0) {
		return 0, fmt.Errorf("quality: run lengths of an EWMA with weight %g, limits at %g: give a weight of %g to 1 and limits above zero", e.Lambda, e.L, leastLambda)
	}
	e.Sigma = 1
	h := e.Steady()
	n := nodes(h, e.Lambda)
	if n > mostNodes {
		return 0, fmt.Errorf("quality: run lengths of an EWMA with weight %g and limits at %g: give closer limits or a larger weight", e.Lambda, e.L)
	}
	y, w := make([]float64, n), make([]float64, n)
	quad.Legendre{}.FixedLocations(y, w, -h, h)
	kernel := func(u, y float64) float64 {
		d := (y-(1-e.Lambda)*u)/e.Lambda - shift
		return math.Exp(-d*d/2) / (math.Sqrt(2*math.Pi) * e.Lambda)
	}
	a := mat.NewDense(n, n, nil)
	ones := mat.NewVecDense(n, nil)
	for i := range n {
		ones.SetVec(i, 1)
		for j := range n {
			v := -w[j] * kernel(y[i], y[j])
			if i == j {
				v++
			}
			a.Set(i, j, v)
		}
	}
	var at mat.VecDense
	if err := at.SolveVec(a, ones); err != nil {
		return math.Inf(1), nil // singular: the averages hardly ever leave the limits
	}
	arl := 1.0
	for j := range n {
		arl += w[j] * kernel(0, y[j]) * at.AtVec(j)
	}
	if arl < 1 {
		return math.Inf(1), nil // rounding, of run lengths beyond 10^14
	}
	return arl, nil
}

// LimitFor is the L of an EWMA that gives one false alarm in so many values on
// average, 5 to 100,000.
func LimitFor(lambda, arl float64) (float64, error) {
	if !(arl >= 5 && arl <= 1e5) {
		return 0, fmt.Errorf("quality: one false alarm in %g values: give 5 to 100000", arl)
	}
	// The averages signal no more often than single values that lie as far out.
	low, high := 0.1, stat.Normal(1-0.5/arl)+0.1
	for range 50 {
		mid := (low + high) / 2
		got, err := EWMA{Lambda: lambda, L: mid}.ARL(0)
		if err != nil {
			return 0, err
		}
		if got < arl {
			low = mid
		} else {
			high = mid
		}
		if high-low < 1e-5 {
			break
		}
	}
	return (low + high) / 2, nil
}
