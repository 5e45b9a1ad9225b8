package fan

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"dutybench/bench/kind"
	"dutybench/bench/kind/weigh"
	"dutybench/bench/result"
	"dutybench/signal/stat"
	"dutybench/signal/trace"
)

// Names of the findings that come from the curve as a whole.
const (
	CurveUp   = "curve_up"
	CurveDown = "curve_down"
	Friction  = "friction_excess"
	Air       = "air_excess"
	Top       = "top_shortfall"
)

// least is the least spread of a plateau that good units are taken to have,
// relative: what a bench cannot repeat better (chosen, as for any curve here; it
// counts only where the profile's own spread is smaller).
const least = 0.005

// contrast is one direction in which a whole curve can lie off: the relative
// change of current that it makes, one where that is largest. All are fitted to
// the curve at once by generalised least squares, with the good units' covariance
// over the duties: each is what is left when the others have had their share, so
// that friction does not show as air.
type contrast struct {
	name      string
	low, high bool
	about     string
	unseen    string
	// pattern at a share w of full speed, where good units draw the share l of
	// their full current; top says that it is the highest duty.
	pattern func(w, l float64, top bool) float64
}

var contrasts = []contrast{
	{Friction, true, true, "excess with the speed, as friction lifts a curve; in per cent of the current at the lowest duty",
		"friction that lifts the current at the lowest duty by %.2g %%", func(w, l float64, _ bool) float64 { return w / l }},
	{Air, true, true, "excess with the cube of the speed, as the air lifts a curve; in per cent of the current at full",
		"air that changes the current at full by %.2g %%", func(w, l float64, _ bool) float64 { return w * w * w / l }},
	{Top, false, true, "shortfall of the highest duty against what the rest of the curve asks for: a limit flattens it",
		"a limit that takes %.2g %% off the current at full", func(_, _ float64, top bool) float64 {
			if top {
				return -1
			}
			return 0
		}},
}

// curve is the plateaus of a trace beside the good units: relative deviations.
type curve struct {
	dev, u []float64   // of the unit, and their own uncertainty
	rows   [][]float64 // of each good unit
	run, l []float64   // of good units, running power and current as shares of full
	top    []bool      // the highest duty
	shares []float64   // of friction in the running power at full: the one known, or what it may be
	law    []float64   // what the supply normalisation is unsure of, all at once
	volt   []float64   // the same of the voltage reading, of the bench
}

// lay puts the plateaus beside the good units' rows; those at duties that not all
// good units have are left out.
func lay(m *kind.Measured, y weigh.Yardstick, n normal) *curve {
	c := &curve{shares: unknown}
	p := y.Profile
	if len(p.Grid) == 0 || len(p.Good) == 0 {
		return c
	}
	full, quiet := stat.Mean(weigh.Row(p, p.Grid[len(p.Grid)-1], true)), weigh.MeanOf(p, Quiet)
	c.rows = make([][]float64, len(p.Good))
	if air := weigh.Values(p, AirShare); len(air) > 0 {
		c.shares = []float64{min(max(1-stat.Mean(air)/100, 0), 1)}
	}
	highest := 0.0
	for _, q := range m.Curve {
		highest = max(highest, q.Duty_pct)
	}
	for _, q := range m.Curve {
		good := weigh.Row(p, q.Duty_pct, q.Up)
		if len(good) != len(p.Good) || !(stat.Mean(good) > 0) {
			continue
		}
		level := stat.Mean(good)
		for i, x := range good {
			c.rows[i] = append(c.rows[i], x/level-1)
		}
		r := n.ratio(q, level)
		own, _ := q.Current.Split()
		c.dev = append(c.dev, q.Current.Value*math.Exp(n.γ*r)/level-1)
		c.u = append(c.u, own/level)
		c.law = append(c.law, n.u*r*q.Current.Value/level)
		c.volt = append(c.volt, n.γ*n.gain*q.Current.Value/level)
		c.run, c.l = append(c.run, max(level-quiet, 0)/max(full-quiet, 1e-9)), append(c.l, level/full)
		c.top = append(c.top, q.Duty_pct > highest-weigh.Near)
	}
	return c
}

// patterns of the contrasts over the plateaus where friction takes so much of the
// running power at full.
func (c *curve) patterns(friction float64) [][]float64 {
	g := make([][]float64, len(contrasts))
	for k, ct := range contrasts {
		largest := 0.0
		for i := range c.dev {
			v := ct.pattern(speed(c.run[i], friction), c.l[i], c.top[i])
			g[k], largest = append(g[k], v), max(largest, math.Abs(v))
		}
		for i := range g[k] {
			g[k][i] /= max(largest, 1e-9)
		}
	}
	return g
}

// unknown is the share of friction in the running power at full where no good
// unit's speed was told: none to a fifth, as small fans have it (common practice,
// no source). Which speed a current stands for depends on it, and so what of a
// deviation is friction and what is air: the contrasts are the mean over these,
// and what they differ by is part of their uncertainty.
var unknown = []float64{0, 0.1, 0.2}

// speed is the share of full speed at a share of full running power, of which
// friction takes so much at full: the root of φ·w + (1−φ)·w³ = p, by bisection.
func speed(power, friction float64) float64 {
	low, high := 0.0, 1.2
	for range 40 {
		w := (low + high) / 2
		if friction*w+(1-friction)*w*w*w < power {
			low = w
		} else {
			high = w
		}
	}
	return (low + high) / 2
}

// weights are those with which the deviations give each contrast, by generalised
// least squares: (GᵀΣ⁻¹G)⁻¹GᵀΣ⁻¹ (Aitken's estimator, any textbook of linear
// models).
func (c *curve) weights(rows, patterns [][]float64) (*mat.Dense, bool) {
	n, k := len(c.dev), len(patterns)
	pop, err := stat.Shrunk(rows)
	if err != nil {
		return nil, false
	}
	cov := mat.NewSymDense(n, nil)
	cov.CopySym(pop.Cov)
	for i := range n {
		cov.SetSym(i, i, cov.At(i, i)+least*least)
	}
	g := mat.NewDense(n, k, nil)
	for j, col := range patterns {
		g.SetCol(j, col)
	}
	var chol mat.Cholesky
	var sg, normalised, w mat.Dense
	if !chol.Factorize(cov) || chol.SolveTo(&sg, g) != nil {
		return nil, false
	}
	normalised.Mul(g.T(), &sg)
	if w.Solve(&normalised, sg.T()) != nil {
		return nil, false
	}
	return &w, true
}

// spread is the standard deviation of each contrast among good units. Weights
// made from units that they are then applied to look sharper than they are, so
// each unit is measured with the weights and the mean of the others; its distance
// from these is wider than from the true mean by √(1+1/(n−1)).
func (c *curve) spread(w *mat.Dense, patterns [][]float64) []float64 {
	n, sums := len(c.rows), make([]float64, len(patterns))
	others := make([][]float64, 0, n-1)
	for i := range c.rows {
		others = append(append(others[:0], c.rows[:i]...), c.rows[i+1:]...)
		wi, ok := c.weights(others, patterns)
		if !ok {
			wi = w
		}
		for k := range sums {
			var v float64
			for j := range c.dev { // rows are about their common mean, which is nought
				v += wi.At(k, j) * c.rows[i][j] * float64(n) / float64(n-1)
			}
			sums[k] += v * v
		}
	}
	for k := range sums {
		var floor float64
		for j := range c.dev {
			floor += w.At(k, j) * w.At(k, j) * least * least
		}
		sums[k] = math.Sqrt(max(sums[k]/float64(n)/(1+1/float64(n-1)), floor))
	}
	return sums
}

// fewest good units from which a covariance over the duties says anything.
const fewest = 5

// ninth is the normal quantile of 0.9: an effect so many spreads beyond a limit
// is caught in nine of ten units.
const ninth = 1.2816

// hold holds the contrasts against those of each good unit, each with one part in
// m of the rate of refusals. unseen says which effects a pass leaves open.
func (c *curve) hold(tr *trace.Trace, y weigh.Yardstick, m float64) (checks []weigh.Check, unseen []string) {
	gain, _ := tr.Number(trace.KeyCurrentGainU)
	why := "it takes four duties that the profile knows too, and five good units"
	var sds []float64 // the widest
	var ws []*mat.Dense
	w := mat.NewDense(len(contrasts), max(1, len(c.dev)), nil) // their mean
	if len(c.dev) >= 4 && len(c.rows) >= fewest {
		why = ""
		sds = make([]float64, len(contrasts))
		for _, share := range c.shares {
			g := c.patterns(share)
			one, ok := c.weights(c.rows, g)
			if !ok {
				why = "the duties are too few, or the good units' curves too alike, to tell friction, air and limits apart"
				break
			}
			for k, sd := range c.spread(one, g) {
				sds[k] = max(sds[k], sd)
			}
			ws = append(ws, one)
			w.Add(w, one)
		}
		w.Scale(1/float64(len(c.shares)), w)
	}
	for k, ct := range contrasts {
		r := weigh.Rule{Name: ct.name, Unit: "%", About: ct.about, Low: ct.low, High: ct.high}
		out := weigh.Check{Finding: result.Finding{Name: ct.name, Unit: "%", Result: result.NotMeasured, Note: why}, Rule: r, Chance: 1}
		if why != "" {
			checks = append(checks, out)
			continue
		}
		var v, noise, all, law, volt float64
		for j := range c.dev {
			a := w.At(k, j)
			v += a * c.dev[j]
			noise += square(a * c.u[j])
			all, law, volt = all+a*(1+c.dev[j]), law+a*c.law[j], volt+a*c.volt[j]
		}
		q := stat.Quantity{Value: 100 * v}.With("noise and settling of the plateaus", 100*math.Sqrt(noise), 0).With("supply normalisation", math.Abs(100*law), 0)
		if least, most := c.between(ws, k); most > least {
			q = q.With("share of friction, which no speed tells", 100*(most-least)/math.Sqrt(12), 0)
		}
		if ct.name == Air {
			q = q.With("density of the air, which is not read", 100*density_u*math.Abs(1+v), 0)
		}
		q = weigh.WithBench(q, weigh.GainSource, math.Abs(100*gain*all))
		q = weigh.WithBench(q, weigh.OtherGain, math.Abs(100*y.LearnedGain()*all))
		q = weigh.WithBench(q, "voltage reading in the supply normalisation", math.Abs(100*volt))
		sd, n := 100*sds[k], len(c.rows)
		out.Note = ct.about
		low, high, spread := math.NaN(), math.NaN(), sd
		reach := weigh.Factor(n, m, r.Sides())
		if ct.low {
			low = -reach * sd
		}
		if ct.high {
			high = reach * sd
		}
		if l, ok := weigh.Stated(y.Profile, ct.name); ok {
			low, high, spread = l.Low, l.High, math.NaN()
		}
		own, shared := y.Counts(q)
		out.SD = math.Hypot(sd, math.Hypot(own, shared))
		z := q.Value / out.SD
		out.Spread, out.Z, out.N = &z, r.OnSide(z), n
		out.Chance = weigh.Chance(out.Z, n, m, r.Sides())
		y.Hold(&out, q, spread, low, high)
		checks = append(checks, out)
		unseen = append(unseen, fmt.Sprintf(ct.unseen, (reach+ninth)*out.SD))
	}
	return checks, unseen
}

// lowest is how far the plateaus of the two lowest duties lie from good units, in
// the spread of these; NaN where that is not known.
func (c *curve) lowest() float64 {
	order := make([]int, len(c.dev))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(c.l[a], c.l[b]) })
	var zs []float64
	for _, i := range order {
		var col []float64
		for _, row := range c.rows {
			col = append(col, row[i])
		}
		if len(col) >= 2 && len(zs) < 2 {
			zs = append(zs, c.dev[i]/math.Hypot(max(stat.SD(col), least), c.u[i]))
		}
	}
	if len(zs) == 0 {
		return math.NaN()
	}
	return stat.Mean(zs)
}

// between is the least and the most that a contrast is by these weights.
func (c *curve) between(ws []*mat.Dense, k int) (least, most float64) {
	least, most = math.Inf(1), math.Inf(-1)
	for _, w := range ws {
		var v float64
		for j, d := range c.dev {
			v += w.At(k, j) * d
		}
		least, most = min(least, v), max(most, v)
	}
	return least, most
}

func square(x float64) float64 { return x * x }
