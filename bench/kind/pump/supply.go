package pump

import (
	"math"
	"slices"

	"dutybench/bench/kind"
	"dutybench/signal/stat"
	"dutybench/signal/step"
	"dutybench/signal/trace"
)

// supplyLine is the supply at the plug against current: open voltage and
// resistance of everything before the plug.
type supplyLine struct {
	open_V, ohm float64
	fold_V      float64 // how far the voltage ever lies below the line; the worst blocks, 1 in 500, left out
	ok          bool
}

// curvature is how far a lead's drop may stray from a straight line, as a
// share: copper that warms by 10 K gains 4 % (0.00393 per K).
const curvature = 0.04

// pairs of voltage and current are means over this long: longer than a PWM
// period, short beside an attempt.
const pair_s = 0.01

// measureSupply fits V = open − R·I through voltage and current over the whole
// time with supply. The upper part of the currents stays out of the fit, so
// that a supply at its limit shows as a fold below the line.
func (d *detail) measureSupply(tr *trace.Trace, m *kind.Measured) {
	const why = "the supply at the plug was not sampled, or the current varied too little"
	xs, ys := supplyPairs(tr)
	var resolution float64
	if c := tr.Column(trace.ColSupply); c != nil {
		resolution = c.Resolution
	}
	lo, hi := span(xs)
	if len(xs) < 20 || hi-lo < max(0.2, 10*d.noise) {
		miss(m, SupplyDrop, "ohm", why)
		miss(m, SupplyFold, "V", why)
		return
	}
	bx, by := bins(xs, ys, lo, hi)
	n := 0
	for n < len(bx) && bx[n] <= lo+0.7*(hi-lo) {
		n++
	}
	if n < 4 {
		n = len(bx)
	}
	open, slope, u := line(bx[:n], by[:n], resolution)
	if n < 3 || math.IsInf(u, 0) || math.IsNaN(u) { // all but a few pairs at one current
		miss(m, SupplyDrop, "ohm", why)
		miss(m, SupplyFold, "V", why)
		return
	}
	below := make([]float64, len(xs))
	for i := range xs {
		below[i] = open + slope*xs[i] - ys[i]
	}
	slices.Sort(below)
	d.supply = supplyLine{open_V: open, ohm: -slope, ok: true, fold_V: below[len(below)-1-max(2, len(below)/500)]}
	add(m, SupplyDrop, "ohm", stat.Quantity{Value: -slope}.With("scatter about the line", u, float64(max(n-2, 1))))
	add(m, SupplyFold, "V", stat.Quantity{Value: d.supply.fold_V}.With("curvature of the line", curvature*math.Abs(slope)*hi, 0).With("resolution", resolution/math.Sqrt(12), 0))
}

// supplyPairs is voltage and current, block by block.
func supplyPairs(tr *trace.Trace) (amps, volts []float64) {
	v, on, t, x := tr.Values(trace.ColSupply), step.Energised(tr), tr.Time(), tr.Current()
	if v == nil {
		return nil, nil
	}
	var start float64
	var sv, sx float64
	nv, nx := 0, 0
	flush := func() {
		if nv > 0 {
			amps, volts = append(amps, sx/float64(nx)), append(volts, sv/float64(nv))
		}
		sv, sx, nv, nx = 0, 0, 0, 0
	}
	for i := range t {
		if !on(i) || i > 0 && !on(i-1) {
			flush()
			start = t[i] + 0.01 // the charging peak and the switch's bounce
			continue
		}
		if t[i] < start {
			continue
		}
		if t[i]-start >= pair_s {
			flush()
			start = t[i]
		}
		sx += x[i]
		nx++
		if !math.IsNaN(v[i]) {
			sv += v[i]
			nv++
		}
	}
	flush()
	return amps, volts
}

func span(x []float64) (lo, hi float64) {
	if len(x) == 0 {
		return 0, 0
	}
	s := slices.Clone(x)
	slices.Sort(s)
	return s[len(s)/200], s[len(s)-1-len(s)/200]
}

// bins is voltage against mean current in 20 classes of current, those with
// fewer than four pairs left out. The voltage of a class is its median: a
// supply that collapses now and then still shows its line.
func bins(xs, ys []float64, lo, hi float64) (bx, by []float64) {
	const n = 20
	var sx [n]float64
	var v [n][]float64
	for i, x := range xs {
		b := min(max(int(n*(x-lo)/(hi-lo)), 0), n-1)
		sx[b] += x
		v[b] = append(v[b], ys[i])
	}
	for b := range n {
		if k := len(v[b]); k >= 4 {
			slices.Sort(v[b])
			bx, by = append(bx, sx[b]/float64(k)), append(by, v[b][k/2])
		}
	}
	return bx, by
}

// line is the least-squares line y = a + b·x with b's standard uncertainty;
// y's resolution is a floor under the scatter.
func line(x, y []float64, resolution float64) (a, b, u_b float64) {
	mx, my := stat.Mean(x), stat.Mean(y)
	var sxx, sxy float64
	for i := range x {
		sxx += (x[i] - mx) * (x[i] - mx)
		sxy += (x[i] - mx) * (y[i] - my)
	}
	if sxx == 0 {
		return my, 0, math.Inf(1)
	}
	b = sxy / sxx
	a = my - b*mx
	var ss float64
	for i := range x {
		r := y[i] - a - b*x[i]
		ss += r * r
	}
	s := math.Sqrt(ss / float64(max(len(x)-2, 1)))
	return a, b, max(s, resolution/math.Sqrt(12)) / math.Sqrt(sxx)
}
