package positioner

import (
	"math"

	"dutybench/profiles"
	"dutybench/signal/step"
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

// lineStates tells from what was on the wire against what the command would put
// there. A trace without line_duty_pct was commanded throughout, and so was one
// in which the column is only now and then filled in: a hole is a wire that was
// let go only where the column is full around it.
func lineStates(tr *trace.Trace, p *profiles.Profile) func(i int) lineState {
	line, duty, on := tr.Values(trace.ColLineDuty), tr.Duty(), step.SupplyOf(tr)
	law := func(d float64) float64 { return d }
	if p != nil {
		law = p.Command.LineDuty
	}
	filled, holes := 0, 0
	for i := 1; i < len(line); i++ {
		if !math.IsNaN(line[i]) {
			filled++
		}
		if math.IsNaN(line[i]) != math.IsNaN(line[i-1]) {
			holes++
		}
	}
	sparse := holes > filled/20
	return func(i int) lineState {
		switch {
		case line == nil || !on.On(i):
			return commanded
		case math.IsNaN(line[i]):
			if sparse {
				return commanded
			}
			return lineOpen
		case line[i] <= 0.5 && law(duty[i]) > 1.5:
			return lineLow
		case line[i] >= 99.5 && law(duty[i]) < 98.5:
			return lineHigh
		}
		return commanded
	}
}

// lapse is a part of the trace in which the line carried no valid command.
type lapse struct {
	state    lineState
	from, to int
}

// cut finds the steps of the command and the lapses between them.
func cut(tr *trace.Trace, p *profiles.Profile) (steps []step.Step, lapses []lapse) {
	at, t := lineStates(tr, p), tr.Time()
	var found []step.Step
	for _, s := range step.Find(tr) {
		found = append(found, finer(s, tr)...)
	}
	for _, s := range found {
		for i := s.From; i < s.To; {
			j := i + 1
			for j < s.To && at(j) == at(i) {
				j++
			}
			switch {
			case t[j-1]-t[i] < step.Shortest_s:
			case at(i) == commanded:
				part := s
				part.From, part.To = i, j
				steps = append(steps, part)
			default:
				lapses = append(lapses, lapse{at(i), i, j})
			}
			i = j
		}
	}
	return steps, lapses
}

// finer parts a step at changes of the duty that are too small to count as steps
// of a pump or fan, and that a positioner may answer. A duty that wanders stays in
// one piece.
func finer(s step.Step, tr *trace.Trace) []step.Step {
	const same = 0.02 // %, below what any signal is set by
	t, duty := tr.Time(), tr.Duty()
	var parts []step.Step
	for i := s.From; i < s.To; {
		j := i + 1
		for j < s.To && math.Abs(duty[j]-duty[i]) <= same {
			j++
		}
		if t[j-1]-t[i] < step.Shortest_s {
			return []step.Step{s}
		}
		part := s
		part.From, part.To, part.Duty_pct = i, j, duty[i]
		if n := len(parts); n > 0 {
			part.Up = duty[i] > parts[n-1].Duty_pct
		}
		parts = append(parts, part)
		i = j
	}
	return parts
}
