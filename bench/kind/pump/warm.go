package pump

import (
	"fmt"
	"math"

	"dutybench/bench/kind"
	"dutybench/signal/startup"
	"dutybench/signal/stat"
	"dutybench/signal/step"
	"dutybench/signal/trace"
)

// What a longer run shows: a board that takes power back while the command
// stands, a current that drifts as the unit warms, and starts that fail warm.
const (
	HoldFall    = "hold_fall"        // largest lasting fall within a held duty, % of the running current
	WarmDrift   = "warm_drift"       // current at full, last against first, %
	Restarts    = "restarts_failed"  // later commanded runs that did not run
	RestartTrys = "restart_attempts" // the most attempts that a later start took
)

const (
	// holdBlocks a held duty is cut into to find a lasting fall.
	holdBlocks = 12
	// halfPower of the highest running current and more is where a board that
	// takes power back does so; below, a rotor that is still slowing down is a
	// larger share.
	halfPower = 0.5
	// warming is how long two plateaus at full must lie apart for their
	// difference to be called drift: a winding's time constant is some tens of
	// seconds, a board's minutes (common practice, no source).
	warming_s = 60.0
)

// measureWarm reads falls within held duties, drift between them, and the
// starts after the first.
func (d *detail) measureWarm(tr *trace.Trace, m *kind.Measured) {
	if !d.start.Ran {
		for _, n := range []string{HoldFall, WarmDrift} {
			miss(m, n, "%", "the unit did not run")
		}
	} else {
		d.measureFall(tr, m)
		d.measureDrift(tr, m)
	}
	d.measureRestarts(m)
}

// measureFall is the largest lasting fall within a held duty: from the highest
// level that two blocks in a row hold to the level of the last quarter, over
// what the noise of the blocks explains. The first third of a step is left out:
// there a rotor speeds up or slows down.
func (d *detail) measureFall(tr *trace.Trace, m *kind.Measured) {
	worst := stat.Quantity{Value: math.Inf(-1)}
	x := tr.Current()
	for _, p := range d.plateaus {
		from := p.From + (p.To-p.From)/3
		n := p.To - from
		run := p.Median_A - d.rest()
		if n < 4*holdBlocks || run < halfPower*(d.highest-d.rest()) {
			continue
		}
		level := make([]float64, holdBlocks)
		for b := range level {
			level[b] = stat.Median(x[from+b*n/holdBlocks : from+(b+1)*n/holdBlocks])
		}
		end := stat.Mean(level[holdBlocks*3/4:])
		high := end
		for b := 1; b < holdBlocks*3/4; b++ {
			high = max(high, min(level[b-1], level[b]))
		}
		run = high - d.rest()
		noise := stat.RobustSD(differences(level)) / math.Sqrt2 // a fall is one jump, no noise
		if q := (stat.Quantity{Value: 100 * (high - end) / run}).With("scatter of the blocks", 100*noise/run, holdBlocks-2); q.Value > worst.Value {
			worst = q
		}
	}
	if math.IsInf(worst.Value, -1) {
		miss(m, HoldFall, "%", "no duty was held long enough")
		return
	}
	add(m, HoldFall, "%", worst)
}

func differences(x []float64) []float64 {
	out := make([]float64, len(x)-1)
	for i := range out {
		out[i] = x[i+1] - x[i]
	}
	return out
}

// measureDrift compares the last plateau at the highest duty with the first.
func (d *detail) measureDrift(tr *trace.Trace, m *kind.Measured) {
	t := tr.Time()
	top := 0.0
	for _, p := range d.plateaus {
		top = max(top, p.Duty_pct)
	}
	var at []step.Plateau
	for _, p := range d.plateaus {
		if top-p.Duty_pct < 0.5 {
			at = append(at, p)
		}
	}
	if len(at) == 0 {
		miss(m, WarmDrift, "%", "no duty was held long enough")
		return
	}
	first, last := at[0], at[len(at)-1]
	if apart := t[last.End-1] - t[first.Start]; apart < warming_s {
		miss(m, WarmDrift, "%", fmt.Sprintf("it takes %.0f s at full or more: a soak (--soak) shows it", warming_s))
		return
	}
	// A long plateau drifts within itself: the first twelfth of the first, and
	// the last of the last.
	x := tr.Current()
	na, nb := (first.End-first.Start)/holdBlocks, (last.End-last.Start)/holdBlocks
	if na == 0 || nb == 0 {
		miss(m, WarmDrift, "%", "the plateaus at full hold too few samples")
		return
	}
	a, b := stat.Mean(x[first.Start:first.Start+na]), stat.Mean(x[last.End-nb:last.End])
	u := math.Hypot(first.Current.U(), last.Current.U())
	add(m, WarmDrift, "%", stat.Quantity{Value: 100 * (b - a) / a}.With("both plateaus", 100*u/a, 0))
}

// measureRestarts counts the starts after the first.
func (d *detail) measureRestarts(m *kind.Measured) {
	if len(d.later) == 0 {
		miss(m, Restarts, "", "the trace holds one start only")
		miss(m, RestartTrys, "", "the trace holds one start only")
		return
	}
	failed, most := 0, 0
	for _, s := range d.later {
		most = max(most, len(s.Attempts))
		if !s.Ran {
			failed++
		}
	}
	add(m, Restarts, "", stat.Exact(float64(failed)))
	add(m, RestartTrys, "", stat.Exact(float64(most)))
}

// findStarts looks up every commanded run; those that held no duty long enough
// to tell (a supply cut at once) are left out.
func (d *detail) findStarts(tr *trace.Trace, expect func(float64) float64) {
	all := startup.FindAll(tr, d.stop, expect)
	if len(all) == 0 {
		d.start = startup.Find(tr, d.stop, expect)
		return
	}
	d.start, d.later = all[0], all[1:]
	by := startup.DescribeAll(tr, all)
	d.pattern, d.laterBy = by[0], by[1:]
}
