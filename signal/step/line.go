package step

import (
	"math"

	"dutybench/signal/stat"
	"dutybench/signal/trace"
)

// Line is who drives the signal wire, as the columns of a trace tell it.
type Line string

// A line carries the command, or the bench has let go of it or holds it.
const (
	Commanded Line = "commanded"
	LineOpen  Line = "open"
	LineLow   Line = "low"
	LineHigh  Line = "high"
)

// LinesOf tells from what was on the wire against what the command would put
// there. law is the duty on the wire for a commanded one, in per cent; nil: the
// same. A trace without line_duty_pct was commanded throughout.
func LinesOf(tr *trace.Trace, law func(duty_pct float64) float64) func(i int) Line {
	wire, duty := tr.Values(trace.ColLineDuty), tr.Duty()
	if wire == nil {
		return func(int) Line { return Commanded }
	}
	if law == nil {
		law = func(d float64) float64 { return d }
	}
	return func(i int) Line {
		switch {
		case math.IsNaN(wire[i]):
			return LineOpen
		case wire[i] <= 0.5 && law(duty[i]) > 1.5:
			return LineLow
		case wire[i] >= 99.5 && law(duty[i]) < 98.5:
			return LineHigh
		}
		return Commanded
	}
}

// Undriven is what the unit drew in each stretch of a second or more in which the
// line carried no valid command and the supply was on, in A; of several, in the
// last. Only the second half of a stretch counts: the first is for the unit to
// make up its mind. Foreign traces rarely have such stretches.
func Undriven(tr *trace.Trace, at func(i int) Line) map[Line]float64 {
	on := tr.Values(trace.ColSupplyOn)
	if on == nil || tr.Values(trace.ColLineDuty) == nil {
		return nil
	}
	drew, x, t := map[Line]float64{}, tr.Current(), tr.Time()
	for i := 0; i < len(x); {
		s, j := at(i), i+1
		for j < len(x) && at(j) == s && on[j] >= 0.5 {
			j++
		}
		if s != Commanded && on[i] >= 0.5 && t[j-1]-t[i] >= 1 {
			drew[s] = stat.Median(x[i+(j-i)/2 : j])
		}
		i = j
	}
	return drew
}

// leastSwing_V is how far the mean level of a driven line moves at least: a tenth
// of the swing of the lowest logic in use, 2.5 V, as ten per cent of duty, the
// least that LineMoves asks for, move it by that (chosen). A line that nothing
// drives may swing by more from one reading to the next, and its median does not.
// With 0.5 V, a 3.3 V line would have to be driven over fifteen per cent.
const leastSwing_V = 0.25

// LineMoves says that the level read on the wire follows what the bench put there,
// while the unit had supply: the command got as far as the plug. Without supply a
// pull-up in the unit is missing, and what moves the level then may be the switch.
func LineMoves(tr *trace.Trace) bool {
	level, duty := tr.Values(trace.ColLine), tr.Duty()
	if level == nil {
		return false
	}
	if wire := tr.Values(trace.ColLineDuty); sampled(wire) {
		duty = wire
	}
	on := SupplyOf(tr)
	read := func(i int) bool { return !math.IsNaN(level[i]) && !math.IsNaN(duty[i]) && on.On(i) }
	least, most := math.Inf(1), math.Inf(-1)
	for i := range level {
		if read(i) {
			least, most = min(least, duty[i]), max(most, duty[i])
		}
	}
	if !(most-least >= 10) {
		return false
	}
	var low, high []float64
	for i := range level {
		switch {
		case !read(i):
		case duty[i] <= least+0.5:
			low = append(low, level[i])
		case duty[i] >= most-0.5:
			high = append(high, level[i])
		}
	}
	a, b := stat.Median(low), stat.Median(high)
	return math.Abs(a-b) > max(leastSwing_V, 0.1*max(math.Abs(a), math.Abs(b)))
}
