package main

import (
	"dutybench/bench/result"
	"dutybench/bench/run"
	"dutybench/profiles"
	"dutybench/signal/trace"
)

// unjudged is the result of a test whose trace holds too little to judge.
func unjudged(tr *trace.Trace, p *profiles.Profile) result.Result { return run.Unjudged(tr, p) }

// merge puts what happened on the bench into what the trace says.
func merge(r result.Result, out *run.Outcome) result.Result { return run.Merge(r, out) }
