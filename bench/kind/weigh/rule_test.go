package weigh

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/kind"
	"dutybench/bench/result"
	"dutybench/profiles"
	"dutybench/signal/stat"
	"dutybench/signal/trace"
)

// Two measurements of no kind in particular.
const (
	quiet = "quiet_current"
	full  = "full_current"
)

// Quantiles of Student's t as printed in any table (NIST/SEMATECH e-Handbook,
// 1.3.6.7.2): t(0.975) 2.776, 2.262, 2.093, 2.045, t(0.995) 4.604, 3.250, 2.861,
// 2.756 and t(0.999) 7.173, 4.297, 3.579, 3.396 at 4, 9, 19 and 29 degrees of
// freedom. A prediction interval for one more unit is t·√(1+1/n) wide (Hahn and
// Meeker, Statistical Intervals, 1991, 4.7, from memory).
func TestFactorAgainstPublishedQuantiles(t *testing.T) {
	table := map[float64][]float64{0.025: {2.776, 2.262, 2.093, 2.045}, 0.005: {4.604, 3.250, 2.861, 2.756}, 0.001: {7.173, 4.297, 3.579, 3.396}}
	for tail, row := range table {
		for i, n := range []int{5, 10, 20, 30} {
			want := row[i] * math.Sqrt(1+1/float64(n))
			assert.InDelta(t, want, Factor(n, Refusal/tail, 1), 6e-4, "%d units, one side", n)
			assert.InDelta(t, want, Factor(n, Refusal/tail/2, 2), 6e-4, "%d units, two sides", n)
		}
	}
	require.True(t, math.IsInf(Factor(1, 10, 1), 1), "one unit bounds nothing")
	require.Greater(t, Factor(20, 20, 2), Factor(20, 10, 2), "a smaller share is a wider limit")
	require.Greater(t, Factor(10, 10, 2), Factor(20, 10, 2), "fewer units are a wider limit")
}

// goodValues is a profile whose good units measured one thing.
func goodValues(name string, xs ...float64) *profiles.Profile {
	p := &profiles.Profile{Name: "p"}
	for _, x := range xs {
		p.Good = append(p.Good, profiles.GoodUnit{Values: []profiles.Value{{Name: name, X: x}}})
	}
	return p
}

func held(r Rule, q stat.Quantity, p *profiles.Profile) Check {
	return r.Hold(&kind.Value{Name: r.Name, Unit: r.Unit, Q: q}, Yardstick{Profile: p}, 10)
}

func TestHoldOneValue(t *testing.T) {
	p := goodValues(full, 4.7, 4.75, 4.8, 4.85, 4.9)
	exact := stat.Exact
	for _, r := range []Rule{{Name: full, Unit: "A", Low: true, High: true, Log: true, Share: 0.005}, {Name: full, Unit: "A", Low: true, High: true, Floor: 0.01}} {
		middle := held(r, exact(4.8), p)
		require.Equal(t, result.Passed, middle.Result)
		assert.InDelta(t, 0, middle.Z, 0.1)
		assert.Equal(t, 5, middle.N)
		// By hand: the sample's deviation is 0.0791 A; 4.8 ± t·√1.2 of it, in
		// logarithms with the same ratio up as down.
		low, high := middle.Low, middle.High
		if out := Factor(5, 10, 2); r.Log {
			assert.InEpsilon(t, 2*out*0.0791/4.8, math.Log(*high / *low), 0.01)
		} else {
			assert.InDelta(t, 4.8+out*0.0791, *high, 1e-3)
			assert.InDelta(t, 4.8-out*0.0791, *low, 1e-3)
		}
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
			k := held(r, c.q, p)
			assert.Equal(t, c.want, k.Result, c.name)
			assert.Greater(t, c.side*k.Z, 0.0, c.name)
		}
	}
}

func TestCountsAreHeldToTheWorstGoodUnit(t *testing.T) {
	r := Rule{Name: "tries", High: true, Count: true}
	p := goodValues("tries", 1, 1, 2, 1, 1)
	require.Equal(t, result.Passed, held(r, stat.Exact(2), p).Result)
	k := held(r, stat.Exact(3), p)
	require.Equal(t, result.Failed, k.Result)
	require.Nil(t, k.Uncertainty, "a count has none")
	require.InDelta(t, 10, k.Z, 0)
	both := Rule{Name: "tries", Low: true, High: true, Count: true}
	require.Equal(t, result.Failed, held(both, stat.Exact(0), p).Result)
	require.InDelta(t, -10, held(both, stat.Exact(0), p).Z, 0)
	// Good units differ in it: the sixth lies beyond in one of six at most.
	table := Hold(&kind.Measured{Trace: &trace.Trace{}}, p, kind.Conditions{}, []Rule{r}, 0)
	require.InDelta(t, Refusal+1.0/6, table.Assessment(nil).Refusal, 1e-12)
	k = held(Rule{Name: full, High: true, Count: true}, stat.Exact(0), goodValues(full, 2, 2, 3))
	require.Equal(t, result.Passed, k.Result)
	require.Zero(t, *k.Spread, "fewer than any good unit, on a side without a limit")
}

func TestOneSidedFindingsSayNothingOnTheOther(t *testing.T) {
	r := Rule{Name: "delay", Unit: "s", High: true, Floor: 0.02}
	p := goodValues("delay", 0.5, 0.51, 0.49, 0.5, 0.5)
	k := held(r, stat.Exact(0.1), p)
	require.Equal(t, result.Passed, k.Result)
	require.Zero(t, k.Z)
	require.Nil(t, k.Low)
	require.Equal(t, result.Failed, held(r, stat.Exact(0.9), p).Result)
	require.Greater(t, *k.High, 0.55, "the floor counts where good units spread less than a bench can repeat")
}

func TestStatedLimitReplacesTheLearnedOne(t *testing.T) {
	r := Rule{Name: full, Unit: "A", Low: true, High: true, Log: true}
	p := goodValues(full, 4.7, 4.75, 4.8, 4.85, 4.9)
	p.Stated = []profiles.Limit{{Finding: full, Unit: "A", Low: 2.8, High: math.NaN()}}
	k := held(r, stat.Exact(30), p)
	require.Equal(t, result.Passed, k.Result)
	require.Nil(t, k.High, "a side that is not stated has no limit")
	require.Equal(t, result.Failed, held(r, stat.Exact(2.7), p).Result)
}

// What depends on its bench is held on the benches of the good units only.
func TestHomeIsHeldAtHome(t *testing.T) {
	r := Rule{Name: "ripple", Unit: "%", Low: true, High: true, Home: true}
	p := goodValues("ripple", 5, 5.1, 4.9, 5, 5.05)
	for _, away := range []bool{false, true} {
		k := r.Hold(&kind.Value{Name: "ripple", Unit: "%", Q: stat.Exact(9)}, Yardstick{Profile: p, Elsewhere: away}, 10)
		assert.Equal(t, map[bool]result.Outcome{false: result.Failed, true: result.Passed}[away], k.Result)
		assert.Equal(t, away, k.N == 0)
	}
}

// Like and Never stand in where good units have no value of their own.
func TestOtherRowsStandIn(t *testing.T) {
	p := goodValues("tries", 1, 2, 1)
	assert.Equal(t, []float64{1, 2, 1}, Rule{Name: "later_tries", Like: "tries"}.Good(p))
	assert.Equal(t, []float64{0, 0}, Rule{Name: "gaps", Never: true}.Good(p))
	assert.Empty(t, Rule{Name: "other"}.Good(p))
}

func TestNotMeasuredIsNeverAPass(t *testing.T) {
	r := Rule{Name: full, Unit: "A", Low: true, High: true, Log: true, Core: true}
	p := goodValues(full, 1, 1.1, 0.9, 1, 1)
	wide := stat.Exact(1).With("noise", 5, 0)
	for name, v := range map[string]*kind.Value{"none": nil, "not run": {Name: full, Missing: "not run"}, "no number": {Name: full, Q: stat.Exact(math.NaN())},
		"no end": {Name: full, Q: stat.Exact(math.Inf(1))}, "known no better than the band": {Name: full, Unit: "A", Q: wide}, "known to nothing": {Name: full, Q: stat.Exact(1).With("noise", math.NaN(), 0)}} {
		k := r.Hold(v, Yardstick{Profile: p}, 10)
		require.Equal(t, result.NotMeasured, k.Result, name)
		require.Nil(t, k.Value, name)
		require.False(t, math.IsNaN(k.Z), name)
		table := &Table{Yardstick: Yardstick{Profile: p}, measured: &kind.Measured{Trace: &trace.Trace{}}}
		table.Add(k)
		require.NotEmpty(t, table.Assessment(nil).Lacking, "%s: a core finding", name)
	}
}

// A new unit from the same normal spread falls outside at the stated rate:
// the limits are those of a prediction interval, not of the good units' range.
func TestLimitsAreAPredictionForTheNextUnit(t *testing.T) {
	r := rand.New(rand.NewPCG(20, 20))
	ru := Rule{Low: true, High: true}
	const trials, tail = 20000, 0.05
	out := 0
	for range trials {
		good := make([]float64, 6)
		for i := range good {
			good[i] = 5 + 0.3*r.NormFloat64()
		}
		low, high, _ := ru.Limits(good, Refusal/tail)
		if x := 5 + 0.3*r.NormFloat64(); x < low || x > high {
			out++
		}
	}
	low, high := stat.ClopperPearson(out, trials, 0.999)
	require.True(t, low <= tail && tail <= high, "%d of %d", out, trials)
}

// Of good units drawn from a normal spread, whole tests of several findings
// together refuse about the stated share: the limits are those of a prediction
// interval and Bonferroni's shares, independent findings here, so that hardly
// anything is given away.
func TestGoodUnitsAreRefusedAtTheStatedRate(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 20))
	var rules []Rule
	for i := range 4 {
		rules = append(rules, Rule{Name: fmt.Sprint("x", i), Low: true, High: true, Log: i%2 == 0})
	}
	draw := func(i int) float64 {
		if x := 1 + 0.03*r.NormFloat64(); i%2 > 0 {
			return x
		}
		return math.Exp(0.03 * r.NormFloat64())
	}
	const trials = 12000
	out := 0
	for range trials {
		p := &profiles.Profile{Name: "p"}
		for range 8 {
			var g profiles.GoodUnit
			for i, ru := range rules {
				g.Values = append(g.Values, profiles.Value{Name: ru.Name, X: draw(i)})
			}
			p.Good = append(p.Good, g)
		}
		m := &kind.Measured{Trace: &trace.Trace{}}
		for i, ru := range rules {
			m.Values = append(m.Values, kind.Value{Name: ru.Name, Q: stat.Exact(draw(i))})
		}
		a := Hold(m, p, kind.Conditions{}, rules, 0).Assessment(nil)
		if !a.Flawless() {
			out++
			assert.LessOrEqual(t, a.Chance, Refusal*1.0001, "whoever lies out does so by the rate that is stated")
		}
	}
	low, high := stat.ClopperPearson(out, trials, 0.999)
	require.True(t, low <= Refusal && Refusal <= high, "%d of %d", out, trials)
}

// Ratios of values about nought limit nothing: the finding says so and does not
// pass.
func TestALimitThatSaysNothingIsNone(t *testing.T) {
	p := &profiles.Profile{}
	for _, x := range []float64{1e-9, 1e-3, 2e-3, 1e-7, 5e-4, 1e-5, 3e-3, 1e-8, 2e-6, 1e-4} {
		p.Good = append(p.Good, profiles.GoodUnit{Values: []profiles.Value{{Name: "x", X: x}, {Name: "y", X: 1 + x}}})
	}
	y := Yardstick{Profile: p}
	for _, c := range []struct {
		name string
		want result.Outcome
	}{{"x", result.NotMeasured}, {"y", result.Passed}} {
		k := Rule{Name: c.name, Log: true, Low: true, High: true, Share: 0.01}.Hold(&kind.Value{Name: c.name, Q: stat.Exact(1)}, y, 3)
		assert.Equal(t, c.want, k.Result, "%s: %+v", c.name, k.Finding)
	}
}
