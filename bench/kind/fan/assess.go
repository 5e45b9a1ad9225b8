package fan

import (
	"math"
	"slices"

	"dutybench/bench/kind"
	"dutybench/bench/kind/weigh"
	"dutybench/bench/result"
	"dutybench/profiles"
	"dutybench/signal/stat"
	"dutybench/signal/step"
)

// rules of the named values. The least spreads only count where the good units'
// own is smaller.
var rules = []weigh.Rule{
	{Name: SwitchOnCharge, Unit: "C", Low: true, High: true, Log: true, Share: 0.10, About: "charge taken by the input capacitor at switch-on"},
	{Name: Quiet, Unit: "A", Low: true, High: true, Floor: 0.001, Share: 0.05, About: "current with the stop command"},
	{Name: StartAttempts, High: true, Count: true, Core: true, About: "tries until the blades turned"},
	{Name: StartDelay, Unit: "s", High: true, Floor: 0.02, Share: 0.05, About: "from the command to the first attempt"},
	{Name: StartSettle, Unit: "s", High: true, Floor: 0.05, Share: 0.10, About: "from the first attempt to a settled current"},
	{Name: StartPeak, Unit: "A", Low: true, High: true, Log: true, Share: 0.05, About: "highest current of the start"},
	{Name: Full, Unit: "A", Low: true, High: true, Log: true, Share: least, Core: true, About: "current at full command"},
	{Name: DropOuts, High: true, Count: true, About: "gaps in the current while it should run"},
	{Name: ShaftSpeed, Unit: "rpm", Low: true, High: true, Log: true, Share: 0.003, About: "speed at the highest duty, counted from the ripple of the current"},
	{Name: AirShare, Unit: "%", Low: true, High: true, Floor: 0.3, About: "share of the running power at full that goes with the cube of the speed, as the air's does"},
	{Name: TurnLine, Unit: "A", High: true, Log: true, Share: 0.2, About: "amplitude of the current's swing once a turn, at the lowest speeds"},
	{Name: SupplyDrop, Unit: "ohm", High: true, Log: true, Floor: 0.002, Share: 0.05, About: "voltage lost before the plug per ampere"},
	{Name: SupplyFold, Unit: "V", High: true, Floor: 0.02, About: "voltage missing at full current beyond that"},
}

var curveRule = weigh.Rule{Name: CurveUp, About: "current over the duties", Share: least}

// notTested is what a supply current cannot show on a bench.
var notTested = []string{"air flow and pressure", "noise and vibration", "hot running", "cold start"}

// How far the unit got.
const (
	unpowered = "unpowered"
	nothing   = "nothing"
	noTry     = "no attempt"
	tries     = "tries"
	constant  = "constant"
	shorted   = "shorted"
	ran       = "ran"
)

// Assess holds what was measured against a profile.
func (Kind) Assess(m *kind.Measured, p *profiles.Profile, c kind.Conditions) *kind.Assessment {
	d := m.Detail.(*detail)
	n := newNormal(m.Trace, p)
	quiet := weigh.MeanOf(p, Quiet)
	// bring gives a current at the good units' supply; their air's density is not
	// known to be this one's.
	bring := func(q kind.Point, good []float64) stat.Quantity {
		cur := n.bring(q, good)
		return cur.With("density of the air, which is not read", density_u*max(0, cur.Value-quiet), 0)
	}
	const curves = 2
	t := weigh.Hold(atGoodSupply(m, p, bring), p, c, rules, curves+len(contrasts))
	laid := lay(m, t.Yardstick, n)
	t.Detail = evidence{d, laid.lowest()}
	share := t.Share(rules, curves+len(contrasts))
	var points []result.Point
	for _, up := range []bool{true, false} {
		r := curveRule
		if r.Core = up; !up {
			r.Name = CurveDown
		}
		k, pts := t.HoldCurve(r, up, bring, share)
		t.Add(k)
		points = append(points, pts...)
	}
	checks, unseen := laid.hold(m.Trace, t.Yardstick, share)
	for _, k := range checks {
		t.Add(k)
	}
	for _, k := range d.heldWithoutCommand(t.Yardstick) {
		t.Add(k)
	}
	a := t.Assessment(notTested)
	a.Curve, a.Unseen, a.Views = points, unseen, d.views()
	if math.IsNaN(d.start.Commanded_s) {
		a.Lacking = append(a.Lacking, "the trace never commands the unit to run")
	}
	state := d.state(m, p)
	a.Stark = state != ran
	a.Sketchy = state == ran && t.Get(Air).Value == nil
	a.Final = (state == nothing || state == unpowered) && weigh.Waited(m.Trace, p, StartDelay, d.start.Commanded_s)
	proved := state == ran || state == tries || step.LineMoves(m.Trace)
	a.Reached = state != nothing && state != unpowered && proved
	if weigh.Odd(a) {
		told := t.Get(ShaftSpeed)
		t.Conclude(a, state, modes(sectionOf(p), proved, d.volts, told.Measured() && told.N > 1), apart)
	}
	weigh.TakeMisread(a, m.Trace, p, Quiet, Full, StartPeak)
	return a
}

// atGoodSupply is the measurements with the current at full brought to the good
// units' supply; limits stated by hand name no supply.
func atGoodSupply(m *kind.Measured, p *profiles.Profile, bring func(kind.Point, []float64) stat.Quantity) *kind.Measured {
	out := *m
	out.Values = slices.Clone(m.Values)
	v := out.Get(Full)
	_, stated := weigh.Stated(p, Full)
	if v == nil || v.Missing != "" || stated || len(m.Curve) == 0 {
		return &out
	}
	top := slices.MaxFunc(m.Curve, func(a, b kind.Point) int { return int(math.Copysign(1, a.Duty_pct-b.Duty_pct-1e-9)) })
	if good := weigh.Row(p, top.Duty_pct, true); len(good) > 1 {
		top.Current = v.Q
		v.Q = bring(top, good)
	}
	return &out
}

// state says how far the unit got.
func (d *detail) state(m *kind.Measured, p *profiles.Profile) string {
	full := weigh.MeanOf(p, Full)
	quiet := weigh.MeanOf(p, Quiet)
	charge := weigh.MeanOf(p, SwitchOnCharge)
	most := d.rest()
	for _, q := range d.plateaus {
		most = max(most, q.Median_A)
	}
	for _, a := range d.start.Attempts {
		most = max(most, a.Mean_A)
	}
	awake := d.quiet_A > 0.3*quiet && d.quiet_A > 3*d.noise_A/10 || d.charge_C > 0.2*charge && charge > 0
	switch runs := d.start.Ran || d.follows; {
	case weigh.Tripped(m.Trace) && !runs:
		return shorted
	case full > 0 && most < 0.02*full && d.noSupply(p) && !awake:
		return unpowered
	case d.flat(p):
		return constant
	case runs:
		return ran
	case slices.ContainsFunc(d.start.Attempts, func(a attempt) bool { return a.Mean_A-d.rest() > weigh.MeanOf(p, StartPeak)/10 }):
		return tries
	case awake || full > 0 && most > 0.02*full && most > 6*d.noise_A:
		return noTry
	}
	return nothing
}

// noSupply says that the voltage at the plug was read, and is not there.
func (d *detail) noSupply(p *profiles.Profile) bool {
	for _, q := range d.plateaus {
		if !(q.Supply_V < p.Supply.Nominal_V/2) {
			return false
		}
	}
	return len(d.plateaus) > 0
}

// flat says that the current does not follow the duty where that of good units
// does, and is that of running blades.
func (d *detail) flat(p *profiles.Profile) bool {
	lo, hi, goodLo, goodHi, n := math.Inf(1), 0.0, math.Inf(1), 0.0, 0
	for _, q := range d.plateaus {
		row := weigh.Row(p, q.Duty_pct, q.Up)
		if len(row) == 0 {
			continue
		}
		lo, hi, n = min(lo, q.Median_A), max(hi, q.Median_A), n+1
		goodLo, goodHi = min(goodLo, stat.Mean(row)), max(goodHi, stat.Mean(row))
	}
	return n >= 3 && goodHi-goodLo > 0.3*goodHi && hi-lo < 0.15*(goodHi-goodLo)*hi/goodHi && lo > 0.2*goodHi
}

// heldWithoutCommand holds what the unit did without a command against what the
// profile says, by its own full current.
func (d *detail) heldWithoutCommand(y weigh.Yardstick) []weigh.Check {
	quiet, full := weigh.MeanOf(y.Profile, Quiet), 0.1*weigh.MeanOf(y.Profile, Full)
	for _, q := range d.plateaus {
		full = max(full, q.Median_A)
	}
	if !(full > quiet) {
		return weigh.HoldUndriven(y, nil, quiet, full)
	}
	return weigh.HoldUndriven(y, d.missing, quiet, full)
}

// apart is the one further test that tells two causes apart; "" where the mode's
// own next step is better.
func apart(pair []result.Cause) string {
	has := func(c result.Cause) bool { return slices.Contains(pair, c) }
	switch {
	case has(result.Bench) && has(result.Mechanical):
		return "with the supply off, look whether all blades are there, sit fast on the shaft and have a free path of air on both sides"
	case has(result.Bench):
		return "test a known-good unit on the same bench: the same again means the bench"
	case has(result.Wiring):
		return "measure supply voltage, ground and signal at the unit's own pins while it is commanded to full: missing there means the wiring"
	case has(result.Mechanical):
		return "with the supply off, turn the blades by hand: tight, uneven or slipping on the shaft means the mechanics"
	}
	return ""
}
