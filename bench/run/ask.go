package run

import (
	"fmt"

	"dutybench/bench/kind"
)

// question is one that a Decider thinks about.
type question struct {
	before string        // the step before which it was asked
	answer chan bool     // whether to go on
	failed chan struct{} // closed when the decider panicked
	why    any           // what it panicked with
}

// ask puts a question before a step that asks for one. An answer that is not
// there yet is not waited for, and the next question is left out until it is.
func (x *runner) ask(i int, s kind.Step) {
	if i == 0 || x.o.Decider == nil || !s.Ask || x.asked != nil {
		return
	}
	q := &question{before: fmt.Sprintf("Enough was known before step %d of %d (%s).", i+1, len(x.plan.Steps), s.Name),
		answer: make(chan bool, 1), failed: make(chan struct{})}
	partial := x.trace() // what is appended from here on lies beyond its columns
	x.shown = x.ch.len()
	go func() {
		answered := false
		defer func() {
			if q.why = recover(); !answered {
				close(q.failed)
			}
		}()
		on := x.o.Decider.GoOn(partial, s)
		q.answer <- on
		answered = true
	}()
	x.asked = q
}

// enough says that a question was answered with no. The run goes on while one
// is thought about, unless the rig's time stands still meanwhile.
func (x *runner) enough() bool {
	if x.asked == nil {
		return x.out.Enough != ""
	}
	select {
	case on := <-x.asked.answer:
		x.answered(on)
	case <-x.asked.failed:
		panic(x.asked.why) // on the goroutine that cuts the supply
	default:
		if !x.rig.Stands {
			return false
		}
		select {
		case on := <-x.asked.answer:
			x.answered(on)
		case <-x.asked.failed:
			panic(x.asked.why)
		}
	}
	return x.out.Enough != ""
}

func (x *runner) answered(on bool) {
	if !on {
		x.out.Enough = x.asked.before
	}
	x.asked = nil
}
