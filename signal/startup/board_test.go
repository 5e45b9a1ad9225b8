package startup

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"dutybench/signal/trace"
)

// try is one attempt of a made board: half a step of alignment, then the field
// turns faster and faster. Steps without current are empty to a depth.
type try struct {
	start_s, long_s, level_A float64
	from_Hz, to_Hz           float64 // electrical, along the ramp
	empty                    []int   // of the six commutation steps
	depth                    float64
}

var (
	openPhase  = []int{0, 1, 3, 4} // steps AB AC BC BA CA CB with phase A open
	deadSwitch = []int{0, 1}       // the upper switch of phase A
	oneOfThree = []int{2, 5}
)

// align is the part of a try in which one step is driven.
const align = 0.15

func (b try) current(t_s float64) float64 {
	d := t_s - b.start_s
	if d < 0 || d >= b.long_s {
		return 0
	}
	if d -= align * b.long_s; d < 0 {
		return b.level_A
	}
	turns := b.from_Hz*d + (b.to_Hz-b.from_Hz)*d*d/(2*b.long_s*(1-align))
	for _, s := range b.empty {
		if int(6*turns)%6 == s {
			return b.level_A * (1 - b.depth)
		}
	}
	return b.level_A
}

// board is a made unit that only tries, on a bench that takes the mean over
// each sampling interval, behind a first-order filter.
type board struct {
	rate, long_s       float64
	command_s, stop_s  float64 // the run
	rest_A, noise_A    float64
	tau_s              float64
	tries              []try
	runs_s, run_A      float64 // from when it runs, and what it then draws
	run0_A, startRun_s float64 // at first, and for how long
}

func tries(n int, long_s, level_A float64, rests ...float64) (out []try) {
	at := 1.8
	for i := range n {
		out = append(out, try{start_s: at, long_s: long_s, level_A: level_A, from_Hz: 5, to_Hz: 40})
		if len(rests) > 0 {
			at += long_s + rests[min(i, len(rests)-1)]
		}
	}
	return out
}

func stuck(rate float64, t []try) board {
	return board{rate: rate, long_s: 20, command_s: 1.5, stop_s: 19, rest_A: 0.012, noise_A: 0.02, tries: t, runs_s: math.Inf(1), run_A: 0.8, run0_A: 3, startRun_s: 0.6}
}

func (u board) draws(t_s float64) float64 {
	x := u.rest_A
	for _, b := range u.tries {
		x += b.current(t_s)
	}
	if t_s >= u.runs_s && t_s < u.stop_s {
		if t_s < u.runs_s+u.startRun_s {
			x += u.run0_A
		} else {
			x += u.run_A
		}
	}
	return x
}

func (u board) trace(seed uint64) *trace.Trace {
	r := rand.New(rand.NewPCG(seed, 11))
	n, over := int(u.rate*u.long_s), max(1, int(4000/u.rate))
	t, duty, x := make([]float64, n), make([]float64, n), make([]float64, n)
	dt := 1 / (u.rate * float64(over))
	y, keep := u.rest_A, 0.0
	if u.tau_s > 0 {
		keep = math.Exp(-dt / u.tau_s)
	}
	for i := range t {
		t[i] = float64(i) / u.rate
		if t[i] >= u.command_s && t[i] < u.stop_s {
			duty[i] = 40
		}
		for k := range over {
			y += (u.draws(t[i]+float64(k)*dt) - y) * (1 - keep)
			x[i] += y / float64(over)
		}
		x[i] += u.noise_A * r.NormFloat64()
	}
	return &trace.Trace{Source: "made", Columns: []trace.Column{
		{Name: trace.ColTime, Values: t}, {Name: trace.ColDuty, Values: duty}, {Name: trace.ColCurrent, Values: x}}}
}

// seen is the pattern of a made unit; the attempts that were made must be found.
func (u board) seen(t *testing.T, seed uint64) (Pattern, Startup) {
	t.Helper()
	tr := u.trace(seed)
	s := Find(tr, 0, nil)
	n := len(u.tries)
	if !math.IsInf(u.runs_s, 1) {
		n++
	}
	require.Len(t, s.Attempts, n)
	require.Equal(t, !math.IsInf(u.runs_s, 1), s.Ran)
	return Describe(tr, s), s
}

// sampled are the rates that a bench may have, and how many seeds a test can
// afford at each.
var sampled = []struct {
	rate  float64
	seeds uint64
}{{100, 4}, {500, 4}, {2000, 2}, {20000, 1}}
