package positioner

import (
	"math"
	"slices"

	"dutybench/bench/kind"
	"dutybench/signal/stat"
	"dutybench/signal/step"
	"dutybench/signal/trace"
)

// measureSupply fits V = open − R·I through the voltage at the plug and the
// current around it: the drop in the leads, and how far the voltage falls below
// that line, as it does where the supply has come to its limit.
func (d *detail) measureSupply(tr *trace.Trace, m *kind.Measured) {
	const why = "the supply at the plug was not sampled, or the current varied too little"
	amps, volts := pairs(tr)
	d.peak_A = highest(tr)
	if len(amps) < 30 || slices.Max(amps)-slices.Min(amps) < 0.02 {
		miss(m, SupplyDrop, "ohm", why)
		miss(m, SupplyFold, "V", why)
		return
	}
	lo, hi := slices.Min(amps), slices.Max(amps)
	const bins = 20
	var sums [bins]struct{ i, v, n float64 }
	for k := range amps {
		b := &sums[min(bins-1, int((amps[k]-lo)/(hi-lo)*bins))]
		b.i, b.v, b.n = b.i+amps[k], b.v+volts[k], b.n+1
	}
	var x, y, u []float64
	for _, b := range sums {
		if b.n > 0 && b.i/b.n <= lo+0.75*(hi-lo) { // the upper quarter stays out (chosen): there a limit folds, and a line needs the rest
			x, y, u = append(x, b.i/b.n), append(y, b.v/b.n), append(u, 1/math.Sqrt(b.n))
		}
	}
	f, err := stat.Line(x, y, u)
	if err != nil || len(x) < 3 {
		miss(m, SupplyDrop, "ohm", why)
		miss(m, SupplyFold, "V", why)
		return
	}
	scatter := f.ResidualSD
	if math.IsNaN(scatter) {
		scatter = 0
	}
	res := resolution(tr, trace.ColSupply) / math.Sqrt(12)
	add(m, SupplyDrop, "ohm", stat.Quantity{Value: -f.Coef[1]}.With("scatter about the line", scatter*f.U(1), float64(max(1, f.DoF))).With("resolution", res/(hi-lo), 0))
	below := make([]float64, len(amps))
	for k := range amps {
		below[k] = f.Coef[0] + f.Coef[1]*amps[k] - volts[k]
	}
	d.clamped = clamped(amps, volts, f.Coef[0])
	fold := stat.Select(below, len(below)-1-max(2, len(below)/500))
	add(m, SupplyFold, "V", stat.Quantity{Value: fold}.With("resolution", res, 0))
}

// pairs are readings of the voltage at the plug, with the mean current of the
// samples around each, the first tenth of a second after switch-on left out: its
// charging is faster than the voltage is read.
func pairs(tr *trace.Trace) (amps, volts []float64) {
	v, i, t, on := tr.Values(trace.ColSupply), tr.Current(), tr.Time(), step.SupplyOf(tr)
	since := math.Inf(1)
	for k := range v {
		switch {
		case !on.On(k):
			since = math.Inf(1)
			continue
		case math.IsInf(since, 1):
			since = t[k]
		}
		if math.IsNaN(v[k]) || t[k]-since < 0.1 || k == 0 || k+1 == len(v) {
			continue
		}
		amps, volts = append(amps, (i[k-1]+i[k]+i[k+1])/3), append(volts, v[k])
	}
	return amps, volts
}

// clamped tells a supply at its limit from a resistance where the voltage is well
// down: the slope of current over voltage there, in units of what a resistance
// makes of it. A resistance gives 1: the voltage is down because the current is
// up. A limit gives 0: the current stands, whatever the voltage. NaN where the
// voltage is hardly down, or by one amount only.
func clamped(amps, volts []float64, open float64) float64 {
	var i, v []float64
	for k := range amps {
		if volts[k] < 0.95*open {
			i, v = append(i, amps[k]), append(v, volts[k])
		}
	}
	if len(i) < 20 {
		return math.NaN()
	}
	mean, sd := stat.MeanSD(v)
	if !(sd > 0.01*open) {
		return math.NaN()
	}
	at := stat.Mean(i)
	var xy float64
	for k := range i {
		xy += (i[k] - at) * (v[k] - mean)
	}
	return xy / float64(len(i)-1) / (sd * sd) * (mean - open) / at
}

// highest is the highest mean current over 20 ms, charging left out.
func highest(tr *trace.Trace) float64 {
	const span = 0.02
	i, t, on := tr.Current(), tr.Time(), step.SupplyOf(tr)
	top, sum, from, since := math.NaN(), 0.0, 0, math.Inf(1)
	for k := range i {
		if !on.On(k) {
			sum, from, since = 0, k+1, math.Inf(1)
			continue
		}
		if math.IsInf(since, 1) {
			since = t[k]
		}
		sum += i[k]
		for from < k && t[k]-t[from] > span {
			sum -= i[from]
			from++
		}
		if mean := sum / float64(k-from+1); t[k]-since > 0.1 && !(mean <= top) {
			top = mean
		}
	}
	return top
}
