package pump

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/kind"
	"dutybench/bench/kind/weigh"
	"dutybench/signal/stat"
)

func TestSpeedIsTheInverseOfPower(t *testing.T) {
	for _, φ := range append([]float64{shareOfFriction, 0.01, 1}, frictions...) {
		last := -1.0
		for w := 0.0; w <= 1.3; w += 0.01 {
			x := math.Cbrt(φ*w + (1-φ)*w*w*w)
			got := speed(x, φ)
			require.InDelta(t, w, got, 1e-6, "φ %g", φ)
			require.Greater(t, got, last, "rises")
			last = got
		}
	}
}

func TestMinimiseFindsTheLeast(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for range 200 {
		lo := -3 + 2*r.Float64()
		hi := lo + 0.5 + 4*r.Float64()
		at := lo + (hi-lo)*r.Float64()
		for name, f := range map[string]func(float64) float64{
			"square":  func(a float64) float64 { return 3 + (a-at)*(a-at) },
			"kink":    func(a float64) float64 { return 3 + math.Abs(a-at) },
			"one dip": func(a float64) float64 { return 4 - 1/(1+math.Pow(4*(a-at), 2)) + 0.01*math.Abs(a-at) },
		} {
			v, got := minimise(lo, hi, f)
			require.InDelta(t, at, got, 1e-3*(hi-lo), name)
			require.Equal(t, f(got), v, name)
			require.LessOrEqual(t, v-3, 1e-3*(hi-lo), name)
		}
		// At an end of the range.
		_, got := minimise(lo, hi, func(a float64) float64 { return a })
		require.InDelta(t, lo, got, 1e-4*(hi-lo))
		_, got = minimise(lo, hi, func(a float64) float64 { return -a })
		require.InDelta(t, hi, got, 1e-4*(hi-lo))
	}
	v, _ := minimise(0, 1, func(float64) float64 { return math.Inf(1) })
	require.True(t, math.IsInf(v, 1))
}

// curve is good units' current at the duties 20 to 100 %, and that of a unit.
type curve struct{ quiet, c, h, scale, limit float64 }

func (k curve) at(w float64) float64 {
	i := k.quiet + k.scale*(k.c*w+k.h*w*w*w)
	if k.limit > 0 {
		i = min(i, k.limit)
	}
	return i
}

var plainCurve = curve{quiet: 0.03, c: 0.6, h: 4, scale: 1}

// goodRows draws n good units: friction 6 %, water 2 %, scale 1 %.
func goodRows(n int, seed uint64) []curve {
	r := rand.New(rand.NewPCG(seed, 3))
	var out []curve
	for range n {
		k := plainCurve
		k.c *= 1 + 0.06*r.NormFloat64()
		k.h *= 1 + 0.02*r.NormFloat64()
		k.scale *= 1 + 0.01*r.NormFloat64()
		out = append(out, k)
	}
	return out
}

// laid is a unit's curve beside those of good units, as refer lays it, of the
// up direction only.
func laid(u curve, good []curve) *reference {
	r := &reference{quiet: plainCurve.quiet}
	for _, g := range good {
		r.full_A += g.at(1) / float64(len(good))
	}
	for d := 20.0; d <= 100; d += 10 {
		w := d / 100
		p := point{Point: kind.Point{Duty_pct: d, Up: true, Current: stat.Exact(u.at(w)), Supply_V: math.NaN(), Start_s: d}, u: 0.0005}
		for _, g := range good {
			p.good = append(p.good, math.Log(g.at(w)))
		}
		p.mean, p.sd = stat.MeanSD(p.good)
		p.sd, p.level = max(p.sd, least), math.Exp(p.mean)
		p.dev = math.Log(u.at(w)) - p.mean
		p.x = math.Cbrt((p.level - r.quiet) / (r.full_A - r.quiet))
		r.points = append(r.points, p)
	}
	return r
}

// Each law lies nearest to the curve that was made by it.
func TestEachLawKnowsItsOwn(t *testing.T) {
	good := goodRows(20, 4)
	for _, c := range []struct {
		name   string
		change func(k *curve)
		want   shape
		rivals []shape
	}{
		{"good", func(*curve) {}, level, []shape{scaled, drag, water, cap_, changed}},
		{"friction doubled", func(k *curve) { k.c *= 2 }, drag, []shape{level, water, cap_, scaled, changed}},
		{"friction up by half", func(k *curve) { k.c *= 1.5 }, drag, []shape{level, water, cap_, changed}},
		{"half the water", func(k *curve) { k.h /= 2 }, water, []shape{level, drag, cap_, changed}},
		{"no water", func(k *curve) { k.h *= 0.03 }, water, []shape{level, drag, cap_, scaled, changed}},
		{"limit", func(k *curve) { k.limit = 3 }, cap_, []shape{level, drag, water, scaled, changed}},
		{"all up by a third", func(k *curve) { k.scale *= 1.33; k.quiet *= 1.33 }, scaled, []shape{level, water, cap_, changed}},
	} {
		t.Run(c.name, func(t *testing.T) {
			u := plainCurve
			c.change(&u)
			f := newCurveFit(laid(u, good), weigh.Yardstick{})
			require.True(t, f.ok)
			for _, s := range c.rivals {
				assert.Less(t, f.distance(c.want), f.distance(s), "against shape %d", s)
			}
		})
	}
}

// A board that hears another duty draws what good units draw there: nothing
// that friction or water does.
func TestShiftedDutyIsItsOwnLaw(t *testing.T) {
	good := goodRows(20, 4)
	for _, share := range []float64{0.3, 0.6, -0.3, -0.5} {
		r := laid(plainCurve, good)
		for i := range r.points {
			p := &r.points[i]
			w := p.Duty_pct / 100 * (1 + share)
			if share > 0 {
				w = p.Duty_pct/100 + share*(1-p.Duty_pct/100)
			}
			p.dev = math.Log(plainCurve.at(w)) - p.mean
		}
		f := newCurveFit(r, weigh.Yardstick{})
		for _, s := range []shape{level, drag, water, cap_, scaled, changed} {
			near := 0.0
			if s == water && share < 0 {
				near = 2 // a little water less with another friction looks much alike
			}
			assert.Less(t, f.distance(shifted), f.distance(s)+near, "%g against shape %d", share, s)
		}
	}
}

// A lead that drops a tenth of the supply at full: constant power draws more
// where it drops most, a board that sets voltage less. Where the voltage was
// sampled this is no law of the curve at all.
func TestUnseenLeadIsItsOwnLaw(t *testing.T) {
	good := goodRows(20, 4)
	for γ, rival := range map[float64]shape{1: drag, -2: water} {
		r := laid(plainCurve, good)
		for i := range r.points {
			p := &r.points[i]
			v := 1.0
			for range 50 {
				v = 1 - 0.1*p.level/r.full_A*math.Pow(v, -γ)
			}
			p.dev = -γ * math.Log(v)
		}
		f := newCurveFit(r, weigh.Yardstick{})
		require.True(t, math.IsInf(f.distance(lead), 1), "the voltage was sampled")
		f.blind = true
		for _, s := range []shape{level, rival, changed} {
			assert.Less(t, f.distance(lead), f.distance(s), "%g against shape %d", γ, s)
		}
	}
}

// A law with nothing in it is no law: it costs its free constant and gains
// nothing.
func TestLawsOfAGoodCurveCostTheirConstant(t *testing.T) {
	f := newCurveFit(laid(plainCurve, goodRows(20, 5)), weigh.Yardstick{})
	at0 := f.distance(level)
	for _, s := range []shape{scaled, drag, water, cap_} {
		require.LessOrEqual(t, f.distance(s), at0+0.5*math.Log(9)+1e-9)
		require.Greater(t, f.distance(s), at0-1)
	}
}

func TestTooFewPointsGiveNoFit(t *testing.T) {
	r := laid(plainCurve, goodRows(20, 6))
	r.points = r.points[:2]
	f := newCurveFit(r, weigh.Yardstick{})
	require.False(t, f.ok)
	require.Zero(t, f.distance(drag), "no curve, no word on shapes")
	require.False(t, newCurveFit(&reference{}, weigh.Yardstick{}).ok)
}

// Duties measured up and down count once, with half of each.
func TestFitTakesEachDutyOnce(t *testing.T) {
	r := laid(plainCurve, goodRows(10, 7))
	down := laid(curve{quiet: 0.03, c: 0.6, h: 4, scale: 1.02}, goodRows(10, 7))
	n := len(r.points)
	for i := range down.points {
		down.points[i].Up = false
	}
	r.points = append(r.points, down.points...)
	f := newCurveFit(r, weigh.Yardstick{})
	require.Len(t, f.dev, n)
	for i := range f.dev {
		require.InDelta(t, (r.points[i].dev+down.points[i].dev)/2, f.dev[i], 1e-12)
		require.InDelta(t, 0.0005/math.Sqrt2, f.u[i], 1e-12)
	}
}
