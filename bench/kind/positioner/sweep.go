package positioner

import (
	"maps"
	"math"
	"slices"

	"dutybench/bench/kind"
	"dutybench/signal/stat"
	"dutybench/signal/trace"
	"dutybench/signal/travel"
)

// point is where a unit ended that was asked for a place.
type point struct {
	asked, reached, u float64
	up                bool
}

// sweep is the steps of the slow sweep: neither small nor long ones. A trace
// without any gives all its steps.
func (d *detail) sweep() (out []travel.Move) {
	for _, m := range d.moves {
		if _, by := d.asked(m); !math.IsNaN(by) && math.Abs(by) > 1 && math.Abs(by) < longStep {
			out = append(out, m)
		}
	}
	return out
}

// reached is where it ended at each step that asked for more than a small one.
func (d *detail) reached() (out []point) {
	for _, m := range d.sweep() {
		place, by := d.asked(m)
		if !math.IsNaN(m.Reached_pct) {
			out = append(out, point{place, m.Reached_pct, math.Hypot(orZero(m.ReachedU), d.read.step/math.Sqrt(12)), by > 0})
		}
	}
	return out
}

// measureSweep says how the places reached go with those asked for, and what it
// drew while it stood there.
func (d *detail) measureSweep(tr *trace.Trace, m *kind.Measured) {
	d.curve(tr, m)
	why := noPosition
	if d.told {
		why = "too few steps of the command, each held until it stands"
	}
	points := d.reached()
	d.ends(m, why)
	var x, y []float64
	lag := map[float64][2]float64{} // sums of up and down
	seen := map[float64][2]int{}
	u := 0.0
	for _, p := range points {
		if !inside(p.asked) {
			continue
		}
		x, y, u = append(x, p.asked), append(y, p.reached), max(u, p.u)
		k, s, n := 0, lag[p.asked], seen[p.asked]
		if !p.up {
			k = 1
		}
		s[k] += p.reached
		n[k]++
		lag[p.asked], seen[p.asked] = s, n
	}
	fit, err := stat.Line(x, y, nil)
	if err != nil || len(x) < 5 || slices.Max(x)-slices.Min(x) < 30 {
		for _, n := range []string{Gain, Offset, Linearity} {
			miss(m, n, "%", why)
		}
	} else {
		middle, mu := fit.Predict(1, 50)
		worst := 0.0
		for i := range x {
			worst = max(worst, math.Abs(fit.Residual[i]))
		}
		dof := float64(fit.DoF)
		add(m, Gain, "%", stat.Quantity{Value: 100 * fit.Coef[1]}.With("scatter about the line", 100*fit.U(1), dof))
		add(m, Offset, "%", stat.Quantity{Value: middle - 50}.With("scatter about the line", mu, dof))
		add(m, Linearity, "%", stat.Quantity{Value: worst}.With("reading", u, 0))
	}
	var gaps []float64
	for _, a := range slices.Sorted(maps.Keys(seen)) { // in order: sums of floats depend on it
		if n := seen[a]; n[0] > 0 && n[1] > 0 {
			gaps = append(gaps, lag[a][1]/float64(n[1])-lag[a][0]/float64(n[0]))
		}
	}
	if len(gaps) < 3 {
		miss(m, Hysteresis, "%", why+", both ways")
	} else {
		add(m, Hysteresis, "%", stat.Quantity{Value: stat.Median(gaps)}.With("scatter", 1.25*stat.SD(gaps)/math.Sqrt(float64(len(gaps))), float64(len(gaps)-1)))
	}
}

// ends are the places at the lowest and the highest command.
func (d *detail) ends(m *kind.Measured, why string) {
	var got [2]float64
	ok := true
	for i, name := range []string{LowEnd, HighEnd} {
		best := math.Inf(1)
		var at []float64
		u := 0.0
		for _, v := range d.moves {
			place, _ := d.asked(v)
			if i == 1 {
				place = 100 - place
			}
			if math.IsNaN(v.Reached_pct) || place > nearEnd || v.Creep_pct > 3*d.least {
				continue // of those, the last was still on its way
			}
			if place < best-0.1 {
				best, at, u = place, nil, 0
			}
			if place < best+0.1 {
				at, u = append(at, v.Reached_pct), max(u, orZero(v.ReachedU))
			}
		}
		if len(at) == 0 {
			ok = false
			if d.told {
				why = "no command asked for this end"
			}
			miss(m, name, "%", why)
			continue
		}
		got[i] = stat.Median(at)
		add(m, name, "%", stat.Quantity{Value: got[i]}.With("noise", u, 0).With("resolution", d.read.step/math.Sqrt(12), 0))
	}
	if !ok {
		miss(m, Travel, "%", why)
		return
	}
	add(m, Travel, "%", stat.Quantity{Value: got[1] - got[0]}.With("resolution", d.read.step/math.Sqrt(6), 0).With("noise", 1.8*orZero(d.noise)/math.Sqrt(10), 0))
}

// curve is the current of the unit standing where each step of the sweep brought
// it, and the holding current away from the ends.
func (d *detail) curve(tr *trace.Trace, m *kind.Measured) {
	v, t := tr.Values(trace.ColSupply), tr.Time()
	list := d.sweep()
	if len(list) == 0 {
		for _, x := range d.moves {
			if !math.IsNaN(x.Before_pct) {
				list = append(list, x)
			}
		}
	}
	var held []float64
	type plateau struct {
		duty float64
		up   bool
	}
	seen := map[plateau]bool{} // the first way to a place counts
	for _, x := range list {
		place, by := d.asked(x)
		if at := (plateau{x.Duty_pct, by > 0}); seen[at] {
			continue
		} else {
			seen[at] = true
		}
		q := kind.Point{Duty_pct: x.Duty_pct, Up: by > 0, Start_s: x.End_s - 0.3*(x.End_s-x.Start_s), End_s: x.End_s, Supply_V: math.NaN(),
			Current: stat.Quantity{Value: x.Standing_A}.With("noise", x.StandU_A, 0)}
		var volts []float64
		for i := x.From; v != nil && i < x.To; i++ {
			if !math.IsNaN(v[i]) && t[i] >= q.Start_s {
				volts = append(volts, v[i])
			}
		}
		if len(volts) > 0 {
			q.Supply_V = stat.Mean(volts)
		}
		m.Curve = append(m.Curve, q)
		if inside(place) {
			held = append(held, x.Standing_A-d.quiet)
		}
	}
	if len(held) < 3 {
		miss(m, Holding, "A", "too few steps away from the ends")
		return
	}
	add(m, Holding, "A", stat.Quantity{Value: stat.Median(held)}.With("scatter", 1.25*stat.RobustSD(held)/math.Sqrt(float64(len(held))), float64(len(held)-1)))
}
