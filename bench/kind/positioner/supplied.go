package positioner

import (
	"math"
	"slices"

	"dutybench/signal/stat"
	"dutybench/signal/trace"
)

// supplied is a trace that says when its unit had supply. One that holds neither
// the switch nor the voltage shows it by its current: a board takes its quiet
// current all the time, so what comes before the first quarter of the trace's
// median, and after the last, is taken as no supply (chosen: half-way, in ratio,
// between nothing and half of what it takes). A current that does not stand out of
// its scatter says nothing, and the trace stays as it is.
func supplied(tr *trace.Trace) *trace.Trace {
	read := func(name string) bool {
		return slices.ContainsFunc(tr.Values(name), func(x float64) bool { return !math.IsNaN(x) })
	}
	amps := tr.Current()
	if read(trace.ColSupplyOn) || read(trace.ColSupply) || len(amps) < 2*run {
		return tr
	}
	least := stat.Median(amps) / 4
	var steps []float64
	for i := 1; i < len(amps); i++ {
		steps = append(steps, amps[i]-amps[i-1])
	}
	if !(least > 5*stat.RobustSD(steps)) {
		return tr
	}
	from, to := 0, len(amps)
	for from+run < to && stat.Median(amps[from:from+run]) < least {
		from++
	}
	for to-run > from && stat.Median(amps[to-run:to]) < least {
		to--
	}
	if from == 0 && to == len(amps) {
		return tr
	}
	on := make([]float64, len(amps))
	for i := from; i < to; i++ {
		on[i] = 1
	}
	out := *tr
	out.Columns = slices.DeleteFunc(slices.Clone(tr.Columns), func(c trace.Column) bool { return c.Name == trace.ColSupplyOn })
	out.Columns = append(out.Columns, trace.Column{Name: trace.ColSupplyOn, Values: on, Resolution: 1})
	return &out
}

// run is how many readings together tell whether there is current: one alone may
// be a glitch.
const run = 5
