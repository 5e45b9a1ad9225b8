package coil

import (
	"math"
	"slices"
)

// refine moves a kink to where two parabolas that meet fit the readings best,
// within the widest window that they can follow.
func (e *edge) refine(k *kink, sign float64) {
	// Without a place in its neighbourhood it is a bend, and no kink.
	found := *k
	found.u, found.gain = k.width/half, min(k.gain, 1)
	narrow := kink{}
	for try := *k; try.width >= half*e.step; try.width /= math.Sqrt2 {
		left := e.bend(&try, sign)
		if try.u > 0 {
			narrow = try
			narrow.gain = e.against(&try, sign, left)
			narrow.u = max(try.u, try.width/half)
		}
		if left < 1+2*math.Sqrt(e.step/try.width) {
			if try.u > 0 {
				try.gain = e.against(&try, sign, left)
				found = try
			}
			*k = found
			return
		}
	}
	// A stop that gives, or readings with hardly any noise, leave more than that in
	// every window: the place is known to a bin of the narrowest that had one.
	if narrow.u > 0 {
		found = narrow
	}
	*k = found
}

// bend moves a kink within a few bins to where the parabolas leave least, and
// returns what they leave, in noise. The kink's u is 0 where there is no such
// place.
func (e *edge) bend(k *kink, sign float64) (left float64) {
	from, _ := slices.BinarySearch(e.t, k.at-k.width)
	to, _ := slices.BinarySearch(e.t, k.at+k.width)
	from = max(from, e.first)
	k.u = 0
	if to-from < 12 {
		return 0
	}
	const reach = 6 // half bins
	var chi2 [2*reach + 1]float64
	best := 0
	for n := range chi2 {
		chi2[n] = e.parabolas(k.at+float64(n-reach)*k.width/(2*half), k.width, from, to, sign)
		if chi2[n] < chi2[best] {
			best = n
		}
	}
	left = chi2[best] / float64(to-from-6)
	if best == 0 || best == 2*reach {
		return left
	}
	step := k.width / (2 * half)
	curve := chi2[best-1] - 2*chi2[best] + chi2[best+1]
	k.at += (float64(best-reach) + (chi2[best-1]-chi2[best+1])/curve/2) * step
	k.u = step * math.Sqrt(2/curve) * math.Sqrt(max(1, left))
	if !(k.u > 0) || math.IsInf(k.u, 0) {
		k.u = 0
	}
	return left
}

// parabolas is chi-square of two that meet at a time with a jump of slope up.
func (e *edge) parabolas(at, width float64, from, to int, sign float64) float64 {
	const terms = 5
	var normal [allParameters][allParameters]float64
	var right [allParameters]float64
	var total float64
	base := e.i[(from+to)/2]
	for n := from; n < to; n++ {
		x := (e.t[n] - at) / width
		row := [terms]float64{1, x, x * x}
		if x > 0 {
			row[3], row[4] = x*x, x
		}
		y := sign * (e.i[n] - base)
		total += y * y
		for a := range terms {
			for b := range a + 1 {
				normal[a][b] += row[a] * row[b]
			}
			right[a] += row[a] * y
		}
	}
	solved := right
	if !cholesky(&normal, terms) {
		return math.Inf(1)
	}
	substitute(&normal, &solved, terms)
	if solved[4] < 0 {
		return total / (e.noise * e.noise)
	}
	for a := range terms {
		total -= solved[a] * right[a]
	}
	return total / (e.noise * e.noise)
}

// against is the gain of a kink over one curve of the fifth degree, within
// the window that it was moved in.
func (e *edge) against(k *kink, sign, left float64) float64 {
	const terms = 6
	from, _ := slices.BinarySearch(e.t, k.at-k.width)
	to, _ := slices.BinarySearch(e.t, k.at+k.width)
	from = max(from, e.first)
	var normal [allParameters][allParameters]float64
	var right [allParameters]float64
	var total float64
	base := e.i[(from+to)/2]
	for n := from; n < to; n++ {
		// Legendre's polynomials, so that the equations stay apart.
		x := (e.t[n] - k.at) / k.width
		row := [terms]float64{1, x}
		for d := 2; d < terms; d++ {
			row[d] = (float64(2*d-1)*x*row[d-1] - float64(d-1)*row[d-2]) / float64(d)
		}
		y := sign * (e.i[n] - base)
		total += y * y
		for a := range terms {
			for b := range a + 1 {
				normal[a][b] += row[a] * row[b]
			}
			right[a] += row[a] * y
		}
	}
	solved := right
	if !cholesky(&normal, terms) {
		return 0
	}
	substitute(&normal, &solved, terms)
	for a := range terms {
		total -= solved[a] * right[a]
	}
	v := e.noise * e.noise
	return (total/v - left*float64(to-from-terms)) / max(1, left)
}
