package fan

import (
	"math"
	"slices"

	"dutybench/profiles"
	"dutybench/signal/stat"
	"dutybench/signal/trace"
)

// line is who drives the signal wire, as the columns tell it.
type line string

const (
	commanded line = ""
	open      line = "open"
	low       line = "low"
	high      line = "high"
)

// lines tells from what was on the wire against what the command would put
// there; a trace without that column was commanded throughout.
func lines(tr *trace.Trace, p *profiles.Profile) func(i int) line {
	wire, duty := tr.Values(trace.ColLineDuty), tr.Duty()
	if wire == nil {
		return func(int) line { return commanded }
	}
	law := func(d float64) float64 { return d }
	if p != nil {
		law = p.Command.LineDuty
	}
	return func(i int) line {
		switch {
		case math.IsNaN(wire[i]):
			return open
		case wire[i] <= 0.5 && law(duty[i]) > 1.5:
			return low
		case wire[i] >= 99.5 && law(duty[i]) < 98.5:
			return high
		}
		return commanded
	}
}

// withoutCommand is what the unit drew in the second half of each stretch without
// a valid command, in A: the first half is for it to make up its mind.
func withoutCommand(tr *trace.Trace, at func(int) line) map[line]float64 {
	out := map[line]float64{}
	on, x, t := tr.Values(trace.ColSupplyOn), tr.Current(), tr.Time()
	for i := 0; on != nil && i < len(x); {
		s, j := at(i), i+1
		for j < len(x) && at(j) == s && on[j] >= 0.5 {
			j++
		}
		if s != commanded && on[i] >= 0.5 && t[j-1]-t[i] >= 1 {
			out[s] = stat.Median(x[i+(j-i)/2 : j])
		}
		i = j
	}
	return out
}

// least_V is how far the mean level of a driven line moves at least, from the
// lowest to the highest duty of a test: a tenth of the lowest logic level in use.
const least_V = 0.25

// linesMoved says that the level read on the wire follows the duty: the command
// got as far as the plug.
func linesMoved(tr *trace.Trace) bool {
	v, duty := tr.Values(trace.ColLine), tr.Duty()
	if v == nil {
		return false
	}
	least, most := slices.Min(duty), slices.Max(duty)
	var atLeast, atMost []float64
	for i, x := range v {
		switch {
		case math.IsNaN(x):
		case duty[i] <= least+0.5:
			atLeast = append(atLeast, x)
		case duty[i] >= most-0.5:
			atMost = append(atMost, x)
		}
	}
	if most-least < 10 || len(atLeast) == 0 || len(atMost) == 0 {
		return false
	}
	a, b := stat.Median(atLeast), stat.Median(atMost)
	return math.Abs(a-b) > max(least_V, 0.1*max(math.Abs(a), math.Abs(b)))
}
