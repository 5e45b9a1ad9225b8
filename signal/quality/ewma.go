package quality

import (
	"math"

	"dutybench/signal/stat"
)

// EWMA is an exponentially weighted moving average chart:
//
//	z(i) = Lambda·x(i) + (1-Lambda)·z(i-1), z(0) = Target
//
// Its limits are Target ± L·Sigma·√(Lambda/(2-Lambda)·(1-(1-Lambda)^2i)): the
// last factor is how much of its final spread the average has after i values
// (e-Handbook 6.3.2.4 has the limits without it; Lucas and Saccucci 1990 with).
type EWMA struct {
	Lambda        float64 // weight of the newest value, above 0, at most 1
	L             float64 // limits, in standard deviations of the average
	Target, Sigma float64 // of single values, in their unit
	// N is how many values Target and Sigma were estimated from, as by
	// NewIndividuals; 0: both are known exactly. Limits are the wider for it: they
	// allow for Sigma²/N of the target, and are taken from Student's t.
	N int
}

// Average is one point of an EWMA chart.
type Average struct {
	Z, Low, High float64
	Out          bool
}

// Steady is how far from the target the limits lie in the end.
func (e EWMA) Steady() float64 {
	l, known := e.limits()
	return l * e.Sigma * math.Sqrt(e.Lambda/(2-e.Lambda)+known)
}

// limits are in standard deviations of the average; known is the variance of
// the target beside it, in that of single values.
func (e EWMA) limits() (l, known float64) {
	if e.N < 2 {
		return e.L, 0
	}
	return stat.StudentT(stat.NormalCDF(e.L), sigmaDoF(e.N)), 1 / float64(e.N)
}

// Run gives the averages of values in their order. A NaN was not measured: it
// leaves the average as it is.
func (e EWMA) Run(xs []float64) []Average {
	out := make([]Average, len(xs))
	l, known := e.limits()
	z, left := e.Target, 1.0 // left is (1-Lambda)^2i
	for i, x := range xs {
		if !math.IsNaN(x) {
			z = e.Lambda*x + (1-e.Lambda)*z
			left *= (1 - e.Lambda) * (1 - e.Lambda)
		}
		half := l * e.Sigma * math.Sqrt(e.Lambda/(2-e.Lambda)*(1-left)+known)
		a := Average{Z: z, Low: e.Target - half, High: e.Target + half}
		a.Out = !math.IsNaN(x) && (z < a.Low || z > a.High)
		out[i] = a
	}
	return out
}
