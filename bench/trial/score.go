package trial

import (
	"slices"

	"dutybench/bench/kinds"
	"dutybench/bench/result"
)

// Score is what became of one trial.
type Score int

// The scores. Of a faulty unit that did not pass, Right names the fault's own
// side first; Named names a set of causes in which it is, with none but the
// sides of the faults that the list says cannot always be told from it; Wrong
// is any other.
const (
	Passed Score = iota
	Right
	Named
	Wrong
)

// Score tells what became of the trial; a good unit has passed or is Wrong.
func (t *Trial) Score() Score {
	r := t.Result
	if r.Verdict == result.Pass {
		return Passed
	}
	if t.Fault == "" {
		return Wrong
	}
	set := t.sides()
	if r.Cause != nil && *r.Cause == set[0] {
		return Right
	}
	if len(set) > 1 && slices.Contains(r.Inseparable, set[0]) &&
		!slices.ContainsFunc(r.Inseparable, func(c result.Cause) bool { return !slices.Contains(set, c) }) {
		return Named
	}
	return Wrong
}

// listed is a fault of a kind's units, or of the bench, by name.
func listed(kind, name string) kinds.Fault {
	of := kinds.Faults(kind)
	if i := slices.IndexFunc(of, func(f kinds.Fault) bool { return f.Name == name }); i >= 0 {
		return of[i]
	}
	if f, ok := kinds.BenchFault(name); ok {
		return f
	}
	return kinds.Fault{Name: name}
}

// alike is the side of a fault, and then those of the faults from which the
// list says it cannot always be told.
func alike(kind, fault string) []result.Cause {
	f := listed(kind, fault)
	out := []result.Cause{result.Cause(f.Side)}
	add := func(side string) {
		if c := result.Cause(side); !slices.Contains(out, c) {
			out = append(out, c)
		}
	}
	for _, other := range f.Inseparable {
		add(listed(kind, other).Side)
	}
	for _, side := range f.Besides {
		add(side)
	}
	return out
}

// sides is alike for the trial's own fault.
func (t *Trial) sides() []result.Cause { return alike(t.Result.Kind, t.Fault) }

// Stray says that the trial is undecided although neither the rules nor a
// listed set ask for it: wiring and bench are never called failed, nor is the
// hydraulic side without the operator's word, so there undecided with the
// right cause is the right answer.
func (t *Trial) Stray() bool {
	if t.Result.Verdict != result.Undecided {
		return false
	}
	switch t.Score() {
	case Named:
		return false
	case Right:
		switch t.sides()[0] {
		case result.Wiring, result.Bench, result.Hydraulic:
			return false
		}
		r := t.Result
		set := t.sides()
		return len(r.Inseparable) == 0 || len(set) == 1 ||
			slices.ContainsFunc(r.Inseparable, func(c result.Cause) bool { return !slices.Contains(set, c) })
	}
	return true
}

// Odd says that somebody should look at the trial: a good unit refused, a
// faulty one passed or blamed on another side, or a stray.
func (t *Trial) Odd() bool {
	s := t.Score()
	return t.Stray() || s == Wrong || s == Passed && t.Fault != ""
}
