package coil

import (
	"fmt"
	"math"
	"slices"

	"dutybench/signal/stat"
)

// leastSamples is what an edge needs at least, before and after it together.
const leastSamples = 24

// edge is the readings of one edge, cleaned, with what they say of themselves.
type edge struct {
	t, i    []float64
	step    float64 // s, median
	reading float64 // A, the noise of one reading
	noise   float64 // A, that which a mean of n readings has √n times
	links   float64 // readings that share noise, 1 for none
	quantum float64 // A, of the converter
	first   int     // first reading with current that came on or went
	onset   float64 // s
	start   float64 // A, before
	startU  float64
	clipped int
}

// clean takes the readings that are numbers and not clipped.
func clean(s Samples, k Known) (*edge, error) {
	if len(s.Time_s) != len(s.Current_A) || s.Supply_V != nil && len(s.Supply_V) != len(s.Time_s) {
		return nil, fmt.Errorf("%w: %d times, %d currents, %d voltages; give one of each a sample", ErrSamples, len(s.Time_s), len(s.Current_A), len(s.Supply_V))
	}
	e := &edge{}
	last := math.Inf(-1)
	for n, t := range s.Time_s {
		i := s.Current_A[n]
		switch {
		case math.IsNaN(t) || math.IsInf(t, 0) || math.IsNaN(i) || math.Abs(i) > 1e9 || math.Abs(t) > 1e9:
			continue
		case t < last:
			return nil, fmt.Errorf("%w: time runs back at %g s", ErrSamples, t)
		case t == last:
			continue
		case k.Ceiling_A > 0 && i >= k.Ceiling_A-k.Resolution_A/2:
			e.clipped++
			continue
		}
		last = t
		e.t, e.i = append(e.t, t), append(e.i, i)
	}
	if len(e.t) < leastSamples {
		return nil, fmt.Errorf("%w: %d usable samples, %d are needed; sample faster or longer", ErrSamples, len(e.t), leastSamples)
	}
	steps := make([]float64, len(e.t)-1)
	for n := range steps {
		steps[n] = e.t[n+1] - e.t[n]
	}
	e.step = stat.MedianInPlace(steps)
	e.quantum = k.Resolution_A
	if e.quantum <= 0 {
		e.quantum = smallestStep(e.i)
	}
	e.reading = noise(e.i, e.quantum)
	e.links = e.linked()
	e.noise = e.reading * math.Sqrt(e.links)
	return e, nil
}

// smallestStep is the least difference of two readings where they stand on
// steps, 0 where hardly any two are equal.
func smallestStep(i []float64) float64 {
	// A thousand of them tell.
	some := make([]float64, 0, 2000)
	for n := 0; n < len(i); n += 1 + len(i)/1000 {
		some = append(some, i[n])
	}
	slices.Sort(some)
	sorted := some
	least, equal := math.Inf(1), 0
	size := max(math.Abs(sorted[0]), math.Abs(sorted[len(sorted)-1]))
	for n := 1; n < len(sorted); n++ {
		d := sorted[n] - sorted[n-1]
		if d <= 1e-9*size {
			equal++
		} else {
			least = min(least, d)
		}
	}
	if 2*equal < len(some) || math.IsInf(least, 1) {
		return 0
	}
	return least
}

// noise is the standard deviation of one reading, from second differences: a
// slope does not enter, and the few readings at a kink do not count. A
// converter adds at least that of its step.
func noise(i []float64, quantum float64) float64 {
	d := make([]float64, len(i)-2)
	for n := range d {
		d[n] = (i[n] - 2*i[n+1] + i[n+2]) / math.Sqrt(6)
	}
	for n := range d {
		d[n] = math.Abs(d[n])
	}
	sd := stat.MedianInPlace(d) / stat.Normal(0.75)
	if sd < 2*quantum {
		// A coarse converter's median says little: the root mean square without
		// the furthest 2 % (0.8735 is what they leave of a normal variance).
		far := stat.Select(d, len(d)*98/100)
		var sum float64
		kept := 0
		for _, v := range d {
			if v <= far {
				sum += v * v
				kept++
			}
		}
		sd = math.Sqrt(sum / float64(kept) / 0.8735)
	}
	return max(sd, quantum/math.Sqrt(12))
}

// linked is how much more the mean of some readings varies than if their noise
// were independent: filters and ripple link neighbours. From the last third of
// the edge, where the current bends least.
func (e *edge) linked() float64 {
	worst := 1.0
	last := e.i[len(e.i)-len(e.i)/3:]
	for _, width := range []int{4, 16} {
		blocks := len(last) / width
		if blocks < 24 {
			break
		}
		means := make([]float64, blocks)
		for n := range means {
			means[n] = stat.Mean(last[n*width : (n+1)*width])
		}
		v := noise(means, 0) / e.reading
		v *= v * float64(width)
		// Second differences of so few blocks scatter themselves: links that may
		// be chance are none, and others are taken with a margin.
		if v > 1+4*math.Sqrt(2/float64(blocks)) {
			worst = max(worst, v*(1+2*math.Sqrt(2/float64(blocks))))
		}
	}
	return worst
}
