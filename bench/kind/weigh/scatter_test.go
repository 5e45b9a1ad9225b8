package weigh

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/kind"
	"dutybench/bench/result"
	"dutybench/profiles"
	"dutybench/signal/stat"
	"dutybench/signal/trace"
)

// What a gauge study found counts once: whatever the limits hold is in the
// expanded uncertainty and not in the guard band.
func TestStudyCountsOnce(t *testing.T) {
	study := kind.Gauge{Repeat: 0.005, RepeatDoF: 24, Refill: 0.012, RefillDoF: 8}
	q := stat.Quantity{Value: 5}.With("noise", 0.003, 0)
	for name, c := range map[string]struct {
		profile       profiles.Profile
		q             stat.Quantity
		spread, guard float64
		held          map[string]bool
	}{
		"learned over fillings": {profiles.Profile{Learned: profiles.Learned{Fillings: 3}}, q, 0.1, 0, map[string]bool{"noise": true, repeatSource: true, RemountSource: true}},
		"learned in one":        {profiles.Profile{Learned: profiles.Learned{Fillings: 1}}, q, 0.1, 0.012, map[string]bool{"noise": true, repeatSource: true, RemountSource: false}},
		"not said":              {profiles.Profile{}, q, 0.1, 0.012, map[string]bool{"noise": true, repeatSource: true, RemountSource: false}},
		// 0.003 of noise, 0.004 beyond it, 0.012 of refilling: 0.013.
		"stated by hand":   {profiles.Profile{Learned: profiles.Learned{Fillings: 3}}, q, math.NaN(), 0.013, map[string]bool{"noise": false, repeatSource: false, RemountSource: false}},
		"the profile says": {profiles.Profile{}, q.With(RemountSource, 0.02, 0), 0.1, 0, map[string]bool{"noise": true, repeatSource: true, RemountSource: true}},
		"noise covers it":  {profiles.Profile{Learned: profiles.Learned{Fillings: 2}}, stat.Quantity{Value: 5}.With("noise", 0.006, 0), 0.1, 0, map[string]bool{"noise": true, RemountSource: true}},
	} {
		t.Run(name, func(t *testing.T) {
			tr := rigged(study.Entry(full))
			y := NewYardstick(tr, &c.profile, kind.Conditions{})
			var k Check
			k.Name = full
			y.Hold(&k, c.q, c.spread, 4, 6)
			assert.InDelta(t, c.guard, k.Guard, 1e-9)
			held := map[string]bool{}
			var sum float64
			for _, p := range k.Budget {
				held[p.Source] = p.Contained
				sum += p.U * p.U
			}
			assert.Equal(t, c.held, held)
			assert.InEpsilon(t, math.Sqrt(sum), *k.Uncertainty/k.K, 1e-9, "the budget adds up")
		})
	}
}

// A finding that was not studied, and a trace without a study, are as before.
func TestNoStudyChangesNothing(t *testing.T) {
	q := stat.Quantity{Value: 5}.With("noise", 0.003, 12)
	var plain, studied Check
	plain.Name, studied.Name = full, full
	NewYardstick(rigged(), &profiles.Profile{}, kind.Conditions{}).Hold(&plain, q, 0.1, 4, 6)
	NewYardstick(rigged(kind.Gauge{Repeat: 1, Refill: 1}.Entry(quiet)), &profiles.Profile{}, kind.Conditions{}).Hold(&studied, q, 0.1, 4, 6)
	require.Equal(t, plain, studied)
}

// The key is known to the reader of traces, and stands once a finding.
func TestStudyKeyIsKnown(t *testing.T) {
	e := kind.Gauge{Repeat: 0.01, RepeatDoF: 3}.Entry(full)
	assert.Equal(t, trace.Entry{Key: "gauge_full_current", Value: "0.01 3 0 0"}, e)
}

// Where the guard band of a study is wider than half the room, no purpose passes
// a value, and it fails only beyond the band. Refilling known with eight degrees
// of freedom: 1.860 of it.
func TestTooUnsteadyForTheLimits(t *testing.T) {
	learned := profiles.Profile{Learned: profiles.Learned{Fillings: 1}}
	for name, c := range map[string]struct {
		x, refill float64
		hollow    bool
		want      map[kind.Purpose]result.Outcome
	}{
		"steady":        {5, 0.5, false, map[kind.Purpose]result.Outcome{kind.General: result.Passed, kind.NewPart: result.Passed, kind.Core: result.Passed, kind.Return: result.Passed}},
		"steady, out":   {6.5, 0.5, false, map[kind.Purpose]result.Outcome{kind.General: result.Doubtful, kind.NewPart: result.Doubtful, kind.Core: result.Failed, kind.Return: result.Passed}},
		"unsteady":      {5, 0.55, true, map[kind.Purpose]result.Outcome{kind.General: result.Doubtful, kind.NewPart: result.Doubtful, kind.Core: result.Doubtful, kind.Return: result.Doubtful}},
		"unsteady, out": {6.9, 0.55, true, map[kind.Purpose]result.Outcome{kind.General: result.Doubtful, kind.NewPart: result.Doubtful, kind.Core: result.Doubtful, kind.Return: result.Doubtful}},
		"far out":       {7.2, 0.55, true, map[kind.Purpose]result.Outcome{kind.General: result.Failed, kind.NewPart: result.Failed, kind.Core: result.Failed, kind.Return: result.Failed}},
	} {
		for purpose, want := range c.want {
			var k Check
			k.Name = full
			y := NewYardstick(rigged(kind.Gauge{Refill: c.refill, RefillDoF: 8}.Entry(full)), &learned, kind.Conditions{Purpose: purpose})
			y.Hold(&k, stat.Quantity{Value: c.x}.With("noise", 0.003, 0), 0.1, 4, 6)
			assert.Equal(t, want, k.Result, "%s, %s", name, purpose)
			assert.Equal(t, c.hollow, k.Hollow, "%s, %s", name, purpose)
			assert.InDelta(t, c.refill, k.Guard, 1e-9, "as the study has it")
		}
	}
}
