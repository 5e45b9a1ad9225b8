// Package step finds the steps of a trace from its duty column and, within
// each, the settled plateau with its mean current. A plan is not needed: the
// columns are all it looks at.
package step

import (
	"math"

	"dutybench/signal/stat"
	"dutybench/signal/trace"
)

// Step is a stretch of constant command, samples From up to but not
// including To.
type Step struct {
	From, To int
	Duty_pct float64
	// Supply is false when the unit had none; see Energised.
	Supply bool
	// Up says that the duty was reached from a lower one, or from no supply;
	// the first step counts as up.
	Up bool
}

// Limits of what counts as a step. A shorter stretch is part of a change of
// duty, by hand or by ramp: the slowest settling that a plateau must outlast
// is that of the rotor, tenths of a second (recordings of a pump-sized rotor
// settle in 0.2 s).
const (
	// Shortest_s is the shortest step, in seconds.
	Shortest_s      = 0.15
	shortestSamples = 5
	duty_pct        = 0.25 // half of the finest step of a command with 0.5 % resolution
	strays          = 3    // noise widths that a measured duty may stray
	strayInARow     = 3    // samples beyond that, all on one side, which end a step: 1 in 10⁸ by chance
	anchorSamples   = 16   // of a measured duty that give a step's level to a quarter of the noise
)

// Find splits a trace at every change of duty or of supply. Stretches too
// short to hold a plateau are left out, and so is a ramp, unless it is so
// slow (under 1.7 % a second for a command) that the duty is constant to an
// eighth of a per cent for the shortest step.
func Find(tr *trace.Trace) []Step {
	t, duty := tr.Time(), tr.Duty()
	supply := SupplyOf(tr)
	tol, measured := tolerance(duty)
	var steps []Step
	last := Step{Duty_pct: math.Inf(-1), Up: true}
	for i := 0; i < len(duty); {
		end, flat := stretch(duty, supply, i, tol, measured)
		s := Step{From: i, To: end, Supply: supply.On(i)}
		i = end
		if !measured {
			s = trimmed(s, duty, tol/2)
		}
		if s.To-s.From < shortestSamples || t[s.To-1]-t[s.From] < Shortest_s || measured && ramp(duty[s.From:s.To], tol/2) {
			continue
		}
		s.Duty_pct = duty[s.From]
		if !flat || !exact(s.Duty_pct, s.To-s.From) {
			s.Duty_pct = stat.Mean(duty[s.From:s.To])
		}
		switch {
		case s.Supply && !last.Supply:
			s.Up = true
		case math.Abs(s.Duty_pct-last.Duty_pct) <= tol:
			s.Up = last.Up // the same step, interrupted
		default:
			s.Up = s.Duty_pct > last.Duty_pct
		}
		steps = append(steps, s)
		last = s
	}
	return steps
}

// stretch is where the samples end that lie within tol of the level at from,
// under the same supply. A commanded duty ends it with the first sample that
// does not; a measured one with the first of several. flat says that all of a
// commanded duty's samples are equal.
func stretch(duty []float64, supply Supply, from int, tol float64, measured bool) (end int, flat bool) {
	if measured {
		return measuredStretch(duty, supply, from, tol), false
	}
	level, live := duty[from], supply.On(from)
	flat = true
	for i, d := range duty[from+1:] {
		if d != level {
			if d > level+tol || d < level-tol {
				return from + 1 + i, flat
			}
			flat = false
		}
		if supply.On(from+1+i) != live {
			return from + 1 + i, flat
		}
	}
	return len(duty), flat
}

// exact says that the mean of n samples of this duty is the duty to the last
// bit: a sum of n multiples of 2⁻²⁰ up to 128 needs no rounding.
func exact(duty_pct float64, n int) bool {
	const parts = 1 << 20
	return !math.Signbit(duty_pct) && duty_pct <= 128 && n <= 1<<25 && duty_pct*parts == math.Trunc(duty_pct*parts)
}

func measuredStretch(duty []float64, supply Supply, from int, tol float64) int {
	level, live := duty[from], supply.On(from)
	sum, n := level, 1
	above, below := 0, 0
	for i := from + 1; i < len(duty); i++ {
		if supply.On(i) != live {
			return i
		}
		d := duty[i]
		switch {
		case d > level+tol:
			above, below = above+1, 0
		case d < level-tol:
			above, below = 0, below+1
		default:
			above, below = 0, 0
			if n < anchorSamples {
				sum += d
				n++
				level = sum / float64(n)
			}
			continue
		}
		if n := max(above, below); n >= strayInARow {
			return i + 1 - n
		}
	}
	return len(duty)
}

// trimmed takes the ends of ramps off a stretch: samples at either end that
// lie further than near from its middle.
func trimmed(s Step, duty []float64, near float64) Step {
	mid := duty[(s.From+s.To)/2]
	for s.From < s.To && math.Abs(duty[s.From]-mid) > near {
		s.From++
	}
	for s.To > s.From && math.Abs(duty[s.To-1]-mid) > near {
		s.To--
	}
	return s
}

// ramp says that a measured duty moves by more than far from the first third
// of a stretch to the last.
func ramp(duty []float64, far float64) bool {
	third := len(duty) / 3
	return math.Abs(stat.Mean(duty[len(duty)-third:])-stat.Mean(duty[:third])) > far
}

// tolerance is how far a duty may stray and still be the same step: a quarter
// of a per cent for a command, more where the duty column was itself measured
// and is noisy.
func tolerance(duty []float64) (tol float64, measured bool) {
	// Half the second difference: nothing on a ramp. Of independent noise
	// with deviation 1 its median magnitude is 0.6745·√1.5.
	const width = 1 / (0.6745 * 1.2247)
	stride := max(1, len(duty)/20000)
	moves := make([]float64, 0, 64)
	looked := 0
	for i := 2 * stride; i < len(duty); i += stride {
		looked++
		if d := math.Abs(duty[i-stride] - (duty[i-2*stride]+duty[i])/2); d > 0 {
			moves = append(moves, d)
		}
	}
	// A commanded duty moves only at a step; one that moves at most samples
	// is measured.
	if len(moves)*4 < looked || len(moves) < shortestSamples {
		return duty_pct, false
	}
	tol = strays * width * stat.Select(moves, len(moves)/2)
	return max(duty_pct, tol), tol > duty_pct/5
}
