package spectrum

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"sync"

	"dutybench/signal/stat"
)

// used is memory that is used again.
var used = sync.Pool{New: func() any { return new([]float64) }}

// ErrUneven means that samples are too uneven for a spectrum.
var ErrUneven = errors.New("spectrum: the samples are too uneven for a spectrum")

// maxGap is the longest step that is bridged, in median steps.
const maxGap = 4

// maxBridged is the largest share of the time that longer steps (above 1.5
// median steps) may take.
const maxBridged = 0.05

// Even puts samples x at times t in seconds on an even grid of the median
// step, by straight lines between neighbours, into dst (grown as needed), and
// returns it with its rate in Hz. Equal times keep the last sample. Straight
// lines dampen what lies near half the rate: below a fifth of the rate a line
// loses at most 12 % (sinc²(0.2)). Values that are not finite are passed over. ErrUneven,
// with the reason, when a step is longer than 4 median steps, when more than
// 5 % of the time lies in long steps, or when fewer than 8 samples are left.
func Even(dst, t, x []float64) (grid []float64, rate_Hz float64, err error) {
	if len(t) != len(x) {
		return nil, 0, fmt.Errorf("spectrum: %d times for %d samples; give one time each", len(t), len(x))
	}
	room := used.Get().(*[]float64)
	steps := (*room)[:0]
	defer func() {
		*room = steps
		used.Put(room)
	}()
	first, last := -1, -1
	for i := range t {
		if !finite(x[i]) {
			continue
		}
		switch {
		case first < 0:
			first = i
		case t[i] > t[last]:
			steps = append(steps, t[i]-t[last])
		case t[i] == t[last]:
		default:
			return nil, 0, fmt.Errorf("spectrum: time runs back or is no number at sample %d; sort the samples", i)
		}
		last = i
	}
	if len(steps) < 7 {
		return nil, 0, fmt.Errorf("%w: only %d samples at different times; record longer", ErrUneven, len(steps)+min(1, len(t)))
	}
	step := stat.Select(steps, len(steps)/2)
	span := t[last] - t[first]
	if longest := slices.Max(steps); longest > maxGap*step {
		return nil, 0, fmt.Errorf("%w: a gap of %.4g s where the step is %.4g s; use the part before or after it", ErrUneven, longest, step)
	}
	var long float64
	for _, s := range steps {
		if s > 1.5*step {
			long += s
		}
	}
	if long > maxBridged*span {
		return nil, 0, fmt.Errorf("%w: %.0f %% of the time lies between samples further apart than 1.5 steps; sample more evenly", ErrUneven, 100*long/span)
	}
	// The rate is that of the whole span, so that a rounded median step does
	// not shift frequencies.
	n := int(math.Round(span/step)) + 1
	rate_Hz = float64(n-1) / span
	grid = slices.Grow(dst[:0], n)[:n]
	lo, hi := first, next(t, x, first)
	for k := range grid {
		at := t[first] + span*float64(k)/float64(n-1)
		for hi < last && t[hi] < at {
			lo, hi = hi, next(t, x, hi)
		}
		part := 1.0
		if t[hi] > t[lo] {
			part = min(1, (at-t[lo])/(t[hi]-t[lo]))
		}
		grid[k] = x[lo] + part*(x[hi]-x[lo])
	}
	return grid, rate_Hz, nil
}

// next is the next sample that counts: finite, and the last of equal times.
func next(t, x []float64, i int) int {
	j := i + 1
	for j < len(x) && !finite(x[j]) {
		j++
	}
	if j >= len(x) {
		return i
	}
	for k := j + 1; k < len(x) && (t[k] == t[j] || !finite(x[k])); k++ {
		if finite(x[k]) {
			j = k
		}
	}
	return j
}

// Detrend takes the straight line of least squares from x, in place, and
// returns its middle value and its slope per second.
func Detrend(x []float64, rate_Hz float64) (mean, slope float64) {
	n := float64(len(x))
	if n == 0 {
		return math.NaN(), math.NaN()
	}
	var sum float64
	for _, v := range x {
		sum += v
	}
	mean = sum / n
	middle := (n - 1) / 2
	var sxy float64
	for i, v := range x {
		sxy += (float64(i) - middle) * (v - mean)
	}
	if n > 1 {
		slope = sxy / (n * (n*n - 1) / 12)
	}
	for i := range x {
		x[i] -= mean + slope*(float64(i)-middle)
	}
	return mean, slope * rate_Hz
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }
