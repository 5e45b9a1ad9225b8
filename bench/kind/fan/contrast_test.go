package fan

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/kind"
	"dutybench/bench/kind/weigh"
	"dutybench/bench/result"
	"dutybench/profiles"
	"dutybench/signal/stat"
	"dutybench/signal/trace"
)

// duties and the current of a fan at them: rest, friction with the speed, air
// with its cube, speed with the duty.
var duties = []float64{20, 35, 50, 65, 80, 95}

func current(duty, friction, air float64) float64 {
	w := duty / 95
	return 0.07 + 0.3*friction*w + 10*air*w*w*w
}

func goodFans(n int) *profiles.Profile {
	r := rand.New(rand.NewPCG(7, 8))
	p := &profiles.Profile{Name: "p", Grid: duties}
	for range n {
		f, a := 1+0.12*r.NormFloat64(), 1+0.025*r.NormFloat64()
		g := profiles.GoodUnit{Values: []profiles.Value{{Name: Quiet, X: 0.07}, {Name: AirShare, X: 100 * 10 * a / (0.3*f + 10*a)}}}
		for _, d := range duties {
			g.Up = append(g.Up, current(d, f, a)*(1+0.001*r.NormFloat64()))
			g.Down = append(g.Down, current(d, f, a)*(1+0.001*r.NormFloat64()))
		}
		p.Good = append(p.Good, g)
	}
	return p
}

// swept is a unit's plateaus with the highest current limited.
func swept(friction, air, limit float64) *kind.Measured {
	m := &kind.Measured{Trace: &trace.Trace{}}
	for i, d := range append(duties, 80, 65, 50, 35, 20) {
		amps := min(current(d, friction, air), limit)
		m.Curve = append(m.Curve, kind.Point{Duty_pct: d, Up: i < len(duties), Current: stat.Quantity{Value: amps}.With("noise", 0.001*amps, 0), Supply_V: math.NaN()})
	}
	return m
}

// Each contrast gives its own amount and leaves the others alone, alone and all
// together.
func TestContrastsRecoverWhatIsWrong(t *testing.T) {
	p := goodFans(40)
	y := weigh.Yardstick{Profile: p}
	share := 0.3 * 20 / 95 / current(20, 1, 1) // of friction at the lowest duty
	for _, c := range []struct {
		friction, air, limit float64
		want                 [3]float64 // per cent
		out                  [3]bool
	}{
		{1, 1, 99, [3]float64{0, 0, 0}, [3]bool{}},
		{2.5, 1, 99, [3]float64{150 * share, 0, 0}, [3]bool{true, false, false}},
		{1, 0.5, 99, [3]float64{0, -48.3, 0}, [3]bool{false, true, false}},
		{1, 1.3, 99, [3]float64{0, 29, 0}, [3]bool{false, true, false}},
		{1, 1, 8, [3]float64{0, 0, 22.8}, [3]bool{false, false, true}},
		{2, 0.6, 99, [3]float64{100 * share, -38.6, 0}, [3]bool{true, true, false}},
	} {
		checks, unseen := lay(swept(c.friction, c.air, c.limit), y, newNormal(&trace.Trace{}, p)).hold(&trace.Trace{}, y, 10)
		require.Len(t, checks, 3)
		assert.Len(t, unseen, 3)
		for k := range checks {
			assert.InDelta(t, c.want[k], *checks[k].Value, 2.5, "%s of %v", checks[k].Name, c)
			assert.Equal(t, c.out[k], checks[k].Result == result.Failed, "%s of %v: %+v", checks[k].Name, c, checks[k].Finding)
		}
	}
}

// Where no speed of a good unit was told, what the split is unsure of is in its
// uncertainty: neither side is blamed for the other's fault.
func TestContrastsWithoutSpeedBlameNeither(t *testing.T) {
	p := goodFans(40)
	for i := range p.Good {
		p.Good[i].Values = p.Good[i].Values[:1]
	}
	y := weigh.Yardstick{Profile: p}
	for _, c := range []struct {
		friction, air float64
		wrong, other  int
	}{{3, 1, 0, 1}, {1, 0.5, 1, 0}, {1, 1.4, 1, 0}} {
		checks, _ := lay(swept(c.friction, c.air, 99), y, newNormal(&trace.Trace{}, p)).hold(&trace.Trace{}, y, 10)
		assert.Equal(t, result.Failed, checks[c.wrong].Result, "%+v", checks[c.wrong].Finding)
		assert.NotEqual(t, result.Failed, checks[c.other].Result, "%s %.3g", checks[c.other].Name, *checks[c.other].Value)
	}
}

// Good units are refused by a contrast at its share of the rate.
func TestContrastsRefuseGoodUnitsAtTheirRate(t *testing.T) {
	p := goodFans(40)
	y := weigh.Yardstick{Profile: p}
	r := rand.New(rand.NewPCG(9, 9))
	const tail, trials = 0.05, 600
	n := newNormal(&trace.Trace{}, p)
	first := lay(swept(1, 1, 99), y, n)
	g := first.patterns(first.shares[0])
	w, ok := first.weights(first.rows, g)
	require.True(t, ok)
	sds := first.spread(w, g)
	for k := range 2 { // the third is one-sided and its spread the floor
		out := 0
		for range trials {
			c := lay(swept(1+0.12*r.NormFloat64(), 1+0.025*r.NormFloat64(), 99), y, n)
			var v float64
			for j := range c.dev {
				v += w.At(k, j) * c.dev[j]
			}
			if math.Abs(v) > weigh.Factor(40, weigh.Refusal/tail, 2)*sds[k] {
				out++
			}
		}
		low, high := stat.ClopperPearson(out, trials, 0.999)
		assert.True(t, low <= tail*1.5 && high >= tail/1.5, "%s: %d of %d; one profile's own error is in it", contrasts[k].name, out, trials)
	}
}

func TestTooLittleIsNotMeasured(t *testing.T) {
	p := goodFans(40)
	few := goodFans(4)
	for name, c := range map[string]struct {
		m *kind.Measured
		p *profiles.Profile
	}{
		"four good units": {swept(1, 1, 99), few},
		"three duties":    {&kind.Measured{Trace: &trace.Trace{}, Curve: swept(1, 1, 99).Curve[:3]}, p},
		"no plateau":      {&kind.Measured{Trace: &trace.Trace{}}, p},
		"no good unit":    {swept(1, 1, 99), &profiles.Profile{}},
	} {
		y := weigh.Yardstick{Profile: c.p}
		checks, _ := lay(c.m, y, newNormal(&trace.Trace{}, c.p)).hold(&trace.Trace{}, y, 10)
		for _, k := range checks {
			assert.Equal(t, result.NotMeasured, k.Result, name)
			assert.NotEmpty(t, k.Note)
		}
	}
}

// Currents at another supply are brought to that of the good units, and what
// that is unsure of is said: a tenth less of it, by the regulation.
func TestSupplyByRegulation(t *testing.T) {
	for regulation, want := range map[string]float64{"speed": 0.9, "voltage": 1 / 0.81, "unknown": 1} {
		p := &profiles.Profile{Learned: profiles.Learned{Supply_V: 13}, Section: &Section{Regulation: regulation}}
		q := newNormal(&trace.Trace{}, p).bring(kind.Point{Current: stat.Exact(5), Supply_V: 0.9 * 13}, []float64{5, 5})
		assert.InEpsilon(t, 5*want, q.Value, 1e-9, regulation)
		assert.Greater(t, q.U(), 0.1, regulation)
		assert.Equal(t, 5.0, newNormal(&trace.Trace{}, p).bring(kind.Point{Current: stat.Exact(5), Supply_V: math.NaN()}, []float64{5, 5}).Value)
	}
}
