package positioner

import (
	"fmt"
	"math"
	"slices"

	"dutybench/bench/kind"
	"dutybench/bench/kind/weigh"
	"dutybench/profiles"
	"dutybench/signal/stat"
	"dutybench/signal/step"
	"dutybench/signal/trace"
	"dutybench/signal/travel"
)

// Names of a positioner's measurements. Positions are per cent of the travel by
// the profile's law; currents but the first are above it.
const (
	Quiet         = "quiet_current"
	Holding       = "holding_current" // standing away from the ends
	MovingUp      = "moving_current_up"
	MovingDown    = "moving_current_down"
	StopCurrent   = "stop_current" // while it pushes and does not move
	LowEnd        = "low_end"
	HighEnd       = "high_end"
	Travel        = "travel"
	Gain          = "gain"
	Offset        = "offset"
	Linearity     = "linearity"
	Hysteresis    = "hysteresis"
	DeadBand      = "dead_band"
	SpeedUp       = "speed_up"
	SpeedDown     = "speed_down"
	Response      = "response"
	ReversalDelay = "reversal_delay"
	Overshoot     = "overshoot"
	Settling      = "settling"
	StrokeBinding = "stroke_binding" // current at one place over that around it
	StepWork      = "step_work"      // charge of one slow step over that of the others
	SlowPlace     = "slowest_place"  // speed there over that along the way
	IdlePush      = "push_without_motion"
	PressLow      = "press_low_end"
	PressHigh     = "press_high_end"
	Noise         = "feedback_noise"
	TrackNoise    = "track_noise"
	Jumps         = "feedback_jumps"
	Creep         = "creep"
	SupplyDrop    = "supply_drop"
	SupplyFold    = "supply_fold"
)

// detail is what Assess needs beyond named values.
type detail struct {
	section  Section
	read     reading
	told     bool // there is a column of the position
	samples  travel.Samples
	steps    []step.Step
	lapses   []lapse
	moves    []travel.Move
	noise    float64 // standard deviation of a reading, %
	least    float64 // way from which on it counts as moved, %
	quiet    float64 // A; NaN when not measured
	moving   float64 // A above quiet, typical of this unit or of good ones
	ofGood   bool    // moving is that of good units
	binding  float64 // place of the highest current, %
	noisy    float64 // place of the highest track noise, %
	jumpAt   float64 // place of the first jump, %
	lone     float64 // share of the jumps that do not come back
	slowAt   float64 // place at which it is slowest, %
	slow_A   float64 // what it draws there, over what it draws along the way
	pushed_s float64 // longest push without motion anywhere
	told_s   float64 // the same, where a command had asked for motion; NaN: not measured
	along    []along
	clamped  float64 // see supply.go
	peak_A   float64 // highest mean over 20 ms
}

// along is the current along one stroke, for the view.
type along struct {
	up   bool
	bins travel.Along
}

const noPosition = "the trace holds no position"

// Measure takes from a trace what a positioner shows.
func (Kind) Measure(tr *trace.Trace, p *profiles.Profile) (*kind.Measured, error) {
	if tr.Len() == 0 {
		return nil, fmt.Errorf("positioner: %s holds no sample: record the test again", tr.Source)
	}
	tr = supplied(tr)
	nan := math.NaN()
	m := &kind.Measured{Trace: tr}
	m.Startup.Settled_s, m.Startup.Commanded_s = nan, nan
	d := &detail{section: sectionOf(p), noise: nan, quiet: nan, moving: nan, binding: nan, noisy: nan, jumpAt: nan, slowAt: nan, slow_A: nan, told_s: nan, clamped: nan, peak_A: nan}
	m.Detail = d
	d.steps, d.lapses = cut(tr, p)
	if d.read, d.told = readPosition(tr, p); d.told {
		on := step.SupplyOf(tr)
		held := slices.Clone(d.read.place)
		for i := range held {
			if !on.On(i) { // an output without supply says nothing
				held[i] = nan
			}
		}
		d.samples = travel.Of(tr.Time(), held)
		d.noise = travel.Noise(d.samples, d.steps, tr.Time())
		if d.read.unscaled {
			m.Warnings = append(m.Warnings, "neither trace nor profile say what the position's voltage means: 0 to 5 V are read as 0 to 100 %")
		}
	}
	// A way counts from five standard deviations of a median of ten readings,
	// which a scatter makes once in a million, and from a step and a half of the
	// converter on.
	d.least = max(5*orZero(d.noise)*1.25/math.Sqrt(10), 1.5*d.read.step, 0.05)
	d.moves = whole(travel.Moves(tr, d.samples, d.steps, d.least), tr.Len())
	d.measureQuiet(m)
	d.measureSweep(tr, m)
	d.measureStrokes(tr, p, m)
	d.measureSmall(m)
	d.measurePushing(tr, p, m)
	d.measureTrack(m)
	d.measureSupply(tr, m)
	d.measureMissing(tr, p, m)
	d.surroundings(tr, m)
	weigh.Gains(tr, m)
	positionGain(tr, p, m)
	return m, nil
}

// whole leaves out a last step that the end of the recording cuts short of what
// most of the others last: the unit may still be on its way.
func whole(moves []travel.Move, end int) []travel.Move {
	var long []float64
	for _, x := range moves {
		long = append(long, x.End_s-x.Start_s)
	}
	if n := len(moves) - 1; n > 1 && moves[n].To == end && long[n] < stat.Median(long) {
		return moves[:n]
	}
	return moves
}

// positionGain adds to positions what the bench says of its voltages: it turns
// the places about 0 V.
func positionGain(tr *trace.Trace, p *profiles.Profile, m *kind.Measured) {
	g, ok := tr.Number(trace.KeyVoltageGainU)
	if !ok || p == nil || p.Position.By != profiles.ByVoltage || p.Position.At0 == p.Position.At100 {
		return
	}
	zero := 100 * p.Position.At0 / (p.Position.At100 - p.Position.At0) // of 0 V, below 0 %
	for _, n := range []string{LowEnd, HighEnd, Offset} {
		if v := m.Get(n); v != nil && v.Missing == "" {
			at := v.Q.Value
			if n == Offset {
				at += 50
			}
			v.Q = weigh.WithBench(v.Q, "converter and divider of the voltage", g*math.Abs(at+zero))
		}
	}
	for _, n := range []string{Travel, Gain} {
		if v := m.Get(n); v != nil && v.Missing == "" {
			v.Q = weigh.WithBench(v.Q, "converter and divider of the voltage", g*math.Abs(v.Q.Value))
		}
	}
}

func add(m *kind.Measured, name, unit string, q stat.Quantity) {
	if math.IsNaN(q.Value) || math.IsInf(q.Value, 0) {
		miss(m, name, unit, "what was read makes no number")
		return
	}
	m.Values = append(m.Values, kind.Value{Name: name, Unit: unit, Q: q})
}

func miss(m *kind.Measured, name, unit, why string) {
	m.Values = append(m.Values, kind.Value{Name: name, Unit: unit, Missing: why})
}

func orZero(x float64) float64 {
	if math.IsNaN(x) {
		return 0
	}
	return x
}

// asked is what a move was asked for, and by how much that was new.
func (d *detail) asked(m travel.Move) (place, by float64) {
	return d.section.asked(m.Duty_pct), d.section.asked(m.Duty_pct) - d.section.asked(m.Before_pct)
}

// Kinds of step, by how far they ask.
const (
	smallStep = 2.0  // %
	longStep  = 40.0 // %
	nearEnd   = 2.0  // %: asked for an end
)

// inside says that a place lies away from both ends.
func inside(place float64) bool { return place > nearEnd && place < 100-nearEnd }

// measureQuiet takes the current of a unit that stands: the tenth part of the
// steps that drew least, as others hold a spring or push.
func (d *detail) measureQuiet(m *kind.Measured) {
	list := slices.Clone(d.moves)
	list = slices.DeleteFunc(list, func(x travel.Move) bool { return math.IsNaN(x.Standing_A) })
	if len(list) == 0 {
		miss(m, Quiet, "A", "no steady command with supply")
		return
	}
	slices.SortFunc(list, func(a, b travel.Move) int {
		switch {
		case a.Standing_A < b.Standing_A:
			return -1
		case a.Standing_A > b.Standing_A:
			return 1
		}
		return 0
	})
	low := list[len(list)/10]
	d.quiet = low.Standing_A
	res := 0.0
	if c := m.Trace.Column(trace.ColCurrent); c != nil {
		res = c.Resolution
	}
	add(m, Quiet, "A", stat.Quantity{Value: low.Standing_A}.With("noise", low.StandU_A, 0).With("resolution", res/math.Sqrt(12)/math.Sqrt(10), 0))
}

// surroundings is the supply that it was tested at.
func (d *detail) surroundings(tr *trace.Trace, m *kind.Measured) {
	v, on := tr.Values(trace.ColSupply), step.SupplyOf(tr)
	var all []float64
	for i, x := range v {
		if !math.IsNaN(x) && on.On(i) {
			all = append(all, x)
		}
	}
	if len(all) == 0 {
		miss(m, kind.SupplyVoltage, "V", "the supply at the plug was not sampled")
		return
	}
	add(m, kind.SupplyVoltage, "V", stat.Quantity{Value: stat.MedianInPlace(all)})
}
