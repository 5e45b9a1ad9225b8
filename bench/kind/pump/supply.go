package pump

import (
	"math"
	"slices"

	"dutybench/bench/kind"
	"dutybench/signal/stat"
	"dutybench/signal/step"
	"dutybench/signal/trace"
)

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
	fit, err := stat.Line(bx[:n], by[:n], nil)
	if n < 3 || err != nil { // all but a few pairs at one current
		miss(m, SupplyDrop, "ohm", why)
		miss(m, SupplyFold, "V", why)
		return
	}
	open, slope := fit.Coef[0], fit.Coef[1]
	below := make([]float64, len(xs))
	for i := range xs {
		below[i] = open + slope*xs[i] - ys[i]
	}
	// How far the voltage ever lies below the line; the worst blocks, one in
	// five hundred, are left out.
	fold := stat.Select(below, len(below)-1-max(2, len(below)/500))
	d.supplyKnown = true
	add(m, SupplyDrop, "ohm", stat.Quantity{Value: -slope}.With("scatter about the line", fit.U(1), float64(fit.DoF)).
		With("resolution", resolution/math.Sqrt(12)/(math.Sqrt(float64(n))*max(stat.SD(bx[:n]), 1e-9)), 0))
	add(m, SupplyFold, "V", stat.Quantity{Value: fold}.With("curvature of the line", curvature*math.Abs(slope)*hi, 0).With("resolution", resolution/math.Sqrt(12), 0))
}

// slowest_s is the longest that a source is given to come up when it is
// switched on.
const slowest_s = 1.0

// highVolts is what the supply is like: the voltage that a tenth of what was
// sampled with supply on lies above.
func highVolts(v []float64, on func(int) bool) float64 {
	var seen []float64
	for i, x := range v {
		if on(i) && !math.IsNaN(x) {
			seen = append(seen, x)
		}
	}
	if len(seen) == 0 {
		return 0
	}
	return stat.Select(seen, len(seen)*9/10)
}

// supplyPairs is voltage and current, block by block.
func supplyPairs(tr *trace.Trace) (amps, volts []float64) {
	v, on, t, x := tr.Values(trace.ColSupply), step.Energised(tr), tr.Time(), tr.Current()
	if v == nil {
		return nil, nil
	}
	high := 0.9 * highVolts(v, on)
	var start, came float64 // came: when the supply went on
	rising := false         // a source that is enabled comes up in up to a second
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
			came, rising = t[i], true
			continue
		}
		if rising {
			rising = !(v[i] >= high) && t[i] < came+slowest_s
			start = max(start, t[i])
		}
		if t[i] < start || rising {
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

// span is the range of all but one in two hundred at either end.
func span(x []float64) (lo, hi float64) {
	if len(x) == 0 {
		return 0, 0
	}
	s, k := slices.Clone(x), len(x)/200
	return stat.Select(s, k), stat.Select(s, len(s)-1-k)
}

// bins is voltage against current in 20 classes of current, those with fewer
// than four pairs left out. Each class gives its medians: a supply that
// collapses now and then still shows its line.
func bins(xs, ys []float64, lo, hi float64) (bx, by []float64) {
	const n = 20
	var amps, volts [n][]float64
	for i, x := range xs {
		b := min(max(int(n*(x-lo)/(hi-lo)), 0), n-1)
		amps[b], volts[b] = append(amps[b], x), append(volts[b], ys[i])
	}
	for b := range n {
		if len(amps[b]) >= 4 {
			bx, by = append(bx, stat.MedianInPlace(amps[b])), append(by, stat.MedianInPlace(volts[b]))
		}
	}
	return bx, by
}
