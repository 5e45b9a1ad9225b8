package judge

import (
	"slices"

	"dutybench/bench/kind"
	"dutybench/bench/result"
	"dutybench/profiles"
	"dutybench/signal/trace"
)

const (
	// settledCause is the probability from which a cause is not expected to
	// change with further steps: in one of a hundred units it would.
	settledCause = 0.99
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
	r, final, err := judged(partial, d.Profile, d.Kind, Options{Conditions: d.Conditions})
	if err != nil {
		return true // the whole trace may be judged yet
	}
	before := d.last
	d.last = r
	if r.Verdict == result.Pass {
		return !next.Suffices || r.Risk == nil || d.unusual(r)
	}
	if final {
		return false
	}
	return before == nil || !settled(r) || !settled(before) || !alike(r, before)
}

// unusual says that good units seldom lie as far out as this one.
func (d *Decider) unusual(r *result.Result) bool {
	return r.Risk.Chance != nil && *r.Risk.Chance < ordinary
}

// settled says that a cause, or a set of causes that no step can tell apart,
// is as good as sure.
func settled(r *result.Result) bool {
	if r.Cause == nil || r.Verdict == result.Pass {
		return false
	}
	p := Probability(r)
	for _, c := range r.Causes {
		if c.Cause != *r.Cause && slices.Contains(r.Inseparable, c.Cause) {
			p += c.Probability
		}
	}
	return p >= settledCause
}

func alike(a, b *result.Result) bool {
	return a.Verdict == b.Verdict && *a.Cause == *b.Cause && slices.Equal(a.Inseparable, b.Inseparable)
}
