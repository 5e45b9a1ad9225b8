package weigh

import (
	"math"
	"slices"

	"dutybench/bench/kind"
	"dutybench/bench/result"
	"dutybench/profiles"
	"dutybench/signal/stat"
)

// Near is how far apart two duties may lie and be the same step, in per cent.
const Near = 0.6

// Row is what good units drew at a duty, rising or falling; nil where the
// profile does not say. Between two duties of the grid it is on a straight line.
func Row(p *profiles.Profile, duty float64, up bool) (out []float64) {
	for _, g := range p.Good {
		row := g.Up
		if !up && g.Down != nil {
			row = g.Down
		}
		if x := interpolate(p.Grid, row, duty); !math.IsNaN(x) {
			out = append(out, x)
		}
	}
	return out
}

func interpolate(grid, y []float64, duty float64) float64 {
	for i := range grid {
		if math.Abs(grid[i]-duty) <= Near {
			return y[i]
		}
		if i > 0 && duty > grid[i-1] && duty < grid[i] {
			f := (duty - grid[i-1]) / (grid[i] - grid[i-1])
			return y[i-1]*(1-f) + y[i]*f
		}
	}
	return math.NaN()
}

// HoldCurve holds the plateaus of one direction against good units. The finding
// is the deviation in per cent of the worst one: failed before doubtful before
// passed, and then that which lies farthest out by its own spread, with limits
// there; the points carry their band. r gives name, share and note; bring gives a
// plateau's current as it would be at the good units' supply, nil as it is. m is
// how many findings share the rate of refusals: the plateaus share the curve's
// part of it.
func (t *Table) HoldCurve(r Rule, up bool, bring func(q kind.Point, good []float64) stat.Quantity, m float64) (Check, []result.Point) {
	type held struct {
		q    kind.Point
		cur  stat.Quantity
		good []float64
	}
	var list []held
	for _, q := range t.measured.Curve {
		good := Row(t.Yardstick.Profile, q.Duty_pct, up)
		if q.Up != up || len(good) < 2 || !(stat.Mean(good) > 0) {
			continue
		}
		cur := q.Current
		if bring != nil {
			cur = bring(q, good)
		}
		if Finite(cur.Value) != nil && !math.IsNaN(cur.U()) {
			list = append(list, held{q, cur, good})
		}
	}
	r.Unit, r.Log, r.Low, r.High = "%", true, true, true
	out := Check{Finding: result.Finding{Name: r.Name, Unit: "%", Result: result.NotMeasured, Note: "no plateau at a duty of the profile"}, Rule: r, Chance: 1}
	var points []result.Point
	part := m * float64(len(list))
	for i, h := range list {
		low, high, spread := r.Limits(h.good, part)
		own, shared := t.Yardstick.Counts(h.cur)
		z, sd := r.Distance(h.cur.Value, math.Hypot(own, shared), h.good)
		e, _ := h.cur.Expanded(level95)
		pt := result.Point{Duty: h.q.Duty_pct, Direction: "down", Current: h.cur.Value, Low: Finite(low), High: Finite(high), Supply: Finite(h.q.Supply_V)}
		if up {
			pt.Direction = "up"
		}
		if u := Finite(e); u != nil {
			pt.Uncertainty = *u
		}
		points = append(points, pt)
		mean := stat.Mean(h.good)
		pct := func(x float64) float64 { return 100 * (x/mean - 1) }
		c := Check{Finding: result.Finding{Name: r.Name, Unit: "%", Note: r.About + ", where it lies farthest out: at " + Amount(h.q.Duty_pct, "%") + " duty"},
			Rule: r, Z: z, SD: sd, N: len(h.good), Chance: Chance(z, len(h.good), part, 2)}
		c.Spread = &z
		dev := h.cur.Scale(100 / mean)
		dev.Value -= 100
		t.Yardstick.Hold(&c, dev, 100*spread/mean, pct(low), pct(high))
		if i == 0 || Worse(&c, &out) {
			out = c
		}
	}
	return out, points
}

// Worse says that a check outweighs another of the same name: failed before
// doubtful before passed, and then the one that lies farther out.
func Worse(a, b *Check) bool {
	order := []result.Outcome{result.Passed, result.Doubtful, result.Failed}
	if x, y := slices.Index(order, a.Result), slices.Index(order, b.Result); x != y {
		return x > y
	}
	return math.Abs(a.Z) > math.Abs(b.Z)
}
