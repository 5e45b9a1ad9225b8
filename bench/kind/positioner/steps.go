package positioner

import (
	"math"

	"dutybench/bench/kind/weigh"
	"dutybench/profiles"
	"dutybench/signal/step"
	"dutybench/signal/trace"
)

// lines tells who drove the signal wire. Without supply, and in a trace that fills
// in the column only now and then, it counts as commanded: a hole is a wire that
// was let go only where the column is full around it.
func lines(tr *trace.Trace, p *profiles.Profile) func(i int) step.Line {
	at, on, wire := weigh.Lines(tr, p), step.SupplyOf(tr), tr.Values(trace.ColLineDuty)
	filled, holes := 0, 0
	for i := 1; i < len(wire); i++ {
		if !math.IsNaN(wire[i]) {
			filled++
		}
		if math.IsNaN(wire[i]) != math.IsNaN(wire[i-1]) {
			holes++
		}
	}
	sparse := holes > filled/20
	return func(i int) step.Line {
		if !on.On(i) || sparse && math.IsNaN(wire[i]) {
			return step.Commanded
		}
		return at(i)
	}
}

// lapse is a part of the trace in which the line carried no valid command.
type lapse struct {
	state    step.Line
	from, to int
}

// cut finds the steps of the command and the lapses between them.
func cut(tr *trace.Trace, p *profiles.Profile) (steps []step.Step, lapses []lapse) {
	at, t := lines(tr, p), tr.Time()
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
			case at(i) == step.Commanded:
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
