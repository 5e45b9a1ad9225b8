package pump

import (
	"math"

	"dutybench/bench/kind"
	"dutybench/profiles"
	"dutybench/signal/stat"
)

// reference is what good units draw at the duties of one trace: for every
// plateau the logarithm of each good unit's current, interpolated between the
// duties of the profile's grid.
type reference struct {
	points []point
	full_A float64 // good units' mean at the highest duty of the grid
	quiet  float64 // good units' mean quiet current, 0 when not known
}

// point is one plateau of the trace beside the good units.
type point struct {
	kind.Point
	x     float64   // share of full speed, from the good units' own curve
	good  []float64 // ln of each good unit's current here
	mean  float64   // of good
	sd    float64   // of good, with the floor below
	dev   float64   // ln of the unit's current, less mean
	u     float64   // relative standard uncertainty of the unit's current
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
func refer(m *kind.Measured, p *profiles.Profile) *reference {
	r := &reference{}
	if len(p.Grid) == 0 || len(p.Good) == 0 {
		return r
	}
	r.quiet = meanOf(p, Quiet)
	for _, g := range p.Good {
		r.full_A += g.Up[len(g.Up)-1] / float64(len(p.Good))
	}
	γ := supplyExponent(sectionOf(p).Regulation)
	expected := goodSupply(p)
	for _, q := range m.Curve {
		pt := point{Point: q}
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
		i := q.Current.Value
		if v := expected(pt.level); γ != 0 && v > 1 && q.Supply_V > 1 {
			i *= math.Pow(q.Supply_V/v, γ)
		}
		// A current at or below zero is a unit that does not turn; a
		// thousandth of the good units' is as low as the logarithm goes.
		i = max(i, pt.level/1000)
		pt.u = q.Current.U() / i
		pt.dev = math.Log(i) - pt.mean
		pt.x = math.Cbrt(max(pt.level-r.quiet, 0) / max(r.full_A-r.quiet, 1e-9))
		r.points = append(r.points, pt)
	}
	return r
}

// supplyExponent is γ in I·(V/Vref)^γ, which brings a current measured at V to
// what it would be at Vref. A board that regulates speed or power draws
// constant power, I ~ 1/V. Where duty merely sets the voltage, speed goes with
// V and the power of a centrifugal pump with V³, so I ~ V². Unknown: not
// normalised.
func supplyExponent(regulation string) float64 {
	switch regulation {
	case "speed", "power":
		return 1
	case "voltage":
		return -2
	}
	return 0
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
	mean, ohm := sum/float64(n), meanOf(p, SupplyDrop)
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

// valuesOf is a measurement of all good units that have it.
func valuesOf(p *profiles.Profile, name string) []float64 {
	var out []float64
	for _, g := range p.Good {
		if x, ok := g.Get(name); ok && !math.IsNaN(x) {
			out = append(out, x)
		}
	}
	return out
}

func meanOf(p *profiles.Profile, name string) float64 {
	v := valuesOf(p, name)
	if len(v) == 0 {
		return 0
	}
	return stat.Mean(v)
}
