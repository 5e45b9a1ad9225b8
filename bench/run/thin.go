package run

import (
	"math"
	"time"

	"dutybench/bench/rig"
)

// block gathers the samples of a thinned step into one.
type block struct {
	until  float64 // s, end of the block being filled
	n      float64
	t, sum float64
	state  state
	last   rig.Sample // the voltages last sampled
}

// keep puts a sample into the trace, or into the block of a thinned step.
func (x *runner) keep(t_s float64, st *state, current float64, s *rig.Sample) {
	thin := x.step.Thin
	if thin <= 0 || st != &x.now {
		x.flush()
		x.ch.add(t_s, st, current, s)
		return
	}
	b := &x.block
	if b.n > 0 && t_s >= b.until {
		x.flush()
	}
	if b.n == 0 {
		b.until, b.state = t_s+thin.Seconds(), *st
		b.last = rig.Sample{Supply_V: math.NaN(), Line_V: math.NaN(), Temperature_C: math.NaN(), Position: math.NaN(), Node_V: math.NaN()}
	}
	b.n++
	b.t += t_s
	b.sum += current
	for _, v := range [...]struct{ to, from *float64 }{{&b.last.Supply_V, &s.Supply_V}, {&b.last.Line_V, &s.Line_V}, {&b.last.Temperature_C, &s.Temperature_C}, {&b.last.Position, &s.Position}} {
		if !math.IsNaN(*v.from) {
			*v.to = *v.from
		}
	}
}

// flush ends the block being filled.
func (x *runner) flush() {
	b := &x.block
	if b.n == 0 {
		return
	}
	x.ch.add(b.t/b.n, &b.state, b.sum/b.n, &b.last)
	b.n, b.t, b.sum = 0, 0, 0
}

// thinned is the longest block of the plan's steps so far; 0 when none was
// thinned.
func (x *runner) thinned() (d time.Duration) {
	for _, m := range x.marks {
		d = max(d, m.step.Thin)
	}
	return d
}
