// Package travel finds what a positioner did at each step of its command: from
// where to where it went, after which delay, how fast, how far beyond, and what
// it drew on the way. The columns of a trace are all it looks at; the position
// may be sampled seldomer than the current.
package travel

import (
	"math"

	"dutybench/signal/stat"
)

// Samples are the instants at which a position was read, in seconds and per cent
// of the travel.
type Samples struct{ T_s, P_pct []float64 }

// Of takes the readings that are there from a column that may have holes.
func Of(t, position []float64) (s Samples) {
	for i, p := range position {
		if !math.IsNaN(p) {
			s.T_s, s.P_pct = append(s.T_s, t[i]), append(s.P_pct, p)
		}
	}
	return s
}

// Len is how many there are.
func (s Samples) Len() int { return len(s.T_s) }

// first is the index of the first sample at t or later.
func (s Samples) first(t float64) int {
	lo, hi := 0, len(s.T_s)
	for lo < hi {
		if m := (lo + hi) / 2; s.T_s[m] < t {
			lo = m + 1
		} else {
			hi = m
		}
	}
	return lo
}

// In is those from one time up to, and not including, another.
func (s Samples) In(from, to float64) Samples {
	a, b := s.first(from), s.first(to)
	if b < a {
		b = a
	}
	return Samples{s.T_s[a:b], s.P_pct[a:b]}
}

// At is the position at a time, on a straight line between its neighbours; NaN
// outside them.
func (s Samples) At(t float64) float64 {
	i := s.first(t)
	switch {
	case i == len(s.T_s), i == 0 && s.T_s[0] > t:
		return math.NaN()
	case i == 0 || s.T_s[i] == t:
		return s.P_pct[i]
	}
	f := (t - s.T_s[i-1]) / (s.T_s[i] - s.T_s[i-1])
	return s.P_pct[i-1]*(1-f) + s.P_pct[i]*f
}

// Pitch_s is the median time between two samples; NaN for fewer than two.
func (s Samples) Pitch_s() float64 {
	if len(s.T_s) < 2 {
		return math.NaN()
	}
	var d []float64
	for i := 1; i < len(s.T_s); i++ {
		d = append(d, s.T_s[i]-s.T_s[i-1])
	}
	return stat.MedianInPlace(d)
}
