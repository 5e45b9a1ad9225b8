package stat

import "math"

// Mean of the values; NaN when there are none. A second pass takes up what
// rounding lost in the first, so a large offset does no harm.
func Mean(xs []float64) float64 {
	if len(xs) == 0 {
		return math.NaN()
	}
	n := float64(len(xs))
	var sum float64
	for _, x := range xs {
		sum += x
	}
	mean := sum / n
	var rest float64
	for _, x := range xs {
		rest += x - mean
	}
	return mean + rest/n
}

// SD is the sample standard deviation (n-1); NaN below two values.
func SD(xs []float64) float64 {
	_, sd := MeanSD(xs)
	return sd
}

// MeanSD is both by the corrected two-pass algorithm (Chan, Golub, LeVeque,
// "Algorithms for computing the sample variance", 1983, eq. 1.7; from memory).
func MeanSD(xs []float64) (mean, sd float64) {
	mean = Mean(xs)
	n := float64(len(xs))
	if n < 2 {
		return mean, math.NaN()
	}
	var sum, sq float64
	for _, x := range xs {
		d := x - mean
		sum += d
		sq += d * d
	}
	return mean, math.Sqrt((sq - sum*sum/n) / (n - 1))
}

// RobustSD is the standard deviation that a normal distribution with this MAD
// has: MAD/Φ⁻¹(3/4) = 1.4826 MAD. Up to half of the values may be wild.
func RobustSD(xs []float64) float64 { return 1.482602218505602 * MAD(xs) }

// Autocorrelation at a lag, with the sum over all values below (the estimate
// that StRD certifies at lag 1). NaN when the lag leaves no pair or all values
// are equal.
func Autocorrelation(xs []float64, lag int) float64 {
	if lag < 0 || lag >= len(xs) {
		return math.NaN()
	}
	mean := Mean(xs)
	var num, den float64
	for i, x := range xs {
		d := x - mean
		den += d * d
		if i >= lag {
			num += d * (xs[i-lag] - mean)
		}
	}
	if den == 0 {
		return math.NaN()
	}
	return num / den
}

// Running takes values one by one and knows their mean and deviation at any
// time (Welford 1962). The zero value is ready; nothing is allocated.
type Running struct {
	n        int
	mean, m2 float64
}

// Add takes one value.
func (r *Running) Add(x float64) {
	r.n++
	d := x - r.mean
	r.mean += d / float64(r.n)
	r.m2 += d * (x - r.mean)
}

// N is the number of values so far.
func (r *Running) N() int { return r.n }

// Mean so far; NaN before the first value.
func (r *Running) Mean() float64 {
	if r.n == 0 {
		return math.NaN()
	}
	return r.mean
}

// SD so far (n-1); NaN below two values.
func (r *Running) SD() float64 {
	if r.n < 2 {
		return math.NaN()
	}
	return math.Sqrt(r.m2 / float64(r.n-1))
}
