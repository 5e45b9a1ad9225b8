package weigh

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
	"dutybench/signal/trace"
)

// weighing is a table of three findings about 100 with a deviation of one, of a
// unit that lies off by these.
func weighing(t *testing.T, a, b, c float64) *Table {
	t.Helper()
	p := &profiles.Profile{Name: "p"}
	r := rand.New(rand.NewPCG(3, 4))
	names := []string{"a", "b", "c"}
	for range 30 {
		var g profiles.GoodUnit
		for _, n := range names {
			g.Values = append(g.Values, profiles.Value{Name: n, X: 100 + 0.5*r.NormFloat64()})
		}
		p.Good = append(p.Good, g)
	}
	m := &kind.Measured{Trace: &trace.Trace{}}
	var rules []Rule
	for i, off := range []float64{a, b, c} {
		m.Values = append(m.Values, kind.Value{Name: names[i], Q: stat.Exact(100 + off)})
		rules = append(rules, Rule{Name: names[i], Low: true, High: true, Floor: 1})
	}
	return Hold(m, p, kind.Conditions{}, rules, 0)
}

func named(t *testing.T, ws []Weighed, name string) Weighed {
	t.Helper()
	for _, w := range ws {
		if w.Name == name {
			return w
		}
	}
	require.Fail(t, "no mode "+name)
	return Weighed{}
}

// What two findings say of the amount is found, with the sign that physics
// gives; the opposite sign loses, and so does a mode that moves only one.
func TestMovesRecoverTheAmount(t *testing.T) {
	modes := []Mode{
		{Name: "right", Cause: result.Mechanical, Prior: Seldom, Moves: map[string]float64{"a": 2, "b": -1}},
		{Name: "wrong sign", Cause: result.ControlBoard, Prior: Often, Moves: map[string]float64{"a": -2, "b": 1}},
		{Name: "half of it", Cause: result.Wiring, Prior: Often, Moves: map[string]float64{"a": 2}},
		{Name: "too much", Cause: result.Bench, Prior: Often, Moves: map[string]float64{"a": 2, "b": -1, "c": 5}},
	}
	for _, amount := range []float64{6, 10, 40} {
		ws := weighing(t, 2*amount, -amount, 0).Weigh("", modes)
		assert.Equal(t, "right", ws[0].Name)
		assert.InEpsilon(t, amount, ws[0].Amount, 0.1)
		assert.Greater(t, ws[0].Probability, 0.9)
		assert.Zero(t, named(t, ws, "wrong sign").Amount, "no amount of it fits")
		assert.Subset(t, ws[0].Pro, []string{"a"})
		assert.NotEmpty(t, named(t, ws, "wrong sign").Contra)
	}
}

// A mode whose tell-tale does not lie out, or on the other side, loses; one
// that was not measured costs less than one that was and is not there.
func TestNeedsMustLieOut(t *testing.T) {
	cost := func(table *Table, m Mode) float64 {
		m.Prior = Often
		return table.Weigh("", []Mode{m})[0].Cost
	}
	high := weighing(t, 20, 0, 0)
	assert.Zero(t, cost(high, Mode{Needs: []string{"+a"}}))
	assert.Zero(t, cost(high, Mode{Needs: []string{"c", "a"}}), "one of them is enough")
	assert.Equal(t, Most+Most*2, cost(high, Mode{Needs: []string{"-a"}}), "on the other side: it speaks against, and what is needed is missing")
	assert.Equal(t, 3*Most, cost(high, Mode{Needs: []string{"b"}}))
	assert.Equal(t, Most, cost(high, Mode{Needs: []string{"not measured"}, Explains: []string{"a"}}))
	assert.Equal(t, Most, cost(high, Mode{Explains: []string{"-a"}}))
	assert.Equal(t, 3.0, cost(high, Mode{Explains: []string{"a"}, Looks: func(*Table) float64 { return 3 }}))
}

// Without Needs, what a mode moves must lie out: an amount of none explains
// nothing. And what should have moved far and did not counts.
func TestAModeThatMovesNothingExplainsNothing(t *testing.T) {
	high := weighing(t, 20, 0, 0)
	idle := Mode{Name: "idle", Prior: Often, Moves: map[string]float64{"b": 1}, Explains: []string{"a"}}
	wrong := Mode{Name: "wrong way", Prior: Often, Moves: map[string]float64{"a": -1}}
	right := Mode{Name: "right", Prior: Often, Moves: map[string]float64{"a": 1}}
	more := Mode{Name: "more", Prior: Often, Moves: map[string]float64{"a": 1, "c": 1}}
	cost := map[string]float64{}
	for _, w := range high.Weigh("", []Mode{idle, wrong, right, more}) {
		cost[w.Name] = w.Cost
	}
	assert.Zero(t, cost["right"])
	assert.GreaterOrEqual(t, cost["idle"], Most)
	assert.GreaterOrEqual(t, cost["wrong way"], Most)
	assert.Greater(t, cost["more"], Most/2, "twenty deviations that are not there")
}

func TestModesOfAState(t *testing.T) {
	ws := weighing(t, 9, 0, 0).Weigh("ran", []Mode{{Name: "any", Prior: 1}, {Name: "ran", States: []string{"ran"}, Prior: 1}, {Name: "stood", States: []string{"stood"}, Prior: 1}})
	require.Len(t, ws, 2)
	assert.Nil(t, weighing(t, 9, 0, 0).Conclude(&kind.Assessment{}, "other", nil, nil))
}

// Probabilities sum to one whatever is thrown at them, and nothing panics.
func FuzzConclude(f *testing.F) {
	f.Add(8.0, -4.0, 0.0, 1.0, 2.0, 0.0)
	f.Add(math.NaN(), math.Inf(1), -1e300, 0.0, math.NaN(), math.Inf(-1))
	modes := func(m1, m2, cost float64) []Mode {
		return []Mode{
			{Name: "one", Cause: result.Mechanical, Prior: Often, Moves: map[string]float64{"a": m1, "b": m2}, Reuse: []string{"board"}, Next: "look"},
			{Name: "two", Cause: result.ControlBoard, Prior: Seldom, Needs: []string{"-b"}, Explains: []string{"+a"}},
			{Name: "three", Cause: result.Wiring, Prior: Rarely, Looks: func(*Table) float64 { return cost }, Like: []result.Cause{result.Bench}, Apart: "measure"},
		}
	}
	f.Fuzz(func(t *testing.T, a, b, c, m1, m2, cost float64) {
		var as kind.Assessment
		ws := weighing(t, a, b, c).Conclude(&as, "", modes(m1, m2, cost), nil)
		var modesum, sum float64
		for _, w := range ws {
			modesum += w.Probability
		}
		for i, k := range as.Causes {
			sum += k.Probability
			if i > 0 && k.Probability > as.Causes[i-1].Probability {
				t.Error("likeliest first")
			}
		}
		if !(math.Abs(sum-1) < 1e-9) || !(math.Abs(modesum-1) < 1e-9) {
			t.Errorf("causes sum to %v, modes to %v", sum, modesum)
		}
	})
}

// One cause is named alone where it is four times likelier than the next.
func TestConcludeNamesOneOrThePair(t *testing.T) {
	m := func(c result.Cause, prior float64) Mode {
		return Mode{Name: string(c), Cause: c, Prior: prior, Explains: []string{"a"}, Seen: "seen", Next: "next", Disproof: "no"}
	}
	for _, c := range []struct {
		second float64
		apart  bool
	}{{0.1, false}, {0.5, true}} {
		var a kind.Assessment
		weighing(t, 20, 0, 0).Conclude(&a, "", []Mode{m(result.Mechanical, 1), m(result.ControlBoard, c.second)}, func([]result.Cause) string { return "turn it" })
		assert.Equal(t, result.Mechanical, a.Causes[0].Cause)
		assert.Equal(t, c.apart, len(a.Inseparable) == 2)
		assert.Equal(t, map[bool]string{true: "turn it"}[c.apart], a.SeparatedBy)
		assert.Equal(t, []string{"a"}, a.Carried)
		assert.Equal(t, []string{"seen", "next", "no"}, []string{a.Seen, a.NextStep, a.Disproof})
		assert.Contains(t, a.Causes[0].For[1], "a 120 (good units")
	}
}
