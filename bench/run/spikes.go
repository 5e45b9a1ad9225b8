package run

import "math"

// spikes finds readings of the current that came over the bus with a bit
// wrong: alone between two that agree, and off by a power of two of the
// converter's code. A rotor, a board or a short that moves the current for one
// interval alone lands on a power of two by chance only: the codes that count
// as one are few against the distance between two of them.
type spikes struct {
	usual float64 // the usual change from one sample to the next, A
	n     int     // samples that it was learned from
	found int
}

const (
	spikeTimes = 10 // of the usual change, before anything is a spike
	spikeAfter = 64 // samples
)

// bit says that a step of the current is one bit of the converter's code,
// give or take a tolerance, both in A.
func bit(step, code, within float64) bool {
	n := math.Abs(step) / code
	if n < 1 {
		return false
	}
	return math.Abs(n-math.Exp2(math.Round(math.Log2(n)))) <= 2+within/code
}

// middle looks at three samples in a row and says that the middle one is a
// bit off.
func (s *spikes) middle(a, b, c, code float64) bool {
	change := math.Abs(c - a)
	off := math.Abs(b - (a+c)/2)
	if s.n >= spikeAfter && code > 0 && off > spikeTimes*max(s.usual, code) && change < off/4 && bit(b-(a+c)/2, code, change/2+3*s.usual) {
		s.found++
		return true
	}
	s.n++
	s.usual += (math.Abs(b-a) - s.usual) / math.Min(float64(s.n), spikeAfter)
	return false
}

// despike takes the sample before the last out of the trace where it came
// wrong over the bus; it counts as lost.
func (x *runner) despike() {
	c := &x.ch
	n := c.len()
	if x.guard.Tripped() != nil {
		return // what it was for stays
	}
	if n < 3 || !x.commander.signals() && chops(c.duty[n-1]) || x.block.n > 0 || n-2 < x.shown || c.on[n-3] != c.on[n-1] || c.duty[n-3] != c.duty[n-1] {
		return
	}
	i := c.current
	if end := x.rig.Accuracy.CurrentRange_A; end > 0 && math.Abs(i[n-2]+x.zero_A) >= end-x.rig.Accuracy.CurrentStep_A {
		return // no bit, but the end of the range
	}
	if !x.plausible.spikes.middle(i[n-3], i[n-2], i[n-1], x.rig.Accuracy.CurrentStep_A) {
		return
	}
	for _, col := range c.all() {
		v := *col
		v[n-2] = v[n-1]
		*col = v[:n-1]
	}
	x.lost++
}
