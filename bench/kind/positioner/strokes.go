package positioner

import (
	"math"
	"slices"

	"dutybench/bench/kind"
	"dutybench/bench/kind/weigh"
	"dutybench/profiles"
	"dutybench/signal/stat"
	"dutybench/signal/trace"
	"dutybench/signal/travel"
)

// long is the long ways: half of the longest and more, and no less than longStep,
// as on a shorter one speeding up and slowing down are no small part.
func (d *detail) long() (out []travel.Move) {
	most := 0.0
	for _, m := range d.moves {
		if m.Moved {
			most = max(most, math.Abs(m.Way()))
		}
	}
	for _, m := range d.moves {
		if m.Moved && math.Abs(m.Way()) >= max(longStep, most/2) {
			out = append(out, m)
		}
	}
	return out
}

const (
	// spot is how wide a place that binds or is worn is, in per cent of the travel:
	// a tooth, or a finger's way of the wiper (common practice, no source).
	spot = 5.0
	// binWidth lets one bin lie within such a place wherever that begins.
	binWidth = spot / 2
)

// between is the standard uncertainty of a median that the scatter between ways
// makes; 0 for one of them.
func between(v []float64) float64 {
	if len(v) < 2 {
		return 0
	}
	return 1.2533 * stat.SD(v) / math.Sqrt(float64(len(v)))
}

// measureStrokes measures the long ways: speed, current, how it begins and ends.
func (d *detail) measureStrokes(tr *trace.Trace, p *profiles.Profile, m *kind.Measured) {
	why := noPosition
	if d.told {
		why = "no long way was covered with enough readings of the position"
	}
	long := d.long()
	var speeds, speedU, amps [2][]float64
	var over, settle []float64
	excess, place := math.Inf(-1), math.NaN()
	for _, x := range long {
		k := 0
		if x.Way() < 0 {
			k = 1
		}
		if !math.IsNaN(x.Speed_pct_s) {
			speeds[k], speedU[k] = append(speeds[k], d.atNominal(tr, p, x)), append(speedU[k], x.SpeedU)
		}
		if !math.IsNaN(x.Moving_A) {
			amps[k] = append(amps[k], x.Moving_A-d.quiet)
		}
		if x.Settled {
			over, settle = append(over, x.Over_pct), append(settle, x.Settle_s-math.Abs(x.Way())/math.Abs(x.Speed_pct_s))
		}
		bins := x.Bins(tr, d.samples, binWidth, 0.15, 0.85)
		d.along = append(d.along, along{k == 0, x.Bins(tr, d.samples, binWidth, 0, 1)})
		if e, at := bins.Excess(); e > excess {
			excess, place = e, at
		}
	}
	pitch_s := orZero(d.samples.Pitch_s())
	for k, name := range []string{SpeedUp, SpeedDown} {
		if len(speeds[k]) == 0 {
			miss(m, name, "%/s", why)
			continue
		}
		q := stat.Quantity{Value: stat.Median(speeds[k])}.With("line through the middle of the way", stat.Median(speedU[k])/math.Sqrt(float64(len(speedU[k]))), 0).With("scatter between ways", between(speeds[k]), float64(max(1, len(speeds[k])-1)))
		add(m, name, "%/s", d.supplied(tr, p, q))
	}
	for k, name := range []string{MovingUp, MovingDown} {
		if len(amps[k]) == 0 {
			miss(m, name, "A", why)
			continue
		}
		add(m, name, "A", stat.Quantity{Value: stat.Median(amps[k])}.With("resolution", resolution(tr, trace.ColCurrent)/math.Sqrt(12), 0).With("scatter between ways", between(amps[k]), float64(max(1, len(amps[k])-1))))
	}
	d.typicalMoving(m, p)
	d.delays(m, why)
	if len(over) == 0 {
		miss(m, Overshoot, "%", why)
		miss(m, Settling, "s", why)
	} else {
		add(m, Overshoot, "%", stat.Quantity{Value: stat.Median(over)}.With("noise", max(orZero(d.noise), d.read.step/math.Sqrt(12)), 0))
		add(m, Settling, "s", stat.Quantity{Value: stat.Median(settle)}.With("time between readings", pitch_s/math.Sqrt(12), 0))
	}
	d.binding = place
	if math.IsInf(excess, 0) {
		miss(m, StrokeBinding, "A", why)
	} else {
		add(m, StrokeBinding, "A", stat.Quantity{Value: excess}.With("resolution", resolution(tr, trace.ColCurrent)/math.Sqrt(12), 0))
	}
	d.slowest(tr, m, long, why)
	d.work(m, why)
}

// slowest is the place of a long way at which it was slowest, as a share of its
// speed: teeth that are missing and places that bind hold it up, and what it draws
// there tells one from the other.
func (d *detail) slowest(tr *trace.Trace, m *kind.Measured, long []travel.Move, why string) {
	worst, n := math.Inf(1), 0
	width := max(1, 6*orZero(d.noise), 3*d.read.step)
	u := 0.0
	for _, x := range long {
		share, at, amps, ok := x.Slowest(tr, d.samples, width)
		if !ok || math.IsNaN(x.Moving_A) {
			continue
		}
		n++
		if share < worst {
			worst = share
			d.slowAt, d.slow_A = at, (amps-d.quiet)/(x.Moving_A-d.quiet)
			// A reading's time is known to its pitch, at both ends.
			u = share * share * math.Abs(x.Speed_pct_s) / width * orZero(d.samples.Pitch_s()) / math.Sqrt(6)
		}
	}
	if n == 0 {
		miss(m, SlowPlace, "%", why)
		return
	}
	add(m, SlowPlace, "%", stat.Quantity{Value: 100 * worst}.With("time between readings", 100*u, 0))
}

func resolution(tr *trace.Trace, column string) float64 {
	if c := tr.Column(column); c != nil {
		return c.Resolution
	}
	return 0
}

// atNominal is a speed as it would be at the profile's supply, half-way between
// what a regulated drive does (the same) and one that its voltage drives (in
// proportion); supplied adds what that leaves open.
func (d *detail) atNominal(tr *trace.Trace, p *profiles.Profile, x travel.Move) float64 {
	v := math.Abs(x.Speed_pct_s)
	if r := supplyRatio(tr, p); r > 0 {
		return v * (1 + (r-1)/2)
	}
	return v
}

func (d *detail) supplied(tr *trace.Trace, p *profiles.Profile, q stat.Quantity) stat.Quantity {
	if r := supplyRatio(tr, p); r > 0 && r != 1 {
		return q.With("supply other than nominal", math.Abs(r-1)/2/math.Sqrt(3)*q.Value, 0)
	}
	return q
}

// supplyRatio is nominal over what was at the plug; 0 when not known, 1 within
// what dividers are unsure of (1 %).
func supplyRatio(tr *trace.Trace, p *profiles.Profile) float64 {
	if p == nil || p.Supply.Nominal_V <= 0 {
		return 0
	}
	var v []float64
	for _, x := range tr.Values(trace.ColSupply) {
		if x > p.Supply.Nominal_V/2 {
			v = append(v, x)
		}
	}
	if len(v) == 0 {
		return 0
	}
	r := p.Supply.Nominal_V / stat.MedianInPlace(v)
	if math.Abs(r-1) < 0.01 {
		return 1
	}
	return r
}

// typicalMoving is what the unit draws above quiet while it moves; of good units
// where it never did.
func (d *detail) typicalMoving(m *kind.Measured, p *profiles.Profile) {
	var own []float64
	for _, n := range []string{MovingUp, MovingDown} {
		if v := m.Get(n); v != nil && v.Missing == "" {
			own = append(own, v.Q.Value)
		}
	}
	if len(own) > 0 && stat.Mean(own) > 0 {
		d.moving = stat.Mean(own)
		return
	}
	if p == nil {
		return
	}
	if good := append(weigh.Values(p, MovingUp), weigh.Values(p, MovingDown)...); len(good) > 0 {
		d.moving, d.ofGood = stat.Mean(good), true
	}
}

// delays are from a command to the first fifth of its way: going on the same way,
// and what turning round adds to it, in which a play must be taken up first.
// Compared are steps of like size, as boards drive harder for a longer way.
func (d *detail) delays(m *kind.Measured, why string) {
	type delay struct{ by, s, u float64 }
	var same, turned []delay
	way := 0.0
	for _, x := range d.moves {
		place, by := d.asked(x)
		if !x.Moved || math.IsNaN(by) {
			continue
		}
		if !math.IsNaN(x.Delay_s) && math.Abs(by) > smallStep && inside(place) {
			k := delay{math.Abs(by), x.Delay_s, x.DelayU_s}
			switch {
			case way*x.Way() > 0:
				same = append(same, k)
			case way*x.Way() < 0:
				turned = append(turned, k)
			}
		}
		way = x.Way()
	}
	middle := func(list []delay) (s, u float64) {
		var v, w []float64
		for _, k := range list {
			v, w = append(v, k.s), append(w, k.u)
		}
		// Command and position come at fixed times: all delays may err alike.
		return stat.Median(v), stat.Median(w)
	}
	if len(same) == 0 {
		miss(m, Response, "s", why)
		miss(m, ReversalDelay, "s", why)
		return
	}
	r, u := middle(same)
	// Half of it between two readings: it may have begun anywhere there.
	if u*math.Sqrt(12) > r/2 {
		why := "the position was read too seldom for it: " + weigh.Amount(u*math.Sqrt(12), "s") + " between readings"
		miss(m, Response, "s", why)
		miss(m, ReversalDelay, "s", why)
		return
	}
	add(m, Response, "s", stat.Quantity{Value: r}.With("time between readings", u, 0))
	var sizes []float64
	for _, k := range same {
		sizes = append(sizes, k.by)
	}
	size := stat.Median(sizes)
	turned = slices.DeleteFunc(turned, func(k delay) bool { return k.by > 1.5*size || k.by < size/1.5 })
	if len(turned) == 0 {
		miss(m, ReversalDelay, "s", "no step turned round that is as long as those that went on")
		return
	}
	t, tu := middle(turned)
	add(m, ReversalDelay, "s", stat.Quantity{Value: t - r}.With("time between readings", math.Hypot(u, tu), 0))
}

// work is how much more charge one slow step took than the others of its
// direction, for the same way: the worst, as a ratio in per cent.
func (d *detail) work(m *kind.Measured, why string) {
	worst, n, way := math.Inf(-1), 0, math.Inf(1)
	for _, up := range []bool{true, false} {
		var per, ways []float64
		for _, x := range d.sweep() {
			place, by := d.asked(x)
			if by > 0 == up && inside(place) && inside(place-by) && x.Moved && math.Abs(x.Way()) > math.Abs(by)/2 && math.Abs(by) > smallStep {
				per, ways = append(per, x.Charge_As/math.Abs(x.Way())), append(ways, math.Abs(x.Way()))
			}
		}
		if len(per) < 5 {
			continue
		}
		middle := stat.Median(per)
		if !(middle > 0) {
			continue
		}
		n += len(per)
		way = min(way, stat.Median(ways))
		for _, q := range per {
			worst = max(worst, 100*(q/middle-1))
		}
	}
	if n == 0 {
		miss(m, StepWork, "%", why)
		return
	}
	add(m, StepWork, "%", stat.Quantity{Value: worst}.With("reading of the way", 100*1.25*orZero(d.noise)/math.Sqrt(10)/way, 0))
}
