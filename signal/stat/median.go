package stat

import (
	"math"
	"math/bits"
	"sync"
)

// scratch is memory that is used again, so that a median of any number of
// samples allocates nothing in the long run.
var scratch = sync.Pool{New: func() any { return new([]float64) }}

// copied is a copy of xs, to be given back with scratch.Put.
func copied(xs []float64) *[]float64 {
	s := scratch.Get().(*[]float64)
	if cap(*s) < len(xs) {
		*s = make([]float64, 1<<bits.Len(uint(len(xs))))
	}
	*s = (*s)[:copy((*s)[:cap(*s)], xs)]
	return s
}

// Median of the values, the mean of the middle two when their number is even;
// NaN when there are none. The slice is not touched.
func Median(xs []float64) float64 {
	s := copied(xs)
	defer scratch.Put(s)
	return MedianInPlace(*s)
}

// MedianInPlace is Median without a copy: it puts xs in another order.
func MedianInPlace(xs []float64) float64 {
	n := len(xs)
	if n == 0 {
		return math.NaN()
	}
	high := Select(xs, n/2)
	if n%2 == 1 {
		return high
	}
	// Nothing before n/2 is above it. NaN would stand first of all.
	low := xs[0]
	for _, x := range xs[:n/2] {
		if x > low || low != low {
			low = x
		}
	}
	return low + (high-low)/2
}

// MAD is the median of the absolute distances from the median.
func MAD(xs []float64) float64 {
	s := copied(xs)
	defer scratch.Put(s)
	m := MedianInPlace(*s)
	for i, x := range *s {
		(*s)[i] = math.Abs(x - m)
	}
	return MedianInPlace(*s)
}
