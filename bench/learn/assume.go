package learn

import (
	"math"

	"dutybench/bench/kind"
	"dutybench/profiles"
	"dutybench/signal/stat"
	steps "dutybench/signal/step"
	"dutybench/signal/trace"
)

// highest_A is the highest current in any of the traces, in A.
func highest_A(traces []*trace.Trace) float64 {
	high := 0.0
	for _, tr := range traces {
		for _, x := range tr.Current() {
			high = max(high, x)
		}
	}
	return high
}

// assumePosition fills how a unit tells where it stands, as far as a trace of one
// shows it: by what its voltages stood for, or by the voltages that it had at the
// ends of its travel. Where only per cent are there they are taken as they are.
func assumePosition(p *profiles.Profile, tr *trace.Trace) {
	volts, pct := tr.Values(trace.ColPositionV), tr.Values(trace.ColPosition)
	at0, at100 := 0.0, 100.0
	switch {
	case len(volts) > 0:
		at0, at100 = endVolts(volts, scaleOf(pct, tr.Duty()))
		p.Position = profiles.Position{By: profiles.ByVoltage}
	case len(pct) > 0:
		p.Position = profiles.Position{By: profiles.ByPWM}
	default:
		return
	}
	if at0 == at100 || math.IsNaN(at0) || math.IsNaN(at100) || min(at0, at100) < 0 {
		p.Position = profiles.Position{} // it never moved, or nothing tells what the voltage means
		return
	}
	p.Position.At0, p.Position.At100 = round(at0, 4), round(at100, 4)
}

// scaleOf is what voltages are held against: the position that they were read as,
// else the command.
func scaleOf(pct, duty []float64) []float64 {
	if len(pct) > 0 {
		return pct
	}
	return duty
}

// endVolts are the voltages at 0 and at 100 % by the straight line through what was
// read at the lowest and the highest of a scale: medians of the ten per cent at
// each end, so that what was read on the way there counts little.
func endVolts(volts, scale []float64) (at0, at100 float64) {
	low, high := math.Inf(1), math.Inf(-1)
	read := func(i int) bool { return i < len(scale) && !math.IsNaN(volts[i]) && !math.IsNaN(scale[i]) }
	for i := range volts {
		if read(i) {
			low, high = min(low, scale[i]), max(high, scale[i])
		}
	}
	if !(high-low > 10) {
		return math.NaN(), math.NaN()
	}
	var ends [2][]float64
	var places [2][]float64
	for i := range volts {
		if !read(i) {
			continue
		}
		for e, near := range []bool{scale[i] <= low+0.1*(high-low), scale[i] >= high-0.1*(high-low)} {
			if near {
				ends[e], places[e] = append(ends[e], volts[i]), append(places[e], scale[i])
			}
		}
	}
	x0, x1 := stat.Median(places[0]), stat.Median(places[1])
	y0, y1 := stat.Median(ends[0]), stat.Median(ends[1])
	slope := (y1 - y0) / (x1 - x0)
	return y0 - slope*x0, y0 + slope*(100-x0)
}

// assumedSection is a kind's section of which nothing is known but the command.
func assumedSection(k kind.Kind, c profiles.Command) any {
	s := k.Section()
	if u, ok := s.(interface{ Unknown() }); ok {
		u.Unknown()
	}
	if a, ok := s.(interface{ Assume(profiles.Command) }); ok {
		a.Assume(c)
	}
	return s
}

// commandEnds are the commands of stop and of full, in per cent, as far as traces
// show them: the resting duty and 100, and of units that tell where they stand the
// lowest and the highest that they were sent to.
func commandEnds(traces []*trace.Trace) (stop, full float64) {
	low, high := math.Inf(1), math.Inf(-1)
	for _, tr := range traces {
		if len(tr.Values(trace.ColPositionV)) == 0 && len(tr.Values(trace.ColPosition)) == 0 {
			return restingDuty(traces), 100
		}
		on, duty := steps.Energised(tr), tr.Duty()
		for i, d := range duty {
			if on(i) {
				low, high = min(low, d), max(high, d)
			}
		}
	}
	if !(high > low+1) {
		return restingDuty(traces), 100
	}
	return low, high
}
