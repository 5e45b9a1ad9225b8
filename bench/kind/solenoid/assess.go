package solenoid

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"dutybench/bench/kind"
	"dutybench/bench/kind/weigh"
	"dutybench/bench/result"
	"dutybench/profiles"
	"dutybench/signal/coil"
	"dutybench/signal/matter"
	"dutybench/signal/stat"
	"dutybench/signal/trace"
)

// notTested is what a coil's current cannot show.
var notTested = []string{"tightness and flow", "force against pressure", "hot running", "insulation against the case"}

// Assess holds measurements against a profile.
func (Kind) Assess(m *kind.Measured, p *profiles.Profile, c kind.Conditions) *kind.Assessment {
	d, _ := m.Detail.(*detail)
	if d == nil {
		d = &detail{}
	}
	m = surroundings(d.seenEnough(m, p), p)
	rules := rulesFor(p)
	directions := 1
	if slices.ContainsFunc(m.Curve, func(q kind.Point) bool { return !q.Up }) {
		directions = 2
	}
	t := weigh.Hold(m, p, c, rules, directions)
	t.Detail = d
	var points []result.Point
	for _, up := range []bool{true, false} {
		if !up && directions == 1 {
			continue
		}
		k, pts := t.HoldCurve(curveRules[up], up, bring(m, p), t.Share(rules, directions))
		t.Add(k)
		points = append(points, pts...)
	}
	if k := bySheet(m, t, p); k != nil {
		t.Add(*k)
	}
	a := t.Assessment(untested(t))
	a.Curve, a.Views = points, d.views(m, t)
	state := d.state(m.Trace, p)
	a.Reached = state == still || state == unseen || state == moves
	a.Stark = len(d.pulses) > 0 && (state == dead || state == unpowered || state == shorted)
	a.Final = a.Stark && len(d.pulses) >= 2 || state == shorted
	a.Sketchy = len(d.pulses) < 2 && !a.Stark
	if len(d.pulses) == 0 && len(d.points) == 0 {
		return a
	}
	if a.Stark || !a.Flawless() {
		t.Conclude(a, state, modes, apart)
	}
	return a
}

// rulesFor asks of a proportional unit that is swept what its sweep shows.
func rulesFor(p *profiles.Profile) []weigh.Rule {
	out := slices.Clone(rules)
	for i := range out {
		if n := out[i].Name; sweeps(p) && (n == MotionA || n == Hysteresis) {
			out[i].Core = true
		}
	}
	return slices.DeleteFunc(out, func(r weigh.Rule) bool {
		// What only a sweep shows is not asked of a unit that has none.
		swept := slices.Contains([]string{RippleOut, RippleIn, MotionA, Hysteresis}, r.Name)
		return swept && !sweeps(p) && len(weigh.Values(p, r.Name)) == 0
	})
}

// untested is what was not tested: the return too, where nothing showed it.
func untested(t *weigh.Table) []string {
	out := slices.Clone(notTested)
	if k := t.Get(Releasing); !k.Measured() {
		out = append(out, "return of the plunger (the current does not show it)")
	}
	return out
}

// samplesToSee is what a good unit's stroke, and its coil's time constant at rest,
// have to hold of samples so that the lack of a motion says something: a kink is
// sought in as many on each side. The unit's own time constant will not do: a fit
// without a motion takes a motion that it misses for a slower coil.
const samplesToSee = 12

// slowest is the rate in Hz below which the motion of good units could be missed;
// 0 not known.
func slowest(p *profiles.Profile) (hertz float64) {
	if s := weigh.Values(p, Stroke); len(s) > 0 {
		hertz = samplesToSee / slices.Min(s)
	}
	l, r := weigh.Values(p, InductanceOut), weigh.Values(p, Resistance20)
	if len(l) > 0 && len(r) > 0 {
		hertz = max(hertz, samplesToSee*stat.Mean(r)/slices.Min(l))
	}
	return hertz
}

// seenEnough takes back missed strokes where the motion of good units would not
// have been seen either, and all of the motion where sampling is too slow for it.
func (d *detail) seenEnough(m *kind.Measured, p *profiles.Profile) *kind.Measured {
	c := *m
	c.Values = slices.Clone(m.Values)
	if v := c.Get(Missed); v != nil && v.Missing == "" && v.Q.Value > 0 {
		good := weigh.Values(p, Dip)
		for _, q := range d.pulses {
			if e := q.e; e != nil && e.Motion.Found == coil.Still && (len(good) == 0 || e.Motion.Least_A > slices.Min(good)/100*e.Final_A.Value) {
				v.Missing = "a motion as good units show it would not have been seen in this current: sample faster, or with less noise"
			}
		}
	}
	hertz := slowest(p)
	if slices.ContainsFunc(d.pulses, func(q pulse) bool { return q.e != nil && q.e.Rate_Hz < hertz }) {
		for i := range c.Values {
			v := &c.Values[i]
			if slices.Contains([]string{Missed, InductanceIn, PullInA, PullInTime, Stroke, Switching, Dip, DropOutA, DropOutTime, Return, Releasing}, v.Name) {
				v.Missing = fmt.Sprintf("sampled too slowly to see the plunger: record at least %.2g kHz", math.Ceil(hertz/100)/10)
			}
		}
	}
	return &c
}

const (
	// apartFrom is from which share on a coil's full current that differs from the
	// good units', by supply and temperature alone, counts in what its plunger does,
	// and steep how much of it: a time to reach i goes with V/(V − R·i), so with
	// up to this power for plungers that leave at a third of the current (chosen; a
	// steeper one makes findings far from the good units' supply less sure).
	apartFrom = 0.01
	steep     = 1.5
)

// surroundings makes what the plunger did less sure where the coil had another
// supply or temperature than the good units: that much it may owe to them.
func surroundings(m *kind.Measured, p *profiles.Profile) *kind.Measured {
	then, now := weigh.Values(p, Temperature), m.Get(Temperature)
	if len(m.Curve) == 0 || len(then) == 0 || now == nil {
		return m
	}
	off := 1.0
	if v := m.Curve[0].Supply_V; v > 0 && p.Learned.Supply_V > 0 {
		off = v / p.Learned.Supply_V
	}
	if ratio, err := matter.CopperRatio(now.Q.Value, stat.Mean(then)); err == nil {
		off *= ratio.Value
	}
	if off = math.Abs(off - 1); off < apartFrom {
		return m
	}
	for i := range m.Values {
		switch v := &m.Values[i]; v.Name {
		case PullInTime, Stroke, Switching, Dip, DropOutTime, Return, Releasing, PullInA, DropOutA:
			if v.Missing == "" {
				v.Q = v.Q.With("supply and temperature other than the good units'", steep*off*math.Abs(v.Q.Value), 0)
			}
		}
	}
	return m
}

// bring gives a plateau's current as it would be at the good units' temperature
// and supply: a coil's goes with voltage over resistance.
func bring(m *kind.Measured, p *profiles.Profile) func(q kind.Point, good []float64) stat.Quantity {
	now, then := m.Get(Temperature), weigh.Values(p, Temperature)
	return func(q kind.Point, _ []float64) stat.Quantity {
		out := q.Current
		if v := p.Learned.Supply_V; v > 0 && q.Supply_V > 0 {
			out = out.Scale(v / q.Supply_V)
		}
		if now == nil || len(then) == 0 {
			return out
		}
		ratio, err := matter.CopperRatio(stat.Mean(then), now.Q.Value)
		if err != nil {
			return out
		}
		perK := 0.0
		if next, err := matter.CopperRatio(stat.Mean(then), now.Q.Value+1); err == nil {
			perK = next.Value - ratio.Value
		}
		out = out.Scale(ratio.Value)
		return out.With("temperature", math.Abs(q.Current.Value)*math.Hypot(perK*now.Q.U(), ratio.U()), 0)
	}
}

// AtSupply is a measurement as it would be with other voltages at the plug; see
// learn.Scaler. A coil's current goes with voltage.
func (Kind) AtSupply(m *kind.Measured, _ *profiles.Profile, volt func(duty_pct float64, up bool) float64) (at *kind.Measured, known bool) {
	c := *m
	c.Curve = slices.Clone(m.Curve)
	for i, q := range m.Curve {
		if v := volt(q.Duty_pct, q.Up); v > 1 && q.Supply_V > 1 {
			c.Curve[i].Current = q.Current.Scale(v / q.Supply_V)
		}
	}
	return &c, true
}

// SheetResistance is the finding of a resistance that the type's sheet states.
const SheetResistance = "resistance_to_sheet"

// bySheet holds resistance against the sheet's; nil where there is none.
func bySheet(m *kind.Measured, t *weigh.Table, p *profiles.Profile) *weigh.Check {
	s := sectionOf(p)
	v := m.Get(Resistance20)
	if !(s.Resistance > 0 && s.Tolerance > 0) || v == nil {
		return nil
	}
	r := weigh.Rule{Name: SheetResistance, Unit: "%", Low: true, High: true, About: "resistance at 20 °C against the type's sheet"}
	k := weigh.Check{Finding: result.Finding{Name: r.Name, Unit: r.Unit, Result: result.NotMeasured, Note: v.Missing}, Rule: r, Chance: 1}
	if v.Missing != "" {
		return &k
	}
	k.Note = r.About
	q := v.Q.Scale(100 / float64(s.Resistance))
	q.Value -= 100
	limit := 100 * float64(s.Tolerance)
	t.Yardstick.Hold(&k, q, math.NaN(), -limit, limit)
	return &k
}

// state is how far the unit got.
func (d *detail) state(tr *trace.Trace, p *profiles.Profile) string {
	moved, quiet, _, _ := strokes(d.pulses, rise)
	some := max(6*d.noise_A, 0.01*expected(p))
	switch {
	case tripped(tr):
		return shorted
	case len(d.pulses) > 0 && d.flowed_A <= some && p.Supply.Nominal_V > 0 && d.plug_V < 0.1*p.Supply.Nominal_V:
		return unpowered
	case len(d.pulses) > 0 && d.flowed_A <= some:
		return dead
	case moved > 0:
		return moves
	case quiet > 0 && len(weigh.Values(p, Dip)) > 0:
		return still
	}
	return unseen
}

// expected is about what the coil should draw, in A; 0 not known.
func expected(p *profiles.Profile) float64 {
	if good := weigh.Values(p, Resistance20); len(good) > 0 {
		return p.Supply.Nominal_V / stat.Mean(good)
	}
	if r := float64(sectionOf(p).Resistance); r > 0 {
		return p.Supply.Nominal_V / r
	}
	return 0
}

// tripped says that a guard cut the supply for too high a current.
func tripped(tr *trace.Trace) bool {
	rule, _ := tr.Get(trace.KeyEnded)
	for _, word := range []string{"over-current", "overcurrent", "peak current", "short at switch-on"} {
		if strings.Contains(strings.ToLower(rule), word) {
			return true
		}
	}
	return false
}

// apart is the one further test that tells two causes apart.
func apart(pair []result.Cause) string {
	has := func(c result.Cause) bool { return slices.Contains(pair, c) }
	switch {
	case has(result.Bench):
		return "test a known-good unit on the same bench: the same again means the bench"
	case has(result.Wiring):
		return "measure resistance and voltage at the unit's own pins: right there means the wiring"
	case has(result.Mechanical) && has(result.Electrical):
		return "with the supply off, move the plunger by hand and measure the coil's resistance at its pins: tight means the mechanics, off means the coil"
	}
	return ""
}
