package pump

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"dutybench/bench/kind/weigh"
	"dutybench/bench/result"
	"dutybench/signal/stat"
)

// Names of the findings that come from the curve as a whole.
const (
	CurveUp   = "curve_up"
	CurveDown = "curve_down"
	Scale     = "common_scale"
	LowSpeed  = "low_speed_excess"
	HighSpeed = "high_speed_shortfall"
	FlatTop   = "flat_top"
)

// contrast is one direction in which a whole curve can lie off. Single
// coefficients of power in speed are nearly collinear over nine plateaus (ω
// against ω²: −0.99); a contrast is what the data can carry. Its pattern is
// the relative change that a small fault makes; the weights are those that
// tell the pattern best from what good units do anyway (Fisher's linear
// discriminant, weights ~ Σ⁻¹·pattern with the good units' covariance Σ).
type contrast struct {
	name      string
	low, high bool
	sign      float64 // 1 for an excess, −1 for a shortfall
	about     string
	unseen    string // the effect, with room for the size from which it is seen
	pattern   func(f *curveFit, i int) float64
}

// shareOfFriction is φ for the patterns, in the middle of frictions; the
// direction of a pattern hardly depends on it.
const shareOfFriction = 0.2

var contrasts = []contrast{
	{Scale, true, true, 1, "the whole curve too high or too low, in proportion",
		"a board whose whole curve is off by %.2g %%", func(*curveFit, int) float64 { return 1 }},
	{LowSpeed, false, true, 1, "excess that is largest at low speed, as friction lifts a curve",
		"friction that lifts the current at low speed by %.2g %%", func(f *curveFit, i int) float64 {
			w := speed(f.x[i], shareOfFriction)
			return w * (0.5 + 0.5*w) / f.level[i]
		}},
	{HighSpeed, false, true, -1, "shortfall that grows with speed, as missing water lowers a curve",
		"missing water that lowers the current at full by %.2g %%", func(f *curveFit, i int) float64 {
			w := speed(f.x[i], shareOfFriction)
			return -w * w * w / f.level[i]
		}},
	{FlatTop, false, true, -1, "shortfall of the highest duty against what the rest of the curve asks for: a limit flattens it",
		"a limit that takes %.2g %% off the current at full", func(f *curveFit, i int) float64 {
			if i == len(f.x)-1 {
				return -1
			}
			return 0
		}},
}

// hold measures a contrast against that of each good unit. The value is the
// size of the pattern in per cent of current where the pattern is largest.
func (c contrast) hold(f *curveFit, y weigh.Yardstick, m float64) (k weigh.Check, unseen string) {
	ru := weigh.Rule{Name: c.name, Unit: "%", Low: c.low, High: c.high}
	k = weigh.Check{Finding: result.Finding{Name: ru.Name, Unit: ru.Unit, Result: result.NotMeasured}, Rule: ru, Chance: 1}
	if len(f.dev) < 3 || len(f.rows) < 5 {
		k.Note = "it takes three duties that the profile knows too, and five good units"
		return k, ""
	}
	w, sd, ok := c.weigh(f)
	if !ok {
		k.Note = "the good units' curves are too alike to weigh duties against each other"
		return k, ""
	}
	v, u2 := 0.0, 0.0
	for i := range w {
		v += w[i] * f.dev[i]
		u2 += w[i] * w[i] * f.u[i] * f.u[i]
	}
	q := stat.Quantity{Value: v}.With("noise and settling of the plateaus", math.Sqrt(u2), 0)
	for _, s := range f.common {
		var sum float64
		for i := range w {
			sum += w[i] * s.by[i]
		}
		q = s.add(q, math.Abs(sum))
	}
	own, shared := y.Counts(q)
	z := v / math.Hypot(sd, math.Hypot(own, shared))
	out := weigh.Factor(len(f.rows), m, ru.Sides()) // how many spreads the limit lies out
	k.Z, k.N, k.Spread = ru.OnSide(z), len(f.rows), &z
	k.Chance = weigh.Chance(k.Z, k.N, m, ru.Sides())
	// From a logarithm to per cent: a shortfall of all there is is 100 %.
	percent := func(v float64) float64 { return c.sign * 100 * math.Expm1(c.sign*v) }
	low, high := math.NaN(), math.NaN()
	if c.low {
		low = percent(-out * sd)
	}
	if c.high {
		high = percent(out * sd)
	}
	scale := 100 * math.Exp(c.sign*v)
	spread := scale * sd
	if l, ok := weigh.Stated(y.Profile, c.name); ok {
		low, high, spread = l.Low, l.High, math.NaN()
	}
	k.Note = c.about
	q = q.Scale(scale)
	q.Value = percent(v)
	y.Hold(&k, q, spread, low, high)
	seen := (out + ninth) * math.Hypot(sd, math.Hypot(own, shared))
	return k, fmt.Sprintf(c.unseen, math.Abs(percent(seen)))
}

// ninth is the normal quantile of 0.9: an effect so many spreads beyond a limit
// is caught in nine of ten units.
const ninth = 1.2816

// weigh gives the contrast's weights over the duties, for a pattern whose
// largest part is one, and its standard deviation among good units.
func (c contrast) weigh(f *curveFit) (w []float64, sd float64, ok bool) {
	g := make([]float64, len(f.dev))
	largest := 0.0
	for i := range g {
		g[i] = c.pattern(f, i)
		largest = max(largest, math.Abs(g[i]))
	}
	for i := range g {
		g[i] /= largest
	}
	if w, ok = weights(f.rows, g); !ok {
		return nil, 0, false
	}
	return w, spreadOf(f.rows, g, w), true
}

// weights are Σ⁻¹g/(gᵀΣ⁻¹g): applied to a curve that is off by a times the
// pattern they give a.
func weights(rows [][]float64, g []float64) ([]float64, bool) {
	cov := goodCovariance(rows)
	if cov == nil {
		return nil, false
	}
	n := len(g)
	for i := range n {
		cov.SetSym(i, i, cov.At(i, i)+least*least)
	}
	var chol mat.Cholesky
	var w mat.VecDense
	pattern := mat.NewVecDense(n, slices.Clone(g))
	if !chol.Factorize(cov) || chol.SolveVecTo(&w, pattern) != nil {
		return nil, false
	}
	scale := mat.Dot(&w, pattern)
	out := make([]float64, n)
	for i := range out {
		out[i] = w.AtVec(i) / scale
	}
	return out, true
}

// spreadOf is the standard deviation of a contrast among good units. Weights
// made from the same units that they are then applied to look sharper than
// they are, so each unit is measured with the weights of the others.
func spreadOf(rows [][]float64, g, w []float64) float64 {
	n := len(rows)
	var ss float64
	for k := range rows {
		others := slices.Delete(slices.Clone(rows), k, k+1)
		wk, ok := weights(others, g)
		if !ok {
			wk = w
		}
		var v float64
		for i := range g {
			var mean float64
			for _, o := range others {
				mean += o[i] / float64(n-1)
			}
			v += wk[i] * (rows[k][i] - mean)
		}
		ss += v * v
	}
	var floor float64
	for i := range w {
		floor += w[i] * w[i] * least * least
	}
	// A unit's distance from the mean of the others is wider than from the
	// true mean by √(1+1/(n−1)).
	return math.Sqrt(max(ss/float64(n)/(1+1/float64(n-1)), floor))
}

// fewest is how many good units every point has.
func fewest(pts []point) int {
	n := math.MaxInt
	for _, q := range pts {
		n = min(n, len(q.good))
	}
	return n
}

// holdCurve gives the band and the finding of one direction: the plateau that
// lies farthest out, in spreads. The band is simultaneous: each of its points
// takes a share of the finding's rate.
func (r *reference) holdCurve(name string, up bool, y weigh.Yardstick, m float64) (weigh.Check, []result.Point) {
	f := weigh.Check{Finding: result.Finding{Name: name, Unit: "%", Result: result.NotMeasured}, Rule: weigh.Rule{Name: name, Unit: "%", Low: true, High: true, Core: up}, Chance: 1}
	var of []point
	for _, q := range r.points {
		if q.Up == up {
			of = append(of, q)
		}
	}
	if len(of) == 0 {
		f.Note = "no plateau of this direction lies within the profile's duties"
		return f, nil
	}
	f.N = fewest(of)
	k := weigh.Factor(f.N, m*float64(len(of)), 2)
	var points []result.Point
	var held weigh.Check
	at := of[0]
	for i, q := range of {
		g := r.holdPoint(f, q, y, k, m*float64(len(of)))
		if i == 0 || weigh.Worse(&g, &held) {
			held, at = g, q
		}
		low, high := q.level*math.Exp(-k*q.sd), q.level*math.Exp(k*q.sd)
		points = append(points, result.Point{Duty: q.Duty_pct, Direction: direction(up), Current: q.Current.Value, Uncertainty: 2 * q.Current.U(), Low: &low, High: &high, Supply: weigh.Finite(q.Supply_V)})
	}
	f = held
	slices.SortStableFunc(points, func(a, b result.Point) int { return cmp.Compare(a.Duty, b.Duty) })
	f.Note = fmt.Sprintf("farthest out at %.0f %% duty: %.3g A, good units %.3g to %.3g A", at.Duty_pct, at.Current.Value, at.level*math.Exp(-k*at.sd), at.level*math.Exp(k*at.sd))
	return f, points
}

// holdPoint holds one plateau against its part of the band.
func (r *reference) holdPoint(f weigh.Check, q point, y weigh.Yardstick, k, m float64) weigh.Check {
	d := r.deviation(q)
	own, shared := y.Counts(d)
	z := q.dev / math.Hypot(q.sd, math.Hypot(own, shared))
	f.Z, f.Spread, f.Chance = z, &z, weigh.Chance(z, f.N, m, 2)
	d = d.Scale(100)
	d.Value = 100 * math.Expm1(q.dev)
	y.Hold(&f, d, 100*q.sd, 100*math.Expm1(-k*q.sd), 100*math.Expm1(k*q.sd))
	return f
}

func direction(up bool) string {
	if up {
		return "up"
	}
	return "down"
}
