package judge

import (
	"dutybench/bench/kind"
	"dutybench/bench/result"
	"dutybench/profiles"
	"dutybench/signal/trace"
)

const (
	// settledCause is the probability from which a cause, found twice in a row,
	// is not expected to change with further steps (chosen: a repeated test
	// would have to find the other one of twenty twice).
	settledCause = 0.95
	// ordinary is how often a good unit must lie as far out as this one for a
	// pass to need no further step: in one of twenty. A unit nearer to a limit
	// than that runs the whole plan.
	ordinary = 0.05
)

// Decider ends a test when no further step is expected to change verdict or
// cause: a unit that did not pass when the same cause was the likeliest by far
// at two questions in a row, or at the first where the kind says that nothing
// can follow; a good one when everything that a pass takes has been measured
// and nothing lies unusually far out. The zero value of its own state is ready;
// it answers one question at a time.
type Decider struct {
	Profile    *profiles.Profile
	Kind       kind.Kind
	Conditions kind.Conditions

	last *result.Result
}

// GoOn judges the trace so far.
func (d *Decider) GoOn(partial *trace.Trace, next kind.Step) bool {
	r, at, err := judged(partial, d.Profile, d.Kind, Options{Conditions: d.Conditions})
	if err != nil {
		return true // the whole trace may be judged yet
	}
	before := d.last
	d.last = r
	if r.Verdict == result.Pass {
		return !next.Suffices || r.Risk == nil || d.unusual(r)
	}
	switch {
	case at.final:
		return false
	case at.sketchy:
		return true
	}
	return before == nil || !settled(r) || !settled(before) || !alike(r, before)
}

// unusual says that good units seldom lie as far out as this one, or that the
// measurement is not sure of it.
func (d *Decider) unusual(r *result.Result) bool {
	return r.Risk.Chance != nil && *r.Risk.Chance < ordinary || barely(r.Risk)
}

// settled says that one cause is as good as sure. A set that this test cannot
// tell apart is not: further steps may.
func settled(r *result.Result) bool {
	return r.Cause != nil && len(r.Inseparable) < 2 && Probability(r) >= settledCause
}

func alike(a, b *result.Result) bool {
	return a.Verdict == b.Verdict && *a.Cause == *b.Cause
}
