// Package step finds the steps of a trace from its duty column and, within
// each, the settled plateau with its mean current. A plan is not needed: the
// columns are all it looks at.
package step

import (
	"math"
	"slices"

	"dutybench/signal/trace"
)

// Step is a stretch of constant command, samples From up to but not
// including To.
type Step struct {
	From, To int
	Duty_pct float64
	// Supply is false when the supply_on column says off.
	Supply bool
	// Up says that the duty before was lower; the first step counts as up.
	Up bool
}

// Limits of what counts as a step. A shorter stretch is part of a change of
// duty, by hand or by ramp: the slowest settling that a plateau must outlast
// is that of the rotor, tenths of a second (recordings of a pump-sized rotor
// settle in 0.2 s).
const (
	shortest_s       = 0.15
	shortestSamples  = 5
	duty_pct         = 0.25 // half of the finest step of a command with 0.5 % resolution
	mostPerMeasuring = 3.0  // noise widths that a measured duty may stray
)

// Find splits a trace at every change of duty or of supply. Stretches too
// short to hold a plateau are left out.
func Find(tr *trace.Trace) []Step {
	t, duty := tr.Time(), tr.Duty()
	on := Energised(tr)
	tol := tolerance(duty)
	var steps []Step
	last := math.Inf(-1)
	for from := 0; from < len(duty); {
		to := from + 1
		sum := duty[from]
		for to < len(duty) && math.Abs(duty[to]-sum/float64(to-from)) <= tol && on(to) == on(from) {
			sum += duty[to]
			to++
		}
		if to-from >= shortestSamples && t[to-1]-t[from] >= shortest_s {
			d := sum / float64(to-from)
			steps = append(steps, Step{From: from, To: to, Duty_pct: d, Supply: on(from), Up: d >= last})
			last = d
		}
		from = to
	}
	return steps
}

// tolerance is how far a duty may stray and still be the same step: a quarter
// of a per cent for a command, more where the duty column was itself measured
// and is noisy.
func tolerance(duty []float64) float64 {
	var moves []float64
	stride := max(1, len(duty)/20000)
	for i := stride; i < len(duty); i += stride {
		if d := math.Abs(duty[i] - duty[i-stride]); d > 0 {
			moves = append(moves, d)
		}
	}
	// A commanded duty moves only at a step; one that moves at most samples
	// is measured.
	if len(moves)*4 < len(duty)/stride {
		return duty_pct
	}
	slices.Sort(moves)
	return max(duty_pct, mostPerMeasuring*moves[len(moves)/2])
}

// Energised tells whether the unit had supply at a sample: by supply_on, else
// by the voltage at the plug, else always, as a bench that records neither
// does not switch. A plug below three tenths of its highest voltage while next
// to no current flows is off; one that is pulled down by a current is not.
func Energised(tr *trace.Trace) func(i int) bool {
	if on := tr.Values(trace.ColSupplyOn); on != nil {
		return func(i int) bool { return !(on[i] < 0.5) }
	}
	v, x := tr.Values(trace.ColSupply), tr.Current()
	if v == nil {
		return func(int) bool { return true }
	}
	var high, top float64
	for i := range v {
		if v[i] > high {
			high = v[i]
		}
		top = max(top, x[i])
	}
	last, seen := false, make([]bool, len(v))
	for i := range v {
		if !math.IsNaN(v[i]) {
			last = v[i] > 0.3*high || x[i] > 0.05*top
		}
		seen[i] = last
	}
	return func(i int) bool { return seen[i] }
}
