package positioner

import (
	"math"
	"slices"
	"strings"

	"dutybench/bench/kind"
	"dutybench/bench/kind/weigh"
	"dutybench/profiles"
	"dutybench/signal/stat"
	"dutybench/signal/step"
	"dutybench/signal/trace"
)

// How far a unit got.
const (
	idle      = "never commanded"
	unpowered = "no supply"
	shorted   = "short"
	silent    = "no current"
	still     = "does not follow"
	pushing   = "current and no motion"
	blind     = "no position"
	untold    = "position not recorded"
	sagged    = "supply too low"
	ran       = "ran"
)

// facts are what the state rests on.
type facts struct {
	state    string
	charged  bool // the input capacitor took its charge at switch-on
	drives   bool // current came with commands
	line     bool // levels on the line followed the command
	lowTrip  bool // the guard cut for too low a supply
	stalled  bool // the guard cut for standing still under current
	pushes   bool // current flowed where it was told to move and did not
	commands float64
}

// state says how far the unit got.
func (d *detail) state(m *kind.Measured, p *profiles.Profile) (f facts) {
	tr := m.Trace
	ended, _ := tr.Get(trace.KeyEnded)
	trip := strings.ToLower(ended)
	f.lowTrip, f.stalled = strings.HasPrefix(trip, "supply too low"), strings.HasPrefix(trip, "stalled")
	f.line = step.LineMoves(tr)
	scatter := restNoise(tr)
	good := stat.Mean(append(weigh.Values(p, MovingUp), weigh.Values(p, MovingDown)...))
	quiet := stat.Mean(weigh.Values(p, Quiet))
	// What charges an input is far above what a board takes then (chosen: half of
	// it more, and out of the highest of thirty milliseconds' scatter, five
	// standard deviations with one for its unsureness).
	f.charged = charge(tr) > max(8*scatter, 0.5*orZero(quiet))
	switch {
	case good > 0:
		f.drives = d.peak_A-orZero(d.quiet) > pushes*good
	default:
		f.drives = d.peak_A-orZero(d.quiet) > max(10*scatter, 0.5*orZero(d.quiet))
	}
	// Starting against friction takes less than this; where it could not be
	// measured, any current counts.
	f.pushes = f.stalled || d.told_s > push_s || math.IsNaN(d.told_s) && f.drives
	lowest, highest := math.Inf(1), math.Inf(-1) // of the commands
	for _, x := range d.moves {
		place, _ := d.asked(x)
		lowest, highest = min(lowest, place), max(highest, place)
	}
	f.commands = highest - lowest
	f.state = d.stateOf(m, p, f, quiet, scatter)
	return f
}

func (d *detail) stateOf(m *kind.Measured, p *profiles.Profile, f facts, quiet, scatter float64) string {
	if weigh.Tripped(m.Trace) {
		return shorted
	}
	if f.lowTrip {
		return sagged
	}
	if top := highestVolt(m.Trace); p.Supply.Nominal_V > 0 && top < 0.3*p.Supply.Nominal_V && !f.drives {
		return unpowered
	}
	moved := d.range_pct()
	still_A := d.quiet
	if math.IsNaN(still_A) {
		still_A = 0
	}
	switch {
	case !f.drives && (quiet > 0 && still_A < 0.3*quiet || !(quiet > 0) && still_A < 3*scatter):
		return silent
	case !d.told:
		return untold
	case len(d.moves) < 2 || !(f.commands > 2*smallStep):
		return idle
	case d.noSignal(p):
		return blind
	// What stands moves a tenth of what it is asked to at most: a flap between
	// two obstacles, or the give of a gear.
	case moved < max(0.1*f.commands, 3*d.least) && f.pushes:
		return pushing
	case moved < max(0.1*f.commands, 3*d.least):
		return still
	}
	return ran
}

// range_pct is how far the places at which it stood lie apart.
func (d *detail) range_pct() float64 {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, x := range d.moves {
		if !math.IsNaN(x.Reached_pct) {
			lo, hi = min(lo, x.Reached_pct), max(hi, x.Reached_pct)
		}
	}
	return max(0, hi-lo)
}

// noSignal says that the position lies where no unit can stand, nearly always: a
// wire without a voltage reads as far below the lower stop as its law has 0 V, one
// at the supply as far above.
func (d *detail) noSignal(p *profiles.Profile) bool {
	if d.samples.Len() < 10 {
		return true
	}
	low, high := -8.0, 108.0 // chosen: stops lie within a few per cent of the command's ends, and a wire without a voltage reads some 12 % beyond where the law leaves a tenth of its span free
	// Beyond good units' ends by 5 % (chosen: half of that free tenth, and more than
	// a stop gives).
	if good := weigh.Values(p, LowEnd); len(good) > 0 {
		low = slices.Min(good) - 5
	}
	if good := weigh.Values(p, HighEnd); len(good) > 0 {
		high = slices.Max(good) + 5
	}
	if a, b := d.section.span(p); d.section.Stops != stopsReached {
		low, high = min(low, a-5), max(high, b+5)
	}
	n := 0
	for _, x := range d.samples.P_pct {
		if x < low || x > high {
			n++
		}
	}
	return n > d.samples.Len()*9/10
}

// restNoise is the scatter of the current without supply, else of the quietest
// part of the trace.
func restNoise(tr *trace.Trace) float64 {
	on, amps := step.SupplyOf(tr), tr.Current()
	var off []float64
	for i, x := range amps {
		if !on.On(i) {
			off = append(off, x)
		}
	}
	if len(off) < 20 {
		off = amps[:min(len(amps), 100)]
	}
	// Means of a converter's steps may be all alike but for a few.
	return max(stat.RobustSD(off), stat.SD(off)/2, resolution(tr, trace.ColCurrent)/math.Sqrt(12), 1e-5)
}

// charge is the highest current in the first hundredths of a second with supply,
// above what follows.
func charge(tr *trace.Trace) float64 {
	on, amps, t := step.SupplyOf(tr), tr.Current(), tr.Time()
	for i := range amps {
		if !on.On(i) {
			continue
		}
		if i == 0 {
			return 0 // the switching is not in the trace
		}
		j := i
		top := math.Inf(-1)
		for ; j < len(t) && t[j]-t[i] < 0.03; j++ {
			top = max(top, amps[j])
		}
		after := amps[j:min(len(amps), j+20)]
		if len(after) == 0 {
			return 0
		}
		return top - stat.Median(after)
	}
	return 0
}

func highestVolt(tr *trace.Trace) float64 {
	v, on := tr.Values(trace.ColSupply), step.SupplyOf(tr)
	top := math.NaN()
	for i, x := range v {
		if on.On(i) && !math.IsNaN(x) && !(x <= top) {
			top = x
		}
	}
	return top
}
