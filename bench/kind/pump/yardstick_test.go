package pump

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
	p := goodValues(Quiet, 0.030, 0.031, 0.029, 0.0305, 0.0295)
	p.Learned.Rigs, p.Learned.GainU = []string{"bench one"}, 0.03
	v := &kind.Value{Name: Quiet, Unit: "A", Q: stat.Quantity{Value: 0.030}.With("noise", 1e-5, 30).WithShared(gainSource, 0.04*0.030)}
	home := newYardstick(rigged(trace.Entry{Key: trace.KeyRig, Value: "bench one"}), p, kind.Conditions{})
	away := newYardstick(rigged(trace.Entry{Key: trace.KeyRig, Value: "bench two"}), p, kind.Conditions{})
	silent := newYardstick(rigged(), p, kind.Conditions{})
	require.False(t, home.elsewhere)
	require.True(t, away.elsewhere)
	require.False(t, silent.elsewhere, "a trace that does not say its rig")

	at, from := ruleFor(t, Quiet).hold(v, home, 10), ruleFor(t, Quiet).hold(v, away, 10)
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
	assert.Equal(t, map[string]bool{"noise": true, gainSource: false, otherGain: false}, contained)
}

// Expanded uncertainty: G.4.1 of the GUM (JCGM 100:2008): 0.25, 0.57 and
// 0.82 % with 9, 4 and 14 degrees of freedom give 19.0, t 2.09, U 2.2 %.
func TestExpandedUncertaintyOfAFinding(t *testing.T) {
	var c check
	q := stat.Quantity{Value: 100}.With("first", 0.25, 9).With("second", 0.57, 4).With("third", 0.82, 14)
	yardstick{profile: &profiles.Profile{}}.hold(&c, q, math.NaN(), 90, 110)
	assert.InDelta(t, 2.09, c.K, 0.005)
	assert.InDelta(t, 2.2, *c.Uncertainty, 0.05)
	assert.Equal(t, result.Passed, c.Result)
	assert.Len(t, c.Budget, 3)
}

// JCGM 106:2012, 7.4: 13.6 with 1.8 in 12.5 to 16.3 conforms with 0.66.
func TestConformityOfAFinding(t *testing.T) {
	var c check
	yardstick{profile: &profiles.Profile{}, purpose: kind.NewPart}.hold(&c, stat.Quantity{Value: 13.6}.With("all", 1.8, 0), math.NaN(), 12.5, 16.3)
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
			assert.InEpsilon(t, Refusal, chance(factor(n, 12, sides), n, 12, sides), 1e-6)
		}
	}
	assert.Equal(t, 1.0, chance(0, 20, 12, 2))
	assert.Equal(t, 1.0, chance(9, 1, 12, 2), "one unit bounds nothing")
}

// The bench's own errors move whole curves: they enter contrasts whole, and
// not as so many independent ones.
func TestBenchErrorsMoveTheCurveAsOne(t *testing.T) {
	r := laid(plainCurve, goodRows(20, 8))
	gain := common{source: gainSource, bench: true}
	for range r.points {
		gain.by = append(gain.by, 0.02)
	}
	r.common = append(r.common, gain)
	away := yardstick{profile: &profiles.Profile{}, elsewhere: true}
	find := func(y yardstick) check {
		k, _ := byName(t, Scale).hold(newCurveFit(r, y), y, 5)
		return k
	}
	home := find(yardstick{profile: &profiles.Profile{}})
	assert.Zero(t, home.Guard)
	assert.InDelta(t, 2, find(away).Guard, 0.1, "two per cent on all is two per cent in scale")
	low, _ := byName(t, LowSpeed).hold(newCurveFit(r, away), away, 5)
	assert.Less(t, low.Guard, 2.5)
}

// What a gauge study found from one filling to the next counts where the good
// units saw one filling only, as one error over the whole curve; where they saw
// several, their spread holds it.
func TestRemountCountsWhereTheBandHasOneFilling(t *testing.T) {
	for fillings, want := range map[int]float64{1: 0.01, 3: 0, 0: 0} {
		p := &profiles.Profile{Fixture: profiles.Fixture{Remount: 0.01}, Learned: profiles.Learned{Fillings: fillings}}
		r := laid(plainCurve, goodRows(20, 8))
		y := yardstick{profile: p}
		r.common = benchErrors(rigged(), y, r.points)
		u := 0.0
		for _, c := range r.common {
			assert.Equal(t, remountSource, c.source)
			assert.False(t, c.bench)
			u = c.by[0]
		}
		assert.Equal(t, want, u, "%d fillings", fillings)
	}
}
