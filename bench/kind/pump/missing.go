package pump

import (
	"math"

	"dutybench/profiles"
	"dutybench/signal/stat"
	"dutybench/signal/trace"
)

// lineState is who drives the signal wire, as the columns tell it.
type lineState int

const (
	commanded lineState = iota
	lineOpen
	lineLow
	lineHigh
)

func (s lineState) String() string {
	return [...]string{"commanded", "open", "low", "high"}[s]
}

// lineStates tells from what was on the wire against what the command would
// put there. A trace without line_duty_pct was commanded throughout.
func lineStates(tr *trace.Trace, p *profiles.Profile) func(i int) lineState {
	line, duty := tr.Values(trace.ColLineDuty), tr.Duty()
	if line == nil {
		return func(int) lineState { return commanded }
	}
	law := func(d float64) float64 { return d }
	if p != nil {
		law = p.Command.LineDuty
	}
	return func(i int) lineState {
		switch {
		case math.IsNaN(line[i]):
			return lineOpen
		case line[i] <= 0.5 && law(duty[i]) > 1.5:
			return lineLow
		case line[i] >= 99.5 && law(duty[i]) < 98.5:
			return lineHigh
		}
		return commanded
	}
}

// missing is what the unit drew while the line carried no valid command.
type missing struct {
	state     lineState
	current_A float64
}

// measureMissing reads the parts of a run in which the bench let go of the
// line or held it with the supply on. Foreign traces rarely have such parts.
func measureMissing(tr *trace.Trace, p *profiles.Profile) []missing {
	on := tr.Values(trace.ColSupplyOn)
	if on == nil || tr.Values(trace.ColLineDuty) == nil {
		return nil
	}
	at := lineStates(tr, p)
	x, t := tr.Current(), tr.Time()
	var out []missing
	for i := 0; i < len(x); {
		s := at(i)
		j := i + 1
		for j < len(x) && at(j) == s && on[j] >= 0.5 {
			j++
		}
		if s != commanded && on[i] >= 0.5 && t[j-1]-t[i] >= 1 {
			half := i + (j-i)/2 // the first half is for the unit to make up its mind
			out = append(out, missing{state: s, current_A: stat.Median(x[half:j])})
		}
		i = j
	}
	return out
}
