package step

import (
	"math"

	"dutybench/signal/trace"
)

// A plug below this share of its highest voltage is off, and so is one below
// off_V, at which nothing for 12 or 24 V runs; unless a current that is not
// small pulls it down: more than a twentieth of the highest current, than what
// any supply gives without giving way, and than noise.
const (
	offShare     = 0.3
	off_V        = 0.5
	pullShare    = 0.05
	pull_A       = 0.05
	pullNoise    = 6     // noise widths: 1 sample in 10⁹
	differenceSD = 1.128 // mean magnitude of a difference of two normal values with deviation 1: 2/√π
)

// Energised tells whether the unit had supply at a sample: by supply_on, else
// by the voltage at the plug, else always, as a bench that records neither
// does not switch. A column that was not sampled at an instant holds what it
// last was, before its first sample what it first was.
func Energised(tr *trace.Trace) func(i int) bool {
	if on := tr.Values(trace.ColSupplyOn); sampled(on) {
		if !hasNaN(on) {
			return func(i int) bool { return on[i] >= 0.5 }
		}
		return held(on, func(i int) bool { return on[i] >= 0.5 })
	}
	v := tr.Values(trace.ColSupply)
	if !sampled(v) {
		return func(int) bool { return true }
	}
	x := tr.Current()
	var high, top float64
	for i, a := range v {
		if a > high {
			high = a
		}
		if x[i] > top {
			top = x[i]
		}
	}
	low, gaps := max(offShare*high, off_V), false
	// The noise of the current while the plug is low.
	var moves float64
	n := 0
	for i, a := range v {
		if a > low {
			continue
		}
		if a != a {
			gaps = true
		} else if i > 0 {
			moves += math.Abs(x[i] - x[i-1])
			n++
		}
	}
	if n == 0 && !gaps {
		return func(int) bool { return true }
	}
	pull := max(pullShare*top, pull_A, pullNoise*moves/float64(max(n, 1))/differenceSD)
	live := func(i int) bool { return v[i] > low || x[i] > pull }
	if gaps {
		return held(v, live)
	}
	return live
}

// held is the state of each sample where column has gaps.
func held(column []float64, state func(i int) bool) func(i int) bool {
	seen, last, from := make([]bool, len(column)), false, 0
	for i, a := range column {
		if a == a {
			if last = state(i); from == 0 {
				for j := range i {
					seen[j] = last
				}
				from = 1
			}
		}
		seen[i] = last
	}
	return func(i int) bool { return seen[i] }
}

func sampled(column []float64) bool {
	for _, a := range column {
		if a == a {
			return true
		}
	}
	return false
}

func hasNaN(column []float64) bool {
	for _, a := range column {
		if a != a {
			return true
		}
	}
	return false
}
