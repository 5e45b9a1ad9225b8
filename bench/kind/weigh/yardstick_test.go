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

func rigged(entries ...trace.Entry) *trace.Trace { return &trace.Trace{Meta: entries} }

// What all measurements of one bench share is not guarded for on that bench,
// and is on another; there the learned benches' own gain counts too.
func TestSharedErrorsCountOnlyElsewhere(t *testing.T) {
	p := goodValues(quiet, 0.030, 0.031, 0.029, 0.0305, 0.0295)
	p.Learned.Rigs, p.Learned.GainU = []string{"bench one"}, 0.03
	v := &kind.Value{Name: quiet, Unit: "A", Q: stat.Quantity{Value: 0.030}.With("noise", 1e-5, 30).WithShared(GainSource, 0.04*0.030)}
	home := NewYardstick(rigged(trace.Entry{Key: trace.KeyRig, Value: "bench one"}), p, kind.Conditions{})
	away := NewYardstick(rigged(trace.Entry{Key: trace.KeyRig, Value: "bench two"}), p, kind.Conditions{})
	silent := NewYardstick(rigged(), p, kind.Conditions{})
	require.False(t, home.Elsewhere)
	require.True(t, away.Elsewhere)
	require.False(t, silent.Elsewhere, "a trace that does not say its rig")

	at, from := (Rule{Name: quiet, Unit: "A", Low: true, High: true, Floor: 0.001, Share: 0.05}).Hold(v, home, 10), (Rule{Name: quiet, Unit: "A", Low: true, High: true, Floor: 0.001, Share: 0.05}).Hold(v, away, 10)
	assert.Zero(t, at.Guard)
	assert.InEpsilon(t, 0.05*0.030, from.Guard, 1e-9, "3 and 4 per cent")
	assert.Greater(t, *from.Uncertainty, *at.Uncertainty)
	for _, part := range at.Budget {
		assert.True(t, part.Contained, part.Source)
	}
	contained := map[string]bool{}
	for _, part := range from.Budget {
		contained[part.Source] = part.Contained
	}
	assert.Equal(t, map[string]bool{"noise": true, GainSource: false, OtherGain: false}, contained)
}

// Expanded uncertainty: G.4.1 of the GUM (JCGM 100:2008): 0.25, 0.57 and
// 0.82 % with 9, 4 and 14 degrees of freedom give 19.0, t 2.09, U 2.2 %.
func TestExpandedUncertaintyOfAFinding(t *testing.T) {
	var c Check
	q := stat.Quantity{Value: 100}.With("first", 0.25, 9).With("second", 0.57, 4).With("third", 0.82, 14)
	Yardstick{Profile: &profiles.Profile{}}.Hold(&c, q, math.NaN(), 90, 110)
	assert.InDelta(t, 2.09, c.K, 0.005)
	assert.InDelta(t, 2.2, *c.Uncertainty, 0.05)
	assert.Equal(t, result.Passed, c.Result)
	assert.Len(t, c.Budget, 3)
}

// JCGM 106:2012, 7.4: 13.6 with 1.8 in 12.5 to 16.3 conforms with 0.66.
func TestConformityOfAFinding(t *testing.T) {
	var c Check
	Yardstick{Profile: &profiles.Profile{}, Purpose: kind.NewPart}.Hold(&c, stat.Quantity{Value: 13.6}.With("all", 1.8, 0), math.NaN(), 12.5, 16.3)
	require.NotNil(t, c.Conformity)
	assert.InDelta(t, 0.66, *c.Conformity, 0.005)
	assert.Equal(t, 1.8, c.Guard)
	assert.Equal(t, result.Doubtful, c.Result, "not shown to conform with 95 %")
}

// The limit that the rate of refusals gives is the value that a good unit
// reaches with that rate.
func TestChanceIsTheReverseOfFactor(t *testing.T) {
	for _, n := range []int{5, 20, 60} {
		for _, sides := range []int{1, 2} {
			assert.InEpsilon(t, Refusal, Chance(Factor(n, 12, sides), n, 12, sides), 1e-6)
		}
	}
	assert.Equal(t, 1.0, Chance(0, 20, 12, 2))
	assert.Equal(t, 1.0, Chance(9, 1, 12, 2), "one unit bounds nothing")
}
