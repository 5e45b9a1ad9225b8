package pump

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/kind"
	"dutybench/bench/result"
	"dutybench/profiles"
	"dutybench/signal/stat"
)

// Quantiles of Student's t as printed in any table (NIST/SEMATECH e-Handbook,
// 1.3.6.7.2): t(0.975) 2.776, 2.262, 2.093, 2.045 and t(0.995) 4.604, 3.250,
// 2.861, 2.756 at 4, 9, 19 and 29 degrees of freedom; t(0.999) 3.579 at 19.
func TestFactorAgainstPublishedQuantiles(t *testing.T) {
	for _, c := range []struct {
		n     int
		tail  float64
		table float64
	}{
		{5, 0.025, 2.776}, {10, 0.025, 2.262}, {20, 0.025, 2.093}, {30, 0.025, 2.045},
		{5, 0.005, 4.604}, {10, 0.005, 3.250}, {20, 0.005, 2.861}, {30, 0.005, 2.756},
		{20, 0.001, 3.579},
	} {
		want := c.table * math.Sqrt(1+1/float64(c.n))
		assert.InDelta(t, want, factor(c.n, Refusal/c.tail, 1), 6e-4, "%d units, one side", c.n)
		assert.InDelta(t, want, factor(c.n, Refusal/c.tail/2, 2), 6e-4, "%d units, two sides", c.n)
	}
	require.True(t, math.IsInf(factor(1, 10, 1), 1), "one unit bounds nothing")
	require.Greater(t, factor(20, 20, 2), factor(20, 10, 2), "a smaller share is a wider limit")
	require.Greater(t, factor(10, 10, 2), factor(20, 10, 2), "fewer units are a wider limit")
}

// values is a profile whose good units measured one thing.
func goodValues(name string, xs ...float64) *profiles.Profile {
	p := &profiles.Profile{Name: "p"}
	for _, x := range xs {
		p.Good = append(p.Good, profiles.GoodUnit{Values: []profiles.Value{{Name: name, X: x}}})
	}
	return p
}

func ruleFor(t *testing.T, name string) rule {
	t.Helper()
	for _, r := range rules {
		if r.name == name {
			return r
		}
	}
	require.Fail(t, "no rule "+name)
	return rule{}
}

func held(t *testing.T, name string, q stat.Quantity, p *profiles.Profile) check {
	t.Helper()
	return ruleFor(t, name).hold(&kind.Value{Name: name, Q: q}, yardstick{profile: p}, 10)
}

// A new unit from the same normal spread falls outside at the stated rate:
// the limits are those of a prediction interval, not of the good units' range.
func TestLimitsAreAPredictionForTheNextUnit(t *testing.T) {
	r := rand.New(rand.NewPCG(20, 20))
	ru := rule{low: true, high: true}
	const trials, tail = 20000, 0.05
	out := 0
	for range trials {
		good := make([]float64, 6)
		for i := range good {
			good[i] = 5 + 0.3*r.NormFloat64()
		}
		low, high, _ := ru.limits(good, Refusal/tail)
		if x := 5 + 0.3*r.NormFloat64(); x < low || x > high {
			out++
		}
	}
	low, high := stat.ClopperPearson(out, trials, 0.999)
	require.True(t, low <= tail && tail <= high, "%d of %d", out, trials)
}

// All findings together refuse at most the stated share, whether or not they
// are independent (Bonferroni).
func TestSharesOfAllFindingsAddUp(t *testing.T) {
	share := float64(len(contrasts)) / contrastShare
	others := float64(len(rules)+2) / (1 - contrastShare)
	sum := float64(len(contrasts))/share + float64(len(rules)+2)/others
	require.InDelta(t, 1, sum, 1e-12)
}

func TestHoldOneValue(t *testing.T) {
	p := goodValues(Full, 4.7, 4.75, 4.8, 4.85, 4.9)
	exact := func(x float64) stat.Quantity { return stat.Exact(x) }
	require.Equal(t, result.Passed, held(t, Full, exact(4.8), p).Result)
	low, high := held(t, Full, exact(4.8), p).Low, held(t, Full, exact(4.8), p).High
	for _, c := range []struct {
		name string
		q    stat.Quantity
		want result.Outcome
		side float64
	}{
		{"just inside above", exact(*high * 0.9999), result.Passed, 1},
		{"just outside above", exact(*high * 1.0001), result.Failed, 1},
		{"just inside below", exact(*low * 1.0001), result.Passed, -1},
		{"just outside below", exact(*low * 0.9999), result.Failed, -1},
		{"outside, but by less than it is known to", exact(*high*1.01).With("noise", 0.5, 0), result.Doubtful, 1},
		{"nothing at all", exact(0), result.Failed, -1},
		{"negative", exact(-0.1), result.Failed, -1},
	} {
		k := held(t, Full, c.q, p)
		assert.Equal(t, c.want, k.Result, c.name)
		assert.Equal(t, c.side > 0, k.z > 0, c.name)
		assert.Equal(t, c.side < 0, k.down, c.name)
	}
}

func TestCountsAreHeldToTheWorstGoodUnit(t *testing.T) {
	p := goodValues(StartAttempts, 1, 1, 2, 1, 1)
	require.Equal(t, result.Passed, held(t, StartAttempts, stat.Exact(2), p).Result)
	k := held(t, StartAttempts, stat.Exact(3), p)
	require.Equal(t, result.Failed, k.Result)
	require.Nil(t, k.Uncertainty, "a count has none")
	require.InDelta(t, 10, k.z, 0)
}

func TestOneSidedFindingsSayNothingOnTheOther(t *testing.T) {
	p := goodValues(StartDelay, 0.5, 0.51, 0.49, 0.5, 0.5)
	k := held(t, StartDelay, stat.Exact(0.1), p)
	require.Equal(t, result.Passed, k.Result)
	require.Zero(t, k.z)
	require.Nil(t, k.Low)
	require.Equal(t, result.Failed, held(t, StartDelay, stat.Exact(0.9), p).Result)
}

func TestStatedLimitReplacesTheLearnedOne(t *testing.T) {
	p := goodValues(Full, 4.7, 4.75, 4.8, 4.85, 4.9)
	p.Stated = []profiles.Limit{{Finding: Full, Unit: "A", Low: 2.8, High: math.NaN()}}
	k := held(t, Full, stat.Exact(30), p)
	require.Equal(t, result.Passed, k.Result)
	require.Nil(t, k.High, "a side that is not stated has no limit")
	require.Equal(t, result.Failed, held(t, Full, stat.Exact(2.7), p).Result)
}

func TestNotMeasuredIsNeverAPass(t *testing.T) {
	for _, ru := range rules {
		p := goodValues(ru.name, 1, 1.1, 0.9, 1, 1)
		for _, v := range []*kind.Value{nil, {Name: ru.name, Missing: "not run"}} {
			k := ru.hold(v, yardstick{profile: p}, 10)
			require.Equal(t, result.NotMeasured, k.Result, ru.name)
			require.Nil(t, k.Value)
		}
	}
}

// The floor counts where good units spread less than a bench can repeat.
func TestFloorsKeepTinySpreadsApart(t *testing.T) {
	p := goodValues(Quiet, 0.03, 0.03, 0.03, 0.03, 0.03)
	k := held(t, Quiet, stat.Exact(0.0301), p)
	require.Equal(t, result.Passed, k.Result)
	require.Greater(t, *k.High-*k.Low, 0.004)
}

func TestEveryFindingHasItsUnit(t *testing.T) {
	want := map[string]string{
		SwitchOnCharge: "C", Quiet: "A", StartAttempts: "", StartDelay: "s", StartSettle: "s", StartLevel: "A", StartPeak: "A",
		Full: "A", Response: "%", Hysteresis: "%", DropOuts: "", Rotation: "%", Unrest: "%", SupplyDrop: "ohm", SupplyFold: "V",
		ShaftSpeed: "rpm", Ripple: "%", TurnDepth: "%", HoldFall: "%", WarmDrift: "%", Restarts: "", RestartTrys: "",
	}
	require.Len(t, rules, len(want))
	for _, r := range rules {
		require.Equal(t, want[r.name], unitFor(r.name), r.name)
		require.NotEmpty(t, r.about)
		require.True(t, r.low || r.high, "%s is held against nothing", r.name)
	}
}
