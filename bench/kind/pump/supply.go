package pump

import (
	"math"
	"sync"

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
	xs, ys := supplyPairs(tr, 0.3*d.rest())
	defer giveBack(xs, ys)
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
	d.clamped = clamped(xs, ys, open)
	below := room()
	for i := range xs {
		below = append(below, open+slope*xs[i]-ys[i])
	}
	defer giveBack(below)
	// How far the voltage ever lies below the line; the worst blocks, one in
	// five hundred, are left out.
	fold := stat.Select(below, len(below)-1-max(2, len(below)/500))
	d.supplyKnown = true
	add(m, SupplyDrop, "ohm", stat.Quantity{Value: -slope}.With("scatter about the line", fit.U(1), float64(fit.DoF)).
		With("resolution", resolution/math.Sqrt(12)/(math.Sqrt(float64(n))*max(stat.SD(bx[:n]), 1e-9)), 0))
	add(m, SupplyFold, "V", stat.Quantity{Value: fold}.With("curvature of the line", curvature*math.Abs(slope)*hi, 0).With("resolution", resolution/math.Sqrt(12), 0))
}

// rooms is memory for values of a trace that is used again.
var rooms sync.Pool

func room() []float64 {
	if r, ok := rooms.Get().(*[]float64); ok {
		return (*r)[:0]
	}
	return nil
}

func giveBack(rs ...[]float64) {
	for _, r := range rs {
		if r != nil {
			rooms.Put(&r)
		}
	}
}

// clamped tells a supply at its limit from a resistance where the voltage is
// down: the slope of current over voltage there, in units of what a resistance
// would make of it. A resistance gives 1: the voltage is down because the
// current is up. A limit gives 0: the current stands, whatever the voltage. NaN
// where the voltage is down by one amount only, which either does.
func clamped(xs, ys []float64, open float64) float64 {
	var amps, volts []float64
	down := func(i int) bool { return ys[i] < 0.9*open }
	for i := 1; i < len(ys)-1; i++ {
		// A block in which the current comes or goes is a mixture of two.
		if down(i-1) && down(i) && down(i+1) {
			amps, volts = append(amps, xs[i]), append(volts, ys[i])
		}
	}
	if len(amps) < 20 {
		return math.NaN()
	}
	mean, spread := stat.MeanSD(volts)
	if !(spread > 0.03*open) {
		return math.NaN()
	}
	at := stat.Mean(amps)
	var xy float64
	for i := range amps {
		xy += (amps[i] - at) * (volts[i] - mean)
	}
	slope := xy / float64(len(amps)-1) / (spread * spread) // A/V
	return slope * (mean - open) / at                      // a resistance: −1/R, and (open − mean)/at is R
}

// slowest_s is the longest that a source is given to come up when it is
// switched on.
const slowest_s = 1.0

// highVolts is what the supply is like: the voltage that a tenth of what was
// sampled with supply on lies above.
func highVolts(v []float64, on func(int) bool) float64 {
	seen := room()
	for i, x := range v {
		if on(i) && !math.IsNaN(x) {
			seen = append(seen, x)
		}
	}
	defer giveBack(seen)
	if len(seen) == 0 {
		return 0
	}
	return stat.Select(seen, len(seen)*9/10)
}

// supplyPairs is voltage and current, block by block. A plug whose voltage
// falls while less than idle_A flows is one that was switched off, in a trace
// that does not say so: a capacitor discharges.
func supplyPairs(tr *trace.Trace, idle_A float64) (amps, volts []float64) {
	v, supply, t, x := tr.Values(trace.ColSupply), step.SupplyOf(tr), tr.Time(), tr.Current()
	if v == nil {
		return nil, nil
	}
	amps, volts = room(), room()
	known := math.NaN()
	high := func() float64 { // most traces never ask
		if math.IsNaN(known) {
			known = 0.9 * highVolts(v, supply.On)
		}
		return known
	}
	var start, came float64 // came: when the supply went on
	rising := false         // a source that is enabled comes up in up to a second
	before := true          // there was supply at the sample before
	var s sums
	counted := false // the block before this one counts
	drop := func() { // the block before a switch-off has half of it
		if counted {
			amps, volts, counted = amps[:len(amps)-1], volts[:len(volts)-1], false
		}
	}
	flush := func(s sums) {
		switch {
		case s.nv == 0:
		case s.current() > idle_A || s.voltage() >= high():
			amps, volts, counted = append(amps, s.current()), append(volts, s.voltage()), true
		default:
			drop()
		}
	}
	for i := range t {
		live, held := supply.On(i), before
		before = live
		if !live || !held {
			flush(s)
			s = sums{}
			drop()
			start = t[i] + 0.01 // the charging peak and the switch's bounce
			came, rising = t[i], true
			continue
		}
		if rising {
			rising = !(v[i] >= high()) && t[i] < came+slowest_s
			start = max(start, t[i]+2*pair_s) // and what is left of the rise
		}
		if t[i] < start || rising {
			continue
		}
		if t[i]-start >= pair_s {
			flush(s)
			s = sums{}
			start = t[i]
		}
		s.x += x[i]
		s.nx++
		if !math.IsNaN(v[i]) {
			s.v += v[i]
			s.nv++
		}
	}
	flush(s)
	return amps, volts
}

// sums of one block's current and voltage.
type sums struct {
	x, v   float64
	nx, nv int
}

func (s sums) current() float64 { return s.x / float64(s.nx) }
func (s sums) voltage() float64 { return s.v / float64(s.nv) }

// span is the range of all but one in two hundred at either end.
func span(x []float64) (lo, hi float64) {
	if len(x) == 0 {
		return 0, 0
	}
	s, k := append(room(), x...), len(x)/200
	lo, hi = stat.Select(s, k), stat.Select(s, len(s)-1-k)
	giveBack(s)
	return lo, hi
}

// bins is voltage against current in 20 classes of current, those with fewer
// than four pairs left out. Each class gives its medians: a supply that
// collapses now and then still shows its line.
func bins(xs, ys []float64, lo, hi float64) (bx, by []float64) {
	const n = 20
	class := func(x float64) int { return min(max(int(n*(x-lo)/(hi-lo)), 0), n-1) }
	var end [n + 1]int // where each class ends, counted from the one before the first
	for _, x := range xs {
		end[class(x)+1]++
	}
	for b := range n {
		end[b+1] += end[b]
	}
	amps, volts := append(room(), xs...), append(room(), ys...)
	at := end
	for i, x := range xs {
		b := class(x)
		amps[at[b]], volts[at[b]] = x, ys[i]
		at[b]++
	}
	for b := range n {
		if from, to := end[b], end[b+1]; to-from >= 4 {
			bx, by = append(bx, stat.MedianInPlace(amps[from:to])), append(by, stat.MedianInPlace(volts[from:to]))
		}
	}
	giveBack(amps, volts)
	return bx, by
}
