package run

import (
	"math"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/kind"
	"dutybench/signal/trace"
)

type upTo struct {
	step string
	seen []int
}

// asking is the short plan with a question before every step.
func asking() kind.Plan {
	p := short()
	for i := range p.Steps {
		p.Steps[i].Ask = true
	}
	return p
}

func (d *upTo) GoOn(tr *trace.Trace, next kind.Step) bool {
	d.seen = append(d.seen, tr.Len())
	return next.Name != d.step
}

func TestDecider(t *testing.T) {
	b := newBench(t, steady, nil)
	d := &upTo{step: "hold"}
	out := b.carry(t, asking(), Options{Decider: d})
	assert.Equal(t, "Enough was known before step 4 of 6 (hold).", out.Enough)
	assert.Empty(t, out.Ended, "an end that was meant is none before its time")
	require.Len(t, d.seen, 3)
	assert.Less(t, d.seen[1], d.seen[2])
	assert.Nil(t, out.Trip)
	assert.True(t, out.Off.Verified)
	ended, _ := out.Trace.Get("ended")
	assert.Empty(t, ended)
	assert.Len(t, out.Trace.Duty(), out.Trace.Len())
	assert.Zero(t, slices.Index(out.Trace.Duty(), 100)+1, "the next step never began")
}

func TestDeciderIsNotAskedUnasked(t *testing.T) {
	b := newBench(t, steady, nil)
	d := &upTo{step: "up"}
	out := b.run(t, Options{Decider: d})
	assert.Empty(t, out.Enough)
	assert.Empty(t, d.seen)
}

// thinker answers no when it is told to.
type thinker struct {
	tell  chan struct{}
	asked int
}

func (d *thinker) GoOn(*trace.Trace, kind.Step) bool {
	d.asked++
	<-d.tell
	return false
}

// On a rig that keeps real time the next step runs while the decider thinks:
// no sample is lost, no second question is put, and the test ends in the middle
// of a step when the answer comes.
func TestDeciderThinksWhileTheTestGoesOn(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t, steady, nil)
		b.rig.Stands = false
		d := &thinker{tell: make(chan struct{})}
		told := false
		out := b.carry(t, asking(), Options{Decider: d, Progress: func(p Progress) {
			if p.Step == "hold" && !told {
				told = true
				close(d.tell)
				synctest.Wait() // the answer is there
			}
		}})
		require.True(t, told)
		assert.Equal(t, "Enough was known before step 2 of 6 (quiet).", out.Enough)
		assert.Equal(t, 1, d.asked)
		lost, _ := out.Trace.Number(trace.KeyLost)
		assert.Zero(t, lost)
		assert.NotContains(t, strings.Join(out.Warnings, " "), "late")
		assert.True(t, out.Off.Verified)
		assert.Contains(t, out.Trace.Duty(), 100.0)
	})
}

// A thinned step keeps means: as many rows as blocks, the same charge, and the
// voltages that were sampled.
func TestThinnedStep(t *testing.T) {
	whole, thinned := newBench(t, steady, nil), newBench(t, steady, nil)
	p := short()
	p.Steps[3].Min, p.Steps[3].Max = 2*time.Second, 2*time.Second
	q := kind.Plan{Steps: slices.Clone(p.Steps)}
	q.Steps[3].Thin = 20 * time.Millisecond
	a, b := whole.carry(t, p, Options{}).Trace, thinned.carry(t, q, Options{}).Trace
	rows := func(tr *trace.Trace) (n int, mean float64, volts int) {
		for i, d := range tr.Duty() {
			if d == 100 {
				n++
				mean += tr.Current()[i]
				if !math.IsNaN(tr.Values(trace.ColSupply)[i]) {
					volts++
				}
			}
		}
		return n, mean / float64(n), volts
	}
	na, ma, _ := rows(a)
	nb, mb, vb := rows(b)
	assert.InDelta(t, 100, nb, 3)
	assert.Greater(t, na, 50*nb)
	assert.InDelta(t, ma, mb, 1e-3)
	assert.Greater(t, vb, 90)
	thin, ok := b.Number(trace.KeyThinned)
	require.True(t, ok)
	assert.InDelta(t, 0.02, thin, 1e-9)
	assert.InEpsilon(t, a.Rate(), b.Rate(), 0.05, "the rate stated, where thinning hides it")
	assert.True(t, slices.IsSorted(b.Time()))
}
