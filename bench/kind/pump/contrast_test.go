package pump

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/kind/weigh"
	"dutybench/bench/result"
	"dutybench/profiles"
)

// byName is a contrast of the list.
func byName(t *testing.T, name string) contrast {
	t.Helper()
	for _, c := range contrasts {
		if c.name == name {
			return c
		}
	}
	require.Fail(t, "no contrast "+name)
	return contrast{}
}

// Applied to a curve that is off by a times the pattern, the weights give a.
func TestWeightsMeasureTheirPattern(t *testing.T) {
	f := newCurveFit(laid(plainCurve, goodRows(20, 8)), weigh.Yardstick{})
	for _, c := range contrasts {
		g := make([]float64, len(f.x))
		for i := range g {
			g[i] = c.pattern(f, i)
		}
		w, ok := weights(f.rows, g)
		require.True(t, ok)
		var sum float64
		for i := range w {
			sum += w[i] * g[i]
		}
		require.InDelta(t, 1, sum, 1e-9, c.name)
	}
	_, ok := weights(f.rows[:1], make([]float64, len(f.x)))
	require.False(t, ok, "one unit has no covariance")
}

// Each fault lies out on the contrast that is named for it, on the bad side.
func TestContrastsSeeTheirFault(t *testing.T) {
	good := goodRows(20, 9)
	for _, c := range []struct {
		contrast string
		change   func(k *curve)
		want     result.Outcome
	}{
		{LowSpeed, func(k *curve) { k.c *= 1.6 }, result.Failed},
		{HighSpeed, func(k *curve) { k.h *= 0.7 }, result.Failed},
		{FlatTop, func(k *curve) { k.limit = 4.1 }, result.Failed},
		{Scale, func(k *curve) { k.scale *= 1.2 }, result.Failed},
		{Scale, func(k *curve) { k.scale *= 0.8 }, result.Failed},
		{LowSpeed, func(*curve) {}, result.Passed},
		{HighSpeed, func(*curve) {}, result.Passed},
		{FlatTop, func(*curve) {}, result.Passed},
		{Scale, func(*curve) {}, result.Passed},
		// One side only: less friction or more water than good is no fault of these.
		{LowSpeed, func(k *curve) { k.c *= 0.4 }, result.Passed},
		{HighSpeed, func(k *curve) { k.h *= 1.3 }, result.Passed},
	} {
		u := plainCurve
		c.change(&u)
		k, _ := byName(t, c.contrast).hold(newCurveFit(laid(u, good), weigh.Yardstick{}), weigh.Yardstick{Profile: &profiles.Profile{}}, 5)
		assert.Equal(t, c.want, k.Result, "%s %+v: %v in %v to %v", c.contrast, u, *k.Value, k.Low, k.High)
	}
}

// The spread that a contrast is held to is that of units that it was not made
// from: over many draws their distances have a standard deviation of about 1.
func TestSpreadHoldsForNewUnits(t *testing.T) {
	r := rand.New(rand.NewPCG(10, 10))
	for _, c := range contrasts {
		var ss float64
		n := 0
		for k := range uint64(40) {
			good := goodRows(20, 100+k)
			for _, u := range goodRows(5, r.Uint64()) {
				k, _ := c.hold(newCurveFit(laid(u, good), weigh.Yardstick{}), weigh.Yardstick{Profile: &profiles.Profile{}}, 5)
				z := *k.Spread
				ss += z * z
				n++
			}
		}
		sd := math.Sqrt(ss / float64(n))
		assert.Less(t, sd, 1.25, "%s: units look stranger than they are", c.name)
		// These units differ in three constants only; where they hardly differ the
		// floor under the spread holds, and their distances are smaller than 1.
		assert.Greater(t, sd, 0.3, "%s: the spread is far too wide", c.name)
	}
}

func TestContrastNeedsDutiesAndUnits(t *testing.T) {
	few := newCurveFit(laid(plainCurve, goodRows(4, 11)), weigh.Yardstick{})
	k, _ := byName(t, Scale).hold(few, weigh.Yardstick{Profile: &profiles.Profile{}}, 5)
	require.Equal(t, result.NotMeasured, k.Result)
	require.NotEmpty(t, k.Note)
	k, _ = byName(t, Scale).hold(&curveFit{}, weigh.Yardstick{Profile: &profiles.Profile{}}, 5)
	require.Equal(t, result.NotMeasured, k.Result)
}

func TestStatedLimitReplacesTheContrastsOwn(t *testing.T) {
	p := &profiles.Profile{Stated: []profiles.Limit{{Finding: Scale, Unit: "%", Low: -30, High: 30}}}
	u := plainCurve
	u.scale = 1.2
	k, _ := byName(t, Scale).hold(newCurveFit(laid(u, goodRows(20, 12)), weigh.Yardstick{}), weigh.Yardstick{Profile: p}, 5)
	require.Equal(t, result.Passed, k.Result)
	require.InDelta(t, 30, *k.High, 0)
}

// The band is simultaneous: of good units drawn from the same normal spread,
// hardly more than the stated share has any point outside.
func TestBandIsSimultaneous(t *testing.T) {
	const m, trials = weigh.Refusal / 0.05, 400 // a finding with a rate of 5 %, so that it can be counted
	out := 0
	for k := range uint64(trials) {
		all := goodRows(21, 1000+k)
		f, points := laid(all[20], all[:20]).holdCurve(CurveUp, true, weigh.Yardstick{Profile: &profiles.Profile{}}, m)
		require.Len(t, points, 9)
		if f.Result != result.Passed {
			out++
		}
		outside := false
		for _, p := range points {
			outside = outside || p.Current < *p.Low || p.Current > *p.High
		}
		require.Equal(t, outside, f.Result != result.Passed, "the finding says what the band says")
	}
	// Points of one curve move together, so that fewer than 5 % fall out; at
	// most 20 + 3·√19 of 400 are compatible with 5 %.
	require.LessOrEqual(t, out, 33)
}

func TestCurveOfADirectionThatWasNotRun(t *testing.T) {
	k, points := laid(plainCurve, goodRows(20, 13)).holdCurve(CurveDown, false, weigh.Yardstick{Profile: &profiles.Profile{}}, 10)
	require.Equal(t, result.NotMeasured, k.Result)
	require.Empty(t, points)
	require.False(t, k.Rule.Core)
}
