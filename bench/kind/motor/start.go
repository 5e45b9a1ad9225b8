package motor

import (
	"math"

	"dutybench/signal/stat"
	"dutybench/signal/trace"
)

// start is one start from rest.
type start struct {
	stretch
	peak     stat.Quantity // A
	peakAt   int
	settle_s float64 // until nine tenths of the fall to the running current; NaN
	// let_s is until a tenth of the fall: the rotor lets go; NaN.
	let_s float64
	// held says that the current does not fall: the rotor does not turn.
	held    bool
	level_A float64 // at the end of it
	long_s  float64 // that it was driven for
}

const (
	// longestStart is how long a start is looked at, in s.
	longestStart = 3.0
	// shortestStart is from how long on a start shows its peak, wholeStart from how
	// long on one that did not fall is a rotor that does not turn: a guard may have
	// ended it before, in s (chosen).
	shortestStart, wholeStart = 0.01, 0.1
	// fallen is how far a turning motor's current falls below its peak: the back-EMF
	// of even a tenth of its speed takes more (chosen).
	fallen = 0.9
	// smooth_s is over how long a current is averaged to time a start: several
	// ripples, and a small part of any start (chosen).
	smooth_s = 3e-3
)

// measureStart reads a start at the beginning of a driven stretch.
func measureStart(tr *trace.Trace, s stretch, noise float64) start {
	t, x := tr.Time(), tr.Current()
	end := s.from
	for end < s.to && t[end]-t[s.from] < longestStart {
		end++
	}
	out := start{stretch: s, settle_s: math.NaN(), let_s: math.NaN(), peakAt: s.from, long_s: s.seconds(t)}
	for i := s.from; i < end; i++ {
		if x[i] > x[out.peakAt] {
			out.peakAt = i
		}
	}
	i := out.peakAt
	lo, hi := max(i-1, s.from), min(i+1, end-1)
	// Between two samples the current may have stood higher: by what it changes to
	// the nearer of its neighbours at most. The highest of noisy values is high by
	// about the noise's own deviation.
	next := math.Max(x[lo], x[hi])
	out.peak = stat.Quantity{Value: x[i]}.With("peak between samples", (x[i]-next)/math.Sqrt(3), 0).With("noise", noise, 0)
	w := max(1, int(smooth_s*rate(t, s)))
	tail := max(s.from, end-max(4*w, (end-s.from)/5))
	out.level_A = stat.Median(x[tail:end])
	out.held = !(out.level_A < fallen*out.peak.Value-2*noise)
	if out.held {
		return out
	}
	for _, g := range []struct {
		part float64
		to   *float64
	}{{0.1, &out.let_s}, {0.9, &out.settle_s}} {
		below := out.peak.Value - g.part*(out.peak.Value-out.level_A)
		*g.to = crossing(t, x, out.peakAt, end, w, below) - t[s.from]
	}
	return out
}

// crossing is when the mean over w samples first falls below a level after from.
func crossing(t, x []float64, from, end, w int, level float64) float64 {
	sum := 0.0
	for i := from; i < end; i++ {
		sum += x[i]
		if i-from >= w {
			sum -= x[i-w]
		}
		if n := min(i-from+1, w); i-from+1 >= w && sum/float64(n) < level {
			return (t[i] + t[i-n+1]) / 2
		}
	}
	return math.NaN()
}
