package pump

import (
	"math"

	"dutybench/bench/kind"
	"dutybench/bench/kind/weigh"
	"dutybench/profiles"
	"dutybench/signal/stat"
	"dutybench/signal/trace"
)

// plugVolts is the median and the highest voltage at the plug, and whether it
// was sampled at all. The median is looked for only where the highest lies
// below a bound.
func plugVolts(tr *trace.Trace, below_V float64) (median, highest float64, ok bool) {
	on := tr.Values(trace.ColSupplyOn)
	all := tr.Values(trace.ColSupply)
	seen := func(i int) bool { return !math.IsNaN(all[i]) && (on == nil || on[i] >= 0.5) }
	highest = math.Inf(-1)
	for i, x := range all {
		if seen(i) {
			highest, ok = max(highest, x), true
		}
	}
	if !ok || highest >= below_V {
		return math.NaN(), highest, ok
	}
	v := room()
	defer func() { giveBack(v) }()
	for i, x := range all {
		if seen(i) {
			v = append(v, x)
		}
	}
	return stat.Select(v, len(v)/2), highest, true
}

// unpowered says that the plug never had a tenth of the supply that good units
// had, and hardly any current flowed. Good units' own charging needs more.
func (d *detail) unpowered(m *kind.Measured, p *profiles.Profile, highest float64) bool {
	if !(p.Supply.Nominal_V > 0 && highest < max(0.02*weigh.MeanOf(p, StartLevel), 5*d.noise)) {
		return false // most units, without a look at every sample
	}
	v, top, ok := plugVolts(m.Trace, 0.5*p.Supply.Nominal_V)
	return ok && v < 0.1*p.Supply.Nominal_V && top < 0.5*p.Supply.Nominal_V
}

// plugReversed says that current flows while the sense wires read no voltage
// at the plug, or one below zero: a converter that reads positive voltages only
// gives zero for a diode's drop the wrong way round.
func (d *detail) plugReversed(m *kind.Measured) bool {
	v, _, ok := plugVolts(m.Trace, math.Inf(1))
	return ok && v < 0.05
}
