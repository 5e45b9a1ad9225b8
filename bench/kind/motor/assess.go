package motor

import (
	"math"
	"slices"

	"dutybench/bench/kind"
	"dutybench/bench/kind/weigh"
	"dutybench/bench/result"
	"dutybench/profiles"
)

// notTested is what a motor's current on a bench cannot show.
var notTested = []string{"torque at the shaft", "noise and play of the bearings", "hot running", "insulation against the case"}

// Assess holds measurements against a profile.
func (Kind) Assess(m *kind.Measured, p *profiles.Profile, c kind.Conditions) *kind.Assessment {
	d, _ := m.Detail.(*detail)
	if d == nil {
		d = &detail{}
	}
	sides := d.sweeps(p)
	held := rulesFor(p)
	t := weigh.Hold(m, p, c, held, len(sides))
	t.Detail = d
	var points []result.Point
	for _, up := range []bool{true, false} {
		k, pts := t.HoldCurve(curveRules[up], up, nil, t.Share(held, len(sides)))
		points = append(points, pts...)
		if slices.Contains(sides, up) {
			t.Add(k)
		}
	}
	a := t.Assessment(notTested)
	a.Curve, a.Views = points, d.views(m)
	if !d.commanded && len(d.stretches) > 0 && !slices.ContainsFunc(d.stretches, func(s stretch) bool { return s.driven(stop) }) {
		a.Lacking = append(a.Lacking, "the trace never commands the unit to run")
		return a
	}
	state := d.state(p, tripped(m.Trace))
	a.Reached = state == runs || state == still || state == shorted
	a.Stark = state != runs
	a.Final = a.Stark && (len(d.starts) > 0 && d.starts[0].seconds(m.Trace.Time()) > 0.5 || state == shorted)
	a.Sketchy = state == runs && d.run == nil
	if why := d.unseen(t, p); state == runs && why != "" {
		a.Lacking = append(a.Lacking, why)
	}
	// What is merely lacking says nothing of any cause.
	odd := slices.ContainsFunc(a.Findings, func(f result.Finding) bool { return f.Result == result.Failed || f.Result == result.Doubtful })
	if a.Stark || odd {
		t.Conclude(a, state, modesFor(p), apart)
	}
	weigh.TakeMisread(a, m.Trace, p, StartPeak, Full)
	return a
}

// sweeps are the directions in which the profile's good units were swept.
func (d *detail) sweeps(p *profiles.Profile) (out []bool) {
	if len(p.Grid) < 2 {
		return nil
	}
	out = []bool{true}
	if slices.ContainsFunc(p.Good, func(g profiles.GoodUnit) bool { return g.Down != nil }) {
		out = append(out, false)
	}
	return out
}

// Ratio says that good units differ in a named value by ratios; see learn.Scaler.
func (Kind) Ratio(value string) bool {
	i := slices.IndexFunc(rules, func(r weigh.Rule) bool { return r.Name == value })
	return i >= 0 && rules[i].Log
}

// AtSupply leaves a measurement as it is: what a motor with a load of friction
// draws hardly goes with its voltage, and speed is brought to nominal supply where
// it is measured.
func (Kind) AtSupply(m *kind.Measured, _ *profiles.Profile, _ func(duty_pct float64, up bool) float64) (at *kind.Measured, known bool) {
	return m, true
}

// views are the first start, and one turn with the orders that it is made of.
func (d *detail) views(m *kind.Measured) (out []result.View) {
	t, x := m.Trace.Time(), m.Trace.Current()
	if len(d.starts) > 0 {
		s := d.starts[0]
		long := 0.3
		if !math.IsNaN(s.settle_s) {
			long = min(2.5*s.settle_s, s.seconds(t))
		}
		v := result.View{Name: "start", Title: "Current of the first start", X: result.Axis{Label: "time from switch-on", Unit: "ms"}, Y: result.Axis{Label: "current", Unit: "A"}}
		line := result.ViewLine{Name: "measured"}
		end := s.from
		for end < s.to && t[end]-t[s.from] <= long {
			end++
		}
		// The highest of each part, so that no peak is lost in drawing.
		each := max(1, int(math.Ceil(float64(end-s.from)/float64(result.MostViewPoints))))
		for i := s.from; i < end; i += each {
			top := i
			for k := i; k < min(i+each, end); k++ {
				if x[k] > x[top] {
					top = k
				}
			}
			line.X, line.Y = append(line.X, 1000*(t[top]-t[s.from])), append(line.Y, x[top])
		}
		v.Lines = []result.ViewLine{line}
		v.Marks = append(v.Marks, result.ViewMark{X: 1000 * (t[s.peakAt] - t[s.from]), Label: "peak"})
		if !math.IsNaN(s.settle_s) {
			v.Marks = append(v.Marks, result.ViewMark{X: 1000 * s.settle_s, Label: "runs"})
		}
		out = append(out, v)
	}
	if d.turn != nil {
		line := result.ViewLine{Name: "mean turn"}
		n := len(d.turn.Current)
		each := max(1, int(math.Ceil(float64(n)/float64(result.MostViewPoints))))
		for i := 0; i < n; i += each {
			line.X, line.Y = append(line.X, 360*(float64(i)+0.5)/float64(n)), append(line.Y, d.turn.Current[i])
		}
		out = append(out, result.View{Name: "turn", Title: "Current over one turn, the mean of many, by its own ripple",
			X: result.Axis{Label: "angle", Unit: "°"}, Y: result.Axis{Label: "current", Unit: "A"}, Lines: []result.ViewLine{line}})
		orders := result.ViewLine{Name: "amplitude"}
		for o := 1; o <= min(2*d.turn.PerTurn, result.MostViewPoints); o++ {
			if a, _ := d.turn.Order(o); !math.IsNaN(a) {
				orders.X, orders.Y = append(orders.X, float64(o)), append(orders.Y, 1000*a)
			}
		}
		out = append(out, result.View{Name: "orders", Title: "What comes how often a turn",
			X: result.Axis{Label: "times a turn"}, Y: result.Axis{Label: "amplitude", Unit: "mA"}, Lines: []result.ViewLine{orders},
			Marks: []result.ViewMark{{X: float64(d.turn.PerTurn), Label: "ripple"}}})
	}
	return out
}
