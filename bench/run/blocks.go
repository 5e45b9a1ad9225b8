package run

import (
	"math"
	"time"
)

// blockTime is over what the bench holds its readings against each other: long
// enough for tens of voltage readings and many periods of the command, short
// beside a step.
const blockTime = 100 * time.Millisecond

// levels are the means over a block, or over the end of a step. NaN: not
// sampled.
type levels struct{ current_A, supply_V, line_V float64 }

// summing gathers the means of a block.
type summing struct {
	until   time.Duration
	sum     levels
	n       [3]int
	filling bool
}

// add takes a sample and gives the block that it ends.
func (b *summing) add(at time.Duration, current_A, supply_V, line_V float64) (done levels, ended bool) {
	if b.filling && at >= b.until {
		done, ended = b.means(), true
		b.filling = false
	}
	if !b.filling {
		*b = summing{until: at + blockTime, filling: true}
	}
	for i, v := range [...]struct {
		to *float64
		x  float64
	}{{&b.sum.current_A, current_A}, {&b.sum.supply_V, supply_V}, {&b.sum.line_V, line_V}} {
		if !math.IsNaN(v.x) && !math.IsInf(v.x, 0) {
			*v.to += v.x
			b.n[i]++
		}
	}
	return done, ended
}

func (b *summing) means() levels {
	mean := func(sum float64, n int) float64 {
		if n == 0 {
			return math.NaN()
		}
		return sum / float64(n)
	}
	return levels{mean(b.sum.current_A, b.n[0]), mean(b.sum.supply_V, b.n[1]), mean(b.sum.line_V, b.n[2])}
}

// source is what the run learns of the supply and its leads: the voltage at
// the plug without load, and how much of it an ampere takes away.
type source struct {
	rest  levels // with the supply on and the stop command
	known bool
	ohm   float64 // NaN: not known
}

// leastLoad_A is a change of current that a drop is worked out from.
const leastLoad_A = 0.5

// learn takes the end of a step.
func (s *source) learn(l levels, resting bool) {
	switch {
	case math.IsNaN(l.supply_V) || math.IsNaN(l.current_A):
	case !s.known && resting:
		s.rest, s.known, s.ohm = l, true, math.NaN()
	case s.known && math.IsNaN(s.ohm) && l.current_A-s.rest.current_A >= leastLoad_A:
		s.ohm = max((s.rest.supply_V-l.supply_V)/(l.current_A-s.rest.current_A), 0)
	}
}

// at is the voltage to expect at the plug with a current; NaN not known.
func (s *source) at(current_A float64) float64 {
	return s.rest.supply_V - s.ohm*(current_A-s.rest.current_A)
}

// lineLaw is what the mean level of the line follows: it is low for nothing
// and high for the share of a period that is commanded, so its mean is in
// proportion to the line duty, for an open drain as for a buffer.
type lineLaw struct {
	duty_pct float64
	levels   levels
}

// learn keeps the point of the highest duty, which tells the high level best.
func (l *lineLaw) learn(duty_pct float64, is levels) {
	if duty_pct > l.duty_pct {
		l.duty_pct, l.levels = duty_pct, is
	}
}

// high_V is the line's high level; NaN before it is known.
func (l *lineLaw) high_V() float64 {
	if l.duty_pct <= 0 {
		return math.NaN()
	}
	return 100 * l.levels.line_V / l.duty_pct
}

// darkSamples are meant together while the supply has not been on yet.
const darkSamples = 30

// dark follows the current before the supply was ever on, when there is none:
// the means of so many samples that lie farthest out.
type dark struct {
	sum         float64
	n           int
	least, most float64
	known       bool
}

// add takes a reading.
func (d *dark) add(current_A float64) {
	if math.IsNaN(current_A) || math.IsInf(current_A, 0) {
		return
	}
	d.sum += current_A
	if d.n++; d.n < darkSamples {
		return
	}
	mean := d.sum / darkSamples
	if !d.known {
		d.least, d.most, d.known = mean, mean, true
	}
	d.least, d.most = min(d.least, mean), max(d.most, mean)
	d.sum, d.n = 0, 0
}

// off is how far the readings went from a zero.
func (d *dark) off(zero_A float64) float64 {
	if !d.known {
		return 0
	}
	return max(d.most-zero_A, zero_A-d.least)
}
