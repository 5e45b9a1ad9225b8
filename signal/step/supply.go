package step

import (
	"math"
	"slices"

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

// Supply is whether a unit had supply, sample by sample; see Energised.
type Supply struct {
	always bool
	at     func(i int) bool
}

// On says that the unit had supply at a sample.
func (s Supply) On(i int) bool { return s.always || s.at(i) }

// Energised tells whether the unit had supply at a sample: by supply_on, else
// by the voltage at the plug, else always, as a bench that records neither
// does not switch. A column that was not sampled at an instant holds what it
// last was, before its first sample what it first was.
func Energised(tr *trace.Trace) func(i int) bool {
	s := SupplyOf(tr)
	if s.always {
		return func(int) bool { return true }
	}
	return s.at
}

// SupplyOf is Energised in a form that costs less to ask at every sample.
func SupplyOf(tr *trace.Trace) Supply {
	if on := tr.Values(trace.ColSupplyOn); sampled(on) {
		state := func(i int) bool { return on[i] >= 0.5 }
		if hasNaN(on) {
			state = held(on, state)
		}
		return Supply{at: state}
	}
	v := tr.Values(trace.ColSupply)
	if !sampled(v) {
		return Supply{always: true}
	}
	high, least, gaps := 0.0, math.Inf(1), false
	for _, a := range v {
		if a >= least && a <= high {
			continue
		}
		gaps = gaps || a != a
		if a > high {
			high = a
		}
		if a < least {
			least = a
		}
	}
	low := max(offShare*high, off_V)
	if least > low && !gaps {
		return Supply{always: true}
	}
	x := tr.Current()
	var top float64
	for _, a := range x {
		if a > top {
			top = a
		}
	}
	// The noise of the current while the plug is low.
	var moves float64
	n := 0
	for i, a := range v {
		if a > low {
			continue
		}
		if a == a && i > 0 {
			moves += math.Abs(x[i] - x[i-1])
			n++
		}
	}
	if n == 0 && !gaps {
		return Supply{always: true}
	}
	pull := max(pullShare*top, pull_A, pullNoise*moves/float64(max(n, 1))/differenceSD)
	live := func(i int) bool { return v[i] > low || x[i] > pull }
	if gaps {
		live = held(v, live)
	}
	return Supply{at: live}
}

// held is the state of each sample where column has gaps. It keeps the samples
// at which the state changes, which are few.
func held(column []float64, state func(i int) bool) func(i int) bool {
	var changes []int
	seen, first, last := false, false, false
	for i, a := range column {
		if a != a {
			continue
		}
		switch now := state(i); {
		case !seen:
			seen, first, last = true, now, now
		case now != last:
			changes, last = append(changes, i), now
		}
	}
	return func(i int) bool {
		n, _ := slices.BinarySearch(changes, i+1) // changes up to i
		return first != (n%2 == 1)
	}
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
