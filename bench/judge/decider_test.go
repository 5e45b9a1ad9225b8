package judge_test

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/judge"
	"dutybench/bench/kind"
	"dutybench/bench/kind/pump"
	"dutybench/bench/kind/weigh"
	"dutybench/bench/result"
	"dutybench/signal/trace"
)

// cut is the first seconds of a trace.
func cut(tr *trace.Trace, until_s float64) *trace.Trace {
	n, _ := slices.BinarySearch(tr.Time(), until_s)
	c := *tr
	c.Columns = slices.Clone(tr.Columns)
	for i := range c.Columns {
		c.Columns[i].Values = c.Columns[i].Values[:n]
	}
	return &c
}

// asked puts a question at the end of every stage from the start on and gives
// the time at which the decider had enough; the whole length when it never had.
func asked(t *testing.T, b bench, u unit, c kind.Conditions) float64 {
	t.Helper()
	tr := b.record(u, 7)
	d := &judge.Decider{Profile: ordinary(t), Kind: pump.Kind{}, Conditions: c}
	var at float64
	for i, s := range b.plan {
		at += s.s
		if s.name == "zero" || s.name == "quiet" || i == len(b.plan)-1 {
			continue
		}
		held := slices.ContainsFunc(b.plan[:i+1], func(s stage) bool { return s.name == "hold" })
		if !d.GoOn(cut(tr, at), kind.Step{Name: b.plan[i+1].name, Ask: true, Suffices: held}) {
			return at
		}
	}
	return at + b.plan[len(b.plan)-1].s
}

func TestDeciderEndsWhenNothingCanChange(t *testing.T) {
	b := onBench()
	var whole, held float64
	for _, s := range b.plan {
		whole += s.s
		if s.name != "down" && s.name != "stop" {
			held += s.s
		}
	}
	const started = 0.3 + 1.2 + 2 // zero, quiet, start
	for _, c := range []struct {
		name     string
		unit     unit
		unplug   bool
		from, to float64
	}{
		{"good: not before the hold, and no later", good(70), false, held, held},
		{"nothing at all: at once", good(70), true, started, started},
		{"no attempt: the same cause twice", changed(70, func(u *unit) { u.asleep = true }), false, started + 0.8, started + 2*0.8},
		{"no water: before the sweep ends", changed(70, func(u *unit) { u.h *= 0.05 }), false, started + 0.8, held},
		{"just out: the whole plan", changed(70, func(u *unit) { u.h *= 0.93 }), false, held, whole},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := onBench()
			b.unplugged = c.unplug
			at := asked(t, b, c.unit, kind.Conditions{Primed: true})
			assert.GreaterOrEqual(t, at, c.from-1e-6)
			assert.LessOrEqual(t, at, c.to+1e-6)
		})
	}
}

// What the decider ended with is what the whole test says.
func TestEarlyAndWholeAgree(t *testing.T) {
	p := ordinary(t)
	for name, change := range map[string]func(u *unit){
		"good": func(*unit) {}, "asleep": func(u *unit) { u.asleep = true }, "no water": func(u *unit) { u.h *= 0.05 },
		"friction": func(u *unit) { u.c *= 3 }, "limit": func(u *unit) { u.limit_A = 2.5 },
	} {
		u := changed(71, change)
		c := kind.Conditions{Primed: true}
		at := asked(t, onBench(), u, c)
		tr := onBench().record(u, 7)
		early, whole := judgedAs(t, cut(tr, at), p, c), judgedAs(t, tr, p, c)
		assert.Equal(t, whole.Verdict, early.Verdict, name)
		assert.Equal(t, whole.Cause, early.Cause, name)
	}
}

func TestDeciderGoesOnWhereNothingCanBeJudged(t *testing.T) {
	d := &judge.Decider{Profile: ordinary(t), Kind: pump.Kind{}}
	assert.True(t, d.GoOn(&trace.Trace{}, kind.Step{Suffices: true}))
}

// One trace, four purposes: the words and the guard follow the purpose.
func TestPurposeInTheResult(t *testing.T) {
	p := ordinary(t)
	tr := onBench().record(good(72), 72)
	for _, c := range []struct {
		purpose kind.Purpose
		next    string
	}{{kind.General, "fit it, or give"}, {kind.NewPart, "fit it"}, {kind.Core, "reuse"}, {kind.Return, "give it back"}} {
		r := judgedAs(t, tr, p, kind.Conditions{Purpose: c.purpose})
		require.Equal(t, result.Pass, r.Verdict, r.Sentence)
		assert.Contains(t, r.NextStep, c.next)
		require.NotNil(t, r.Risk)
		assert.Equal(t, string(c.purpose), r.Risk.Purpose)
		assert.Equal(t, c.purpose.Words(), r.Risk.Rule)
		assert.Equal(t, weigh.Refusal, r.Risk.Refusal)
		require.NotNil(t, r.Risk.Measurement)
		assert.Less(t, *r.Risk.Measurement, 0.05)
		assert.Len(t, r.Risk.Unseen, 5, "a pass says what it leaves open: four shapes of the curve, and rare drop-outs")
		if c.purpose == kind.Return {
			assert.Contains(t, r.Sentence, "no fault found")
			assert.Contains(t, r.Sentence, "under these conditions")
		}
	}
}

// A faulty unit's risk: hardly turned by measurement, and no good unit is
// like it.
func TestRiskOfAFail(t *testing.T) {
	r := judged(t, onBench().record(changed(73, func(u *unit) { u.c *= 3 }), 73), ordinary(t))
	require.Equal(t, result.Fail, r.Verdict)
	require.NotNil(t, r.Risk.Measurement)
	assert.Less(t, *r.Risk.Measurement, 1e-6)
	require.NotNil(t, r.Risk.Chance)
	assert.Less(t, *r.Risk.Chance, weigh.Refusal, "beyond a limit is rarer than the rate of the limits")
	assert.Empty(t, r.Risk.Unseen)
}

// On a bench that the profile has not seen, with a gain known to 5 %, a unit
// just beyond its limit is in doubt; where the profile was learned, it fails.
func TestAnotherBenchIsGuardedFor(t *testing.T) {
	p := ordinary(t)
	p.Learned.Rigs = []string{"bench one"}
	tr := onBench().record(changed(74, func(u *unit) { u.scale *= 1.12; u.quiet *= 1.12 }), 74)
	tr.Meta = append(tr.Meta, trace.Entry{Key: trace.KeyCurrentGainU, Value: "0.05"})
	on := func(rig string, purpose kind.Purpose) *result.Result {
		x := *tr
		x.Meta = append(slices.Clone(tr.Meta), trace.Entry{Key: trace.KeyRig, Value: rig})
		return judgedAs(t, &x, p, kind.Conditions{Purpose: purpose})
	}
	assert.Equal(t, result.Failed, find(t, on("bench one", kind.General), pump.Scale).Result)
	assert.Equal(t, result.Doubtful, find(t, on("bench two", kind.General), pump.Scale).Result)
	assert.Equal(t, result.Failed, find(t, on("bench two", kind.Core), pump.Scale).Result)
	assert.Equal(t, result.Passed, find(t, on("bench two", kind.Return), pump.Scale).Result)
}
