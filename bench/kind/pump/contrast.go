package pump

import (
	"fmt"
	"math"
	"slices"

	"dutybench/bench/result"
	"dutybench/profiles"
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

// contrast is a combination of relative deviations that the data can carry,
// where single coefficients of power in speed cannot: those are nearly
// collinear over nine plateaus (ω against ω²: −0.99).
type contrast struct {
	name      string
	low, high bool
	about     string
	// take combines deviations at the points; ok is false where the trace
	// lacks the duties.
	take func(pts []point, dev []float64) (float64, bool)
}

// Shares of full speed that separate low, middle and high. At 0.5 of full
// speed an eighth of the hydraulic power is left, and friction, linear in
// speed, weighs four times what it does at full; above 0.8 the hydraulic part
// is more than half of full.
const (
	lowX, highX = 0.55, 0.8
)

var contrasts = []contrast{
	{Scale, true, true, "the whole curve too high or too low, in proportion", func(pts []point, dev []float64) (float64, bool) {
		return over(pts, dev, func(q point) bool { return q.x >= lowX })
	}},
	{LowSpeed, true, true, "deviation at low speed less that at high speed: friction lifts it", func(pts []point, dev []float64) (float64, bool) {
		a, ok := over(pts, dev, func(q point) bool { return q.x < lowX })
		b, ok2 := over(pts, dev, func(q point) bool { return q.x >= highX })
		return a - b, ok && ok2
	}},
	{HighSpeed, true, true, "deviation in the middle less that at high speed: missing water lifts it", func(pts []point, dev []float64) (float64, bool) {
		a, ok := over(pts, dev, func(q point) bool { return q.x >= 0.4 && q.x < highX })
		b, ok2 := over(pts, dev, func(q point) bool { return q.x >= highX })
		return a - b, ok && ok2
	}},
	{FlatTop, true, false, "the last rise of the curve against that of good units: a limit flattens it", func(pts []point, dev []float64) (float64, bool) {
		top, next := topTwo(pts)
		a, ok := over(pts, dev, func(q point) bool { return math.Abs(q.Duty_pct-top) < 0.6 })
		b, ok2 := over(pts, dev, func(q point) bool { return math.Abs(q.Duty_pct-next) < 0.6 })
		return a - b, ok && ok2 && next >= 0
	}},
}

func over(pts []point, dev []float64, which func(point) bool) (float64, bool) {
	var sum float64
	n := 0
	for i, q := range pts {
		if which(q) {
			sum += dev[i]
			n++
		}
	}
	if n == 0 {
		return 0, false
	}
	return sum / float64(n), true
}

// topTwo is the highest duty and the one at least 8 % below it.
func topTwo(pts []point) (top, next float64) {
	top, next = -1, -1
	for _, q := range pts {
		top = max(top, q.Duty_pct)
	}
	for _, q := range pts {
		if q.Duty_pct <= top-8 {
			next = max(next, q.Duty_pct)
		}
	}
	return top, next
}

// hold measures a contrast against that of each good unit.
func (c contrast) hold(r *reference, p *profiles.Profile, m int) check {
	f := check{Finding: result.Finding{Name: c.name, Unit: "%", Result: result.NotMeasured}}
	v, ok := c.take(r.points, deviations(r.points))
	if !ok {
		f.Note = "the trace lacks the duties for it, or the profile does"
		return f
	}
	n := fewest(r.points)
	good := make([]float64, 0, n)
	dev := make([]float64, len(r.points))
	for k := range n {
		for i, q := range r.points {
			dev[i] = q.good[k] - q.mean
		}
		g, _ := c.take(r.points, dev)
		good = append(good, g)
	}
	var u2 float64
	for _, q := range r.points {
		u2 += q.u * q.u
	}
	u := math.Sqrt(u2) / float64(len(r.points)) * 2 // two groups of points, each about half
	mean, sd := stat.MeanSD(good)
	sd = max(sd, least)
	side := 1
	if c.low && c.high {
		side = 2
	}
	k := factor(n, m, side)
	z := (v - mean) / math.Hypot(sd, u)
	f.z, f.k, f.down = onSide(z, c.low, c.high), k, v < mean
	low, high := math.NaN(), math.NaN()
	if c.low {
		low = 100 * (mean - k*sd)
	}
	if c.high {
		high = 100 * (mean + k*sd)
	}
	if l, ok := stated(p, c.name); ok {
		low, high = l.Low, l.High
	}
	x, e := 100*v, 200*u
	f.Value, f.Uncertainty, f.K, f.Spread = &x, &e, 2, &z
	f.Low, f.High = finite(low), finite(high)
	f.Result = outcome(x, math.Sqrt(max(0, 1e4*(u*u-sd*sd))), low, high)
	f.Note = c.about
	return f
}

func deviations(pts []point) []float64 {
	d := make([]float64, len(pts))
	for i, q := range pts {
		d[i] = q.dev
	}
	return d
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
func (r *reference) holdCurve(name string, up bool, m int) (check, []result.Point) {
	f := check{Finding: result.Finding{Name: name, Unit: "%", Result: result.NotMeasured}, core: up}
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
	k := factor(fewest(of), m*len(of), 2)
	var points []result.Point
	worst, at := -1.0, of[0]
	for _, q := range of {
		z := math.Abs(q.dev) / math.Hypot(q.sd, q.u)
		if z > worst {
			worst, at = z, q
		}
		low, high := q.level*math.Exp(-k*q.sd), q.level*math.Exp(k*q.sd)
		points = append(points, result.Point{Duty: q.Duty_pct, Direction: direction(up), Current: q.Current.Value, Uncertainty: 2 * q.Current.U(), Low: &low, High: &high, Supply: finite(q.Supply_V)})
	}
	slices.SortStableFunc(points, func(a, b result.Point) int { return int(100 * (a.Duty - b.Duty)) })
	x, e := 100*(math.Exp(at.dev)-1), 200*at.u
	low, high := 100*(math.Exp(-k*at.sd)-1), 100*(math.Exp(k*at.sd)-1)
	f.Value, f.Uncertainty, f.K, f.Low, f.High = &x, &e, 2, &low, &high
	f.z, f.k, f.down = math.Copysign(worst, at.dev), k, at.dev < 0
	z := f.z
	f.Spread = &z
	f.Result = outcome(x, 100*math.Sqrt(max(0, at.u*at.u-at.sd*at.sd)), low, high)
	f.Note = fmt.Sprintf("farthest out at %.0f %% duty: %.3g A, good units %.3g to %.3g A", at.Duty_pct, at.Current.Value, at.level*math.Exp(-k*at.sd), at.level*math.Exp(k*at.sd))
	return f, points
}

func direction(up bool) string {
	if up {
		return "up"
	}
	return "down"
}
