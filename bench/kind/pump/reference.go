package pump

import (
	"math"
	"slices"

	"dutybench/bench/kind"
	"dutybench/bench/kind/weigh"
	"dutybench/profiles"
	"dutybench/signal/stat"
	"dutybench/signal/trace"
)

// reference is what good units draw at the duties of one trace: for every
// plateau the logarithm of each good unit's current, interpolated between the
// duties of the profile's grid.
type reference struct {
	points []point
	full_A float64 // good units' mean at the highest duty of the grid
	quiet  float64 // good units' mean quiet current, 0 when not known
	supply normalisation
	around *surroundings
	// common are errors of dev that all points share, each with a size a point.
	common []common
}

// common is an error that moves all points of a curve at once.
type common struct {
	source string
	bench  bool      // the same in all measurements of one bench
	by     []float64 // relative standard uncertainty, one a point
}

// add puts the error into a budget, with the size it has there.
func (c common) add(q stat.Quantity, u float64) stat.Quantity {
	switch {
	case u == 0:
		return q
	case c.bench:
		return q.WithShared(c.source, u)
	}
	return q.With(c.source, u, 0)
}

// point is one plateau of the trace beside the good units.
type point struct {
	kind.Point
	x     float64   // share of full speed, from the good units' own curve
	good  []float64 // ln of each good unit's current here
	mean  float64   // of good
	sd    float64   // of good, with the floor below
	dev   float64   // ln of the unit's current, less mean
	u     float64   // relative standard uncertainty of the unit's current, its own
	at    int       // place in the reference
	level float64   // exp(mean), A
}

// least is the least spread that good units are taken to have, relative: no
// twenty units measured one after another on one bench show less than the
// bench's own repeatability. Converter gain and offset are the same for all of
// them, so half a per cent is the order of what refilling and remounting a
// loop leaves (common practice, no source). Every verdict at the limit depends
// on it only where a profile's own spread is smaller.
const least = 0.005

// refer lays the trace's plateaus beside the good units' rows. Plateaus
// outside the grid have no reference and are left out.
func refer(m *kind.Measured, y weigh.Yardstick) *reference {
	p := y.Profile
	r := &reference{around: newSurroundings(m, p)}
	if len(p.Grid) == 0 || len(p.Good) == 0 {
		return r
	}
	r.quiet = weigh.MeanOf(p, Quiet)
	for _, g := range p.Good {
		r.full_A += g.Up[len(g.Up)-1] / float64(len(p.Good))
	}
	supply := newNormalisation(m, p)
	r.supply = supply
	for _, q := range m.Curve {
		pt := point{Point: q, at: len(r.points)}
		for _, g := range p.Good {
			row := g.Up
			if !q.Up && g.Down != nil {
				row = g.Down
			}
			if y, ok := interpolate(p.Grid, row, q.Duty_pct); ok && y > 0 {
				pt.good = append(pt.good, math.Log(y))
			}
		}
		if len(pt.good) < 2 || len(pt.good) < len(p.Good)/2 {
			continue
		}
		pt.mean, pt.sd = stat.MeanSD(pt.good)
		pt.sd = max(pt.sd, least)
		pt.level = math.Exp(pt.mean)
		// A current at or below zero is a unit that does not turn; a
		// thousandth of the good units' is as low as the logarithm goes.
		i := max(q.Current.Value, pt.level/1000)
		own, _ := q.Current.Split()
		pt.u = own / i
		pt.dev = math.Log(i) + supply.shift(q.Supply_V, pt.level) - pt.mean
		pt.x = math.Cbrt(max(pt.level-r.quiet, 0) / max(r.full_A-r.quiet, 1e-9))
		warmer, _ := r.around.correction(pt.x)
		pt.dev -= warmer
		r.points = append(r.points, pt)
	}
	r.common = slices.Concat(supply.errors(r.points), r.around.errors(r.points), benchErrors(m.Trace, y, r.points))
	return r
}

// deviation is a point's deviation from the good units, as a logarithm, with
// everything that makes it uncertain.
func (r *reference) deviation(q point) stat.Quantity {
	d := stat.Quantity{Value: q.dev}.With("noise, resolution and settling", q.u, q.Current.DoF())
	for _, c := range r.common {
		d = c.add(d, math.Abs(c.by[q.at]))
	}
	return d
}

// atGoodSupply is the current at full as it would be at the good units' supply;
// as it is where limits were stated by hand, which name no supply.
func (r *reference) atGoodSupply(v *kind.Value, m *kind.Measured, p *profiles.Profile) *kind.Value {
	if v == nil || v.Missing != "" || len(m.Curve) == 0 || isStated(p, v.Name) || r.full_A <= 0 {
		return v
	}
	top := m.Curve[0]
	for _, q := range m.Curve {
		if q.Duty_pct > top.Duty_pct {
			top = q
		}
	}
	w := *v
	w.Q = r.around.bring(r.supply.bring(v.Q, top.Supply_V, r.full_A), 1)
	return &w
}

// benchErrors are those that a bench puts on every point of a curve alike.
func benchErrors(tr *trace.Trace, y weigh.Yardstick, pts []point) []common {
	var out []common
	add := func(source string, bench bool, by func(q point) float64) {
		c := common{source: source, bench: bench}
		any := false
		for _, q := range pts {
			v := by(q)
			c.by, any = append(c.by, v), any || v != 0
		}
		if any {
			out = append(out, c)
		}
	}
	gain, _ := tr.Number(trace.KeyCurrentGainU)
	add(weigh.GainSource, true, func(point) float64 { return gain })
	other := y.LearnedGain()
	add(weigh.OtherGain, true, func(point) float64 { return other })
	if p := y.Profile; p.Fixture.Remount > 0 && p.Learned.Fillings == 1 {
		// The good units saw one filling of the loop, so their spread does not
		// hold what a gauge study found from one to the next.
		add(weigh.RemountSource, false, func(point) float64 { return p.Fixture.Remount })
	}
	if u, _ := tr.Number(trace.KeyDutyU); u > 0 {
		add("duty at the plug", true, func(q point) float64 { return u * slopeAt(pts, q) })
	}
	return out
}

// slopeAt is how much ln of the good units' current changes per per cent of
// duty at a point, from the points next to it.
func slopeAt(pts []point, q point) float64 {
	below, above := q, q
	for _, o := range pts {
		if o.Up != q.Up {
			continue
		}
		if o.Duty_pct < q.Duty_pct && (below.at == q.at || o.Duty_pct > below.Duty_pct) {
			below = o
		}
		if o.Duty_pct > q.Duty_pct && (above.at == q.at || o.Duty_pct < above.Duty_pct) {
			above = o
		}
	}
	if d := above.Duty_pct - below.Duty_pct; d > 0 {
		return (above.mean - below.mean) / d
	}
	return 0
}

// supplyExponent is γ in I·(V/Vref)^γ, which brings a current measured at V to
// what it would be at Vref, and its standard uncertainty. A board that
// regulates speed or power draws constant power, I ~ 1/V. Where duty merely
// sets the voltage, speed goes with V and the power of a centrifugal pump with
// V³, so I ~ V². Neither is exact: the board's own current does not follow, a
// displacement pump's torque does not grow with speed; 0.3 either way (chosen;
// at 2 % off the learned supply it adds 0.6 %). Unknown: anything from −2 to 1
// about none, whose mean square is 1.
func supplyExponent(regulation string) (γ, u float64) {
	switch regulation {
	case "speed", "power":
		return 1, 0.3
	case "voltage":
		return -2, 0.3
	}
	return 0, 1
}

// normalisation brings currents to the supply that the good units had.
type normalisation struct {
	γ, u     float64
	gain     float64 // relative standard uncertainty of the voltage reading
	expected func(current_A float64) float64
}

func newNormalisation(m *kind.Measured, p *profiles.Profile) normalisation {
	n := normalisation{expected: goodSupply(p)}
	n.γ, n.u = supplyExponent(sectionOf(p).Regulation)
	n.gain, _ = m.Trace.Number(trace.KeyVoltageGainU)
	return n
}

// ratio is ln of the supply over that of good units at a current; 0 when
// either is not known.
func (n normalisation) ratio(supply_V, level_A float64) float64 {
	if v := n.expected(level_A); v > 1 && supply_V > 1 {
		return math.Log(supply_V / v)
	}
	return 0
}

// shift is what to add to ln of a current.
func (n normalisation) shift(supply_V, level_A float64) float64 {
	return n.γ * n.ratio(supply_V, level_A)
}

// bring gives a current as it would be at the supply that good units had when
// they drew level_A, with what that adds to its uncertainty.
func (n normalisation) bring(q stat.Quantity, supply_V, level_A float64) stat.Quantity {
	r := n.ratio(supply_V, level_A)
	if r == 0 {
		return q
	}
	q = q.Scale(math.Exp(n.γ * r))
	q = q.With("supply normalisation", n.u*math.Abs(r*q.Value), 0)
	return weigh.WithBench(q, "voltage reading in the supply normalisation", math.Abs(n.γ*n.gain*q.Value))
}

// errors are what the normalisation adds.
func (n normalisation) errors(pts []point) []common {
	law := common{source: "supply normalisation"}
	reading := common{source: "voltage reading in the supply normalisation", bench: true}
	for _, q := range pts {
		r := n.ratio(q.Supply_V, q.level)
		law.by = append(law.by, n.u*r)
		g := 0.0
		if r != 0 {
			g = n.γ * n.gain
		}
		reading.by = append(reading.by, g)
	}
	return []common{law, reading}
}

// goodSupply is the voltage that good units had at the plug when they drew a
// current: their mean voltage, and about it the drop that they measured per
// ampere. The rows hold currents as they were at those voltages. NaN when the
// supply was not measured.
func goodSupply(p *profiles.Profile) func(current_A float64) float64 {
	var sum float64
	n := 0
	for _, g := range p.Good {
		for _, row := range [][]float64{g.Up, g.Down} {
			for _, x := range row {
				if !math.IsNaN(x) {
					sum += x
					n++
				}
			}
		}
	}
	if p.Learned.Supply_V <= 0 || n == 0 {
		return func(float64) float64 { return math.NaN() }
	}
	mean, ohm := sum/float64(n), weigh.MeanOf(p, SupplyDrop)
	return func(current_A float64) float64 { return p.Learned.Supply_V - ohm*(current_A-mean) }
}

// interpolate is y at duty on a straight line of ln y between grid points.
func interpolate(grid, y []float64, duty float64) (float64, bool) {
	const near = 0.6 // % of duty: a grid point is taken as met
	for i := range grid {
		if math.Abs(grid[i]-duty) <= near {
			return y[i], !math.IsNaN(y[i])
		}
		if i > 0 && duty > grid[i-1] && duty < grid[i] && y[i-1] > 0 && y[i] > 0 {
			f := (duty - grid[i-1]) / (grid[i] - grid[i-1])
			return math.Exp(math.Log(y[i-1])*(1-f) + math.Log(y[i])*f), true
		}
	}
	return math.NaN(), false
}
