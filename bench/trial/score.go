package trial

import (
	"slices"

	"dutybench/bench/result"
	simpump "dutybench/bench/sim/pump"
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
	set := alike(t.Fault)
	if r.Cause != nil && *r.Cause == set[0] {
		return Right
	}
	if len(set) > 1 && slices.Contains(r.Inseparable, set[0]) &&
		!slices.ContainsFunc(r.Inseparable, func(c result.Cause) bool { return !slices.Contains(set, c) }) {
		return Named
	}
	return Wrong
}

const wireBroken = "broken signal wire"

// alike is the side of a fault, and then those of the faults from which the
// list says it cannot always be told.
func alike(fault string) []result.Cause {
	side := map[string]result.Cause{}
	var names []string
	for _, f := range simpump.Faults() {
		side[f.Name] = result.Cause(f.Side)
		if f.Name == fault {
			names = append([]string{fault}, f.Inseparable...)
		}
	}
	if fault == "command-lost-full" || fault == "command-lost-off" {
		// A deaf board whose pull-up is gone too shows the levels of a broken
		// signal wire, which is no fault of a unit and so not in the list.
		names = append(names, wireBroken)
		side[wireBroken] = result.Wiring
	}
	var out []result.Cause
	for _, n := range names {
		if !slices.Contains(out, side[n]) {
			out = append(out, side[n])
		}
	}
	return out
}

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
		switch alike(t.Fault)[0] {
		case result.Wiring, result.Bench, result.Hydraulic:
			return false
		}
		r := t.Result
		set := alike(t.Fault)
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
