package startup

import (
	"math"
	"slices"

	"dutybench/signal/stat"
	"dutybench/signal/step"
	"dutybench/signal/trace"
)

const (
	smooth_s = 0.005 // envelope: over several PWM and commutation periods, well under an attempt
	charge_s = 0.001 // the input capacitor charges at switch-on in less than this
	skip_s   = 0.050 // after switch-on: a charging peak lasts under a millisecond, a board boots in tens
	bridge_s = 0.100 // an open phase leaves gaps of a third of an electrical turn: 67 ms at 5 Hz, where ramps begin
	brief_s  = 0.015 // shorter than this is no attempt: alignment alone takes tens of milliseconds
	hold_s   = 0.050 // a current that stays this long where it should has arrived
	margin   = 0.5   // % of duty above stop that counts as a command to run
)

// The shares of the height of what is looked at that separate turning from
// resting. A start burst of the recordings at hand stands 6.8 times over the
// plateau it ends in; an awake board draws a per cent or two of full current.
const (
	runningShare = 0.02 // of the highest current: less is an awake board
	runsShare    = 0.30 // of what running units draw at a duty: even one that has lost its water draws more there when friction leads
	likeShare    = 1.4  // within this factor of what running units draw: it runs
	awakeShare   = 0.6  // of what running units draw at the lowest duty: less, and for every duty, is an awake board
	flatShare    = 0.25 // of the highest current: a unit that draws one current for every duty, and runs
	burstShare   = 0.20 // of the highest current of the start
	equalShare   = 0.50 // a second burst at least half as high as the first: another attempt
	outShare     = 0.03 // of the time after settling that the current may lie elsewhere
	emptyShare   = 0.30 // of an attempt's height: the current has gone
)

// Find reads the start of the first commanded run in a trace. stop_pct is the
// command at which the unit stands still. expect is the current above rest
// that running units draw at a duty, as a profile has it, NaN where it says
// nothing; nil when there is no profile yet.
func Find(tr *trace.Trace, stop_pct float64, expect func(duty_pct float64) float64) Startup {
	s := Startup{Commanded_s: math.NaN(), Settled_s: math.NaN(), Rest_A: math.NaN()}
	on, cmd, end := commanded(tr, stop_pct)
	if cmd < 0 {
		return s
	}
	t := tr.Time()
	s.Commanded_s = t[cmd]
	e := newEnvelope(tr, on, cmd, end)
	defer e.free()
	s.Rest_A = e.rest
	steps := within(step.Find(tr), cmd, end)
	high := e.quantile(cmd, end, 0.995)
	first := firstRunning(e, steps, high, expect)
	s.Ran = first >= 0
	if !s.Ran {
		s.Attempts = e.attempts(tr, cmd, end, lowState(e, cmd, end))
		return s
	}
	until := steps[first].To
	s.Attempts = e.merge(e.attempts(tr, cmd, until, e.rest), steps[:first+1])
	if len(s.Attempts) == 0 { // so soft a start that no burst stands out
		s.Attempts = []Attempt{e.measure(tr, e.firstAbove(cmd, until), until, e.rest)}
	}
	last := &s.Attempts[len(s.Attempts)-1]
	last.Running = true
	s.Settled_s = settled(e, steps[first], last.Start_s)
	return s
}

// commanded finds the first sample with supply, the first with a command to
// run, and the end of that command. cmd is -1 when nothing was commanded.
func commanded(tr *trace.Trace, stop_pct float64) (on, cmd, end int) {
	duty, supply := tr.Duty(), step.SupplyOf(tr)
	on, cmd = -1, -1
	for i := range duty {
		if !supply.On(i) {
			if cmd >= 0 {
				return on, cmd, i
			}
			continue
		}
		if on < 0 {
			on = i
		}
		run := duty[i] > stop_pct+margin
		if cmd < 0 && run {
			cmd = i
		}
		if cmd >= 0 && !run {
			return on, cmd, i
		}
	}
	return on, cmd, len(duty)
}

func within(steps []step.Step, from, to int) []step.Step {
	var out []step.Step
	for _, s := range steps {
		if s.From >= from && s.To <= to+1 && s.Supply {
			out = append(out, s)
		}
	}
	return out
}

// firstRunning is the first step that a unit runs through; -1 when it never
// ran. A unit that runs draws a steady current in most steps, and more at
// higher duty, or one current that is not small beside the highest. One that
// tries and rests is steady in few steps, and those do not follow the duty: an
// awake board draws the same whatever the duty.
func firstRunning(e *envelope, steps []step.Step, high float64, expect func(float64) float64) int {
	var duty, level []float64
	like := 0                      // steps in which the unit draws what running ones do
	first, least := -1, math.NaN() // least: what good units draw at the lowest of the duties
	for i, s := range steps {
		half := e.thin((s.From+s.To)/2, s.To)
		low, mid := rank(half, 0.25)-e.rest, rank(half, 0.5)-e.rest
		if low < max(8*e.noise, runningShare*(high-e.rest)/8) {
			continue
		}
		good := math.NaN()
		if expect != nil {
			good = expect(s.Duty_pct)
		}
		// A running unit that drops out comes back with bursts.
		steady := rank(half, 0.95)-e.rest <= 3*low || low > good/likeShare && mid < good*likeShare
		if !steady {
			continue
		}
		if first < 0 && !(low < runsShare*good) {
			first = i
		}
		if low >= runsShare*good {
			like++
		}
		if good < least || math.IsNaN(least) {
			least = good
		}
		duty, level = append(duty, s.Duty_pct), append(level, mid)
	}
	if first < 0 || len(level)*2 <= len(steps)-first {
		return -1
	}
	most := slices.Max(level)
	if most < runningShare*(high-e.rest) {
		return -1
	}
	follows := len(level) >= 3 && stat.RankCorrelation(duty, level) > 0.7 && most > 1.3*slices.Min(level)
	alike := len(level) < 3 && 2*like > len(level) // too few steps to follow anything
	if !follows && !alike && (most < flatShare*(high-e.rest) || most < awakeShare*least) {
		return -1
	}
	return first
}

// lowState is the level between attempts of a unit that never ran: awake, or
// asleep.
func lowState(e *envelope, cmd, end int) float64 {
	return max(e.rest, e.quantile(cmd, end, 0.10))
}

// attempts are the bursts of current in samples from..to above low.
func (e *envelope) attempts(tr *trace.Trace, from, to int, low float64) []Attempt {
	high := low
	for _, v := range e.y[from:to] {
		high = max(high, v)
	}
	level := low + max(6*e.noise, burstShare*(high-low))
	if high <= level {
		return nil
	}
	var out []Attempt
	for i := from; i < to; {
		if e.y[i] <= level {
			i++
			continue
		}
		last := i
		for j := i; j < to && e.t[j]-e.t[last] <= bridge_s; j++ {
			if e.y[j] > level {
				last = j
			}
		}
		if e.t[last]-e.t[i] >= brief_s {
			out = append(out, e.measure(tr, i, last+1, low))
		}
		i = last + 1
	}
	return out
}

func (e *envelope) measure(tr *trace.Trace, from, to int, low float64) Attempt {
	x := tr.Current()[min(max(from, e.charged), to-1):to]
	interval := 0.0 // for which the last sample stands
	if r := tr.Rate(); r > 0 {
		interval = 1 / r
	}
	a := Attempt{Start_s: e.t[from], Length_s: e.t[to-1] - e.t[from] + interval, Mean_A: stat.Mean(x), Peak_A: slices.Max(x)}
	// Gaps can be told where an electrical turn at the start of a ramp, about
	// 5 Hz, holds dozens of samples.
	a.Empty = math.NaN()
	if tr.Rate() >= 200 {
		e.scratch = thin(e.scratch[:0], x)
		gone := low + max(emptyShare*(rank(e.scratch, 0.9)-low), 3*e.noise*math.Sqrt(float64(e.window)))
		n := 0
		for _, v := range x {
			if v < gone {
				n++
			}
		}
		a.Empty = float64(n) / float64(len(x))
	}
	return a
}

// merge drops bursts that are a running unit speeding up after a step of
// duty: they follow the step at once, and the current before them had not
// gone back to rest. Bursts after the unit has once run for half of a step
// are no attempts either. The last of the steps is the first that it ran
// through.
func (e *envelope) merge(a []Attempt, steps []step.Step) []Attempt {
	if len(a) == 0 {
		return a
	}
	out := a[:1]
	height := a[0].Peak_A - e.rest
	for _, b := range a[1:] {
		prev := out[len(out)-1]
		switch {
		case b.Peak_A-e.rest < equalShare*height,
			followsStep(e.t, steps, b.Start_s) && e.lowest(prev.Start_s+prev.Length_s, b.Start_s) > e.rest+4*e.noise,
			e.ranBefore(steps[len(steps)-1], b.Start_s):
			continue
		}
		height = max(height, b.Peak_A-e.rest)
		out = append(out, b)
	}
	return out
}

// ranBefore says that the unit ran for half of a step before an instant: it
// drew at least half of what it draws at the end.
func (e *envelope) ranBefore(s step.Step, at_s float64) bool {
	from, end := e.t[s.From], e.t[s.To-1]
	if at_s-from < (end-from)/2 {
		return false
	}
	half := e.rest + (e.quantile((s.From+s.To)/2, s.To, 0.5)-e.rest)/2
	var ran float64
	for i := s.From + 1; i < s.To && e.t[i] < at_s; i++ {
		if e.y[i] > half {
			ran += e.t[i] - e.t[i-1]
		}
	}
	return ran >= (end-from)/2
}

func followsStep(t []float64, steps []step.Step, at_s float64) bool {
	for _, s := range steps[1:] {
		if d := at_s - t[s.From]; d > -0.02 && d < 0.3 {
			return true
		}
	}
	return false
}

// settled is the instant from which the current lies where it lies in the last
// tenth of the step (30 samples at least, where it has them): within a tenth
// of the level there, or three times as far out as eight of ten samples lie
// (four deviations of normal noise). It need not lie there always: a drop-out
// later in the step is no settling.
func settled(e *envelope, s step.Step, start_s float64) float64 {
	n := s.To - s.From
	tail := e.thin(s.To-max(n/10, min(n/4, 30), 1), s.To)
	mid := rank(tail, 0.5)
	near := 0.1 * math.Abs(mid-e.rest)
	lo, hi := mid-max(near, 3*(mid-rank(tail, 0.1))), mid+max(near, 3*(rank(tail, 0.9)-mid))
	away := func(i int) bool { return e.y[i] < lo || e.y[i] > hi }
	start, _ := slices.BinarySearch(e.t, start_s)
	// The longest rest of the step in which hardly anything is out ...
	out, first := 0, s.To-1
	for i := s.To - 1; i >= start; i-- {
		if away(i) {
			out++
		}
		if float64(out) <= outShare*float64(s.To-i) {
			first = i
		}
	}
	// ... and in it, where the current first stays in.
	in := first
	for i := first; i < s.To && e.t[i] < e.t[in]+hold_s; i++ {
		if away(i) {
			in = min(i+1, s.To-1)
		}
	}
	return e.t[in]
}
