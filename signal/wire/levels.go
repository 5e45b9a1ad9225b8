package wire

import (
	"fmt"
	"math"
	"slices"

	"dutybench/signal/stat"
)

func (l *Levels) check() error {
	if l == nil {
		return nil
	}
	if len(l.At_s) != len(l.V) || len(l.V) == 0 {
		return fmt.Errorf("wire: %d times with %d levels: each sample needs both, and there must be some", len(l.At_s), len(l.V))
	}
	for i, t := range l.At_s {
		if !finite(t) || !finite(l.V[i]) || i > 0 && t < l.At_s[i-1] {
			return fmt.Errorf("wire: sample %d (%g V at %g s): samples must be numbers, in the order of their times", i+1, l.V[i], t)
		}
	}
	if !(l.Filter_s >= 0) || !(l.Aperture_s >= 0) || !(l.Step_V >= 0) || !(l.Gain >= 0) || !(l.Offset_V >= 0) || !(l.Clock >= 0) {
		return fmt.Errorf("wire: the converter's filter, aperture, step and uncertainties may not be below zero")
	}
	return nil
}

// interval is the usual time between two samples.
func (l *Levels) interval() float64 {
	if len(l.At_s) < 2 {
		return 0
	}
	return stat.Median(l.intervals())
}

func (l *Levels) intervals() []float64 {
	d := make([]float64, len(l.At_s)-1)
	for i := range d {
		d[i] = l.At_s[i+1] - l.At_s[i]
	}
	return d
}

// even says that the samples are spaced so evenly that a fast signal may look
// slow: below a tenth of the interval either way, a PWM at the sampling rate
// moves by less than a tenth of its period from sample to sample.
func (l *Levels) even() bool {
	if len(l.At_s) < 3 {
		return true
	}
	d := l.intervals()
	return stat.RobustSD(d) < 0.1*stat.Median(d)
}

// sharp says that samples are fast enough to show a signal with so many edges
// in such a time as it is.
func (l *Levels) sharp(edges int, within_s float64) bool {
	if edges == 0 || within_s <= 0 {
		return false
	}
	period := 2 * within_s / float64(edges)
	return period >= samplesPerPeriod*l.interval() && period >= 2*l.slow()
}

// known adds what the converter itself is unsure of.
func (l *Levels) known(q stat.Quantity) stat.Quantity {
	return q.With("resolution", l.Step_V/math.Sqrt(12), 0).
		WithShared("converter gain", math.Abs(q.Value)*l.Gain).
		WithShared("converter offset", l.Offset_V)
}

// mean is what a meter would show: the mean over time.
func (l *Levels) mean() stat.Quantity {
	if l.span() <= 0 {
		return l.known(stat.Exact(stat.Mean(l.V)))
	}
	sum := 0.0
	for i := 1; i < len(l.V); i++ {
		sum += (l.V[i-1] + l.V[i]) / 2 * (l.At_s[i] - l.At_s[i-1])
	}
	return l.known(stat.Exact(sum / l.span()))
}

// twoLevels is a wire that is either low or high.
type twoLevels struct {
	low, high stat.Quantity
	threshold float64
}

// What makes samples two-valued. Otsu's ratio of the variance between two
// groups to that of all is 1 for two levels, 0.81 for a sine, 0.75 for a
// triangle and 0.64 for noise (arithmetic); the middle three fifths of the
// swing hold 41 % of a sine's samples and 60 % of a triangle's.
const (
	twoRatio   = 0.90
	twoMiddle  = 0.25
	leastSwing = 0.5 // V; chosen: half of the smallest swing of a differential bus (ISO 11898-2, from memory)
)

// split finds the two levels of a wire by the threshold that separates them
// best (N. Otsu, A threshold selection method from gray-level histograms, IEEE
// Trans. SMC 9 (1979) 62); nil where there are no two.
func split(l *Levels) *twoLevels {
	v := slices.Sorted(slices.Values(l.V))
	n := len(v)
	mean, sd := stat.MeanSD(v)
	if n < 4 || !(sd > 0) {
		return nil
	}
	total := sd * sd * float64(n-1)
	best, at, sum := -1.0, 0, 0.0
	for i := 1; i < n; i++ {
		sum += v[i-1] - mean
		if v[i] == v[i-1] {
			continue
		}
		k, m := float64(i), float64(n-i)
		between := sum * sum * (1/k + 1/m)
		if between > best {
			best, at = between, i
		}
	}
	if best < twoRatio*total {
		return nil
	}
	low, high := stat.Median(v[:at]), stat.Median(v[at:])
	swing := high - low
	if swing < max(leastSwing, 10*l.Step_V) {
		return nil
	}
	first, _ := slices.BinarySearch(v, low+0.2*swing)
	last, _ := slices.BinarySearch(v, high-0.2*swing)
	if float64(last-first) > twoMiddle*float64(n) {
		return nil
	}
	level := func(xs []float64, q float64) stat.Quantity {
		// The median of n readings scatters by 1.25 times their mean (normal).
		return l.known(stat.Quantity{Value: q}.With("noise", 1.25*stat.RobustSD(xs)/math.Sqrt(float64(len(xs))), float64(max(len(xs)-1, 1))))
	}
	return &twoLevels{low: level(v[:at], low), high: level(v[at:], high), threshold: (low + high) / 2}
}

// crossings are the edges that samples show: where they pass the middle,
// straight between two of them, once they have come within a third of the
// other level.
func crossings(l *Levels, two *twoLevels) Edges {
	third := (two.high.Value - two.low.Value) / 6 // from the middle
	up, down := two.threshold+third, two.threshold-third
	e := Edges{Start_s: l.At_s[0], End_s: l.At_s[len(l.At_s)-1], StartHigh: l.V[0] > two.threshold,
		Resolution_s: l.interval(), Clock: l.Clock}
	high := e.StartHigh
	cross := 0.0
	for i := 1; i < len(l.V); i++ {
		was, is := l.V[i-1], l.V[i]
		if (was > two.threshold) != (is > two.threshold) {
			cross = l.At_s[i-1] + (two.threshold-was)/(is-was)*(l.At_s[i]-l.At_s[i-1])
		}
		if !high && is >= up || high && is <= down {
			high = !high
			e.At_s = append(e.At_s, cross)
			e.High = append(e.High, high)
		}
	}
	return e
}

// Edges are those that samples show; nil where they have no two levels.
func (l *Levels) Edges() *Edges {
	if l == nil || l.check() != nil {
		return nil
	}
	two := split(l)
	if two == nil {
		return nil
	}
	e := crossings(l, two)
	return &e
}
