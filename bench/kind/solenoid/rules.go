package solenoid

import (
	"slices"

	"dutybench/bench/kind/weigh"
)

// CurveUp and CurveDown are the findings of the curve.
const (
	CurveUp   = "curve_up"
	CurveDown = "curve_down"
)

// rules of the named values, in the order in which a person should read them. The
// floors only count where good units' own spread is smaller: what a bench and its
// mounting cannot hold equal.
var rules = []weigh.Rule{
	{Name: Temperature, Unit: "°C", About: "what the winding is taken to have had at the start"},
	{Name: Resistance, Unit: "ohm", About: "of the coil as it was, at the plug"},
	{Name: Resistance20, Unit: "ohm", Low: true, High: true, Log: true, Share: 0.005, Core: true, About: "of the coil at 20 °C, by copper's law"},
	{Name: Warming, Unit: "%", About: "rise of the resistance from the first pulse to the last, by the coil's own heat"},
	{Name: InductanceOut, Unit: "H", Low: true, High: true, Log: true, Share: 0.01, About: "from the rise of the current, before the plunger moves"},
	{Name: InductanceIn, Unit: "H", Low: true, High: true, Log: true, Share: 0.01, About: "from the rise of the current, with the plunger in"},
	{Name: Missed, High: true, Count: true, Never: true, Core: true, About: "pulses in which the plunger did not go in"},
	{Name: PullInA, Unit: "A", Low: true, High: true, Log: true, Share: 0.01, About: "current at which the plunger leaves its rest"},
	{Name: PullInTime, Unit: "s", Low: true, High: true, Log: true, Share: 0.01, About: "from switching on until the plunger leaves its rest"},
	{Name: Stroke, Unit: "s", Low: true, High: true, Log: true, Share: 0.01, About: "from there until it stands at the pole"},
	{Name: Switching, Unit: "s", Low: true, High: true, Log: true, Share: 0.01, About: "from switching on until the plunger stands at the pole"},
	{Name: Dip, Unit: "%", Low: true, High: true, Log: true, Share: 0.02, About: "how far the plunger's motion takes the current down, of the settled one"},
	{Name: Uneven, Unit: "%", High: true, Log: true, Share: 0.3, Floor: 0.1, About: "current of the pulse that differs most from the others, of the settled one"},
	{Name: DropOutA, Unit: "A", Low: true, High: true, Log: true, Share: 0.02, About: "current at which the plunger leaves the pole"},
	{Name: DropOutTime, Unit: "s", Low: true, High: true, Log: true, Share: 0.01, Home: true, About: "from switching off until it does; it depends on the bench's free-wheel path"},
	{Name: Return, Unit: "s", Low: true, High: true, Log: true, Share: 0.01, About: "from there until it is back at rest"},
	{Name: Releasing, Unit: "s", Low: true, High: true, Log: true, Share: 0.01, Home: true, About: "from switching off until the plunger is back at rest; it depends on the bench's free-wheel path"},
	{Name: RippleOut, Unit: "H", Low: true, High: true, Log: true, Share: 0.01, About: "from the ripple under PWM at the lowest duty"},
	{Name: RippleIn, Unit: "H", Low: true, High: true, Log: true, Share: 0.01, About: "from the ripple under PWM at the highest duty"},
	{Name: MotionA, Unit: "A", Low: true, High: true, Log: true, Share: 0.01, About: "current at which the plunger is half way, rising"},
	{Name: Hysteresis, Unit: "%", Low: true, High: true, Floor: 0.3, About: "current at half way, rising less falling, of the highest"},
	{Name: Leakage, Unit: "A", Low: true, High: true, Floor: 0.003, About: "with the supply on and the switch open"},
	{Name: SupplyDrop, Unit: "ohm", High: true, Log: true, Share: 0.05, Floor: 0.002, About: "voltage lost before the plug per ampere"},
	{Name: SupplyFold, Unit: "V", High: true, Floor: 0.02, About: "voltage missing at the settled current beyond that"},
}

// curveRules hold the curve.
var curveRules = map[bool]weigh.Rule{
	true:  {Name: CurveUp, Share: 0.005, About: "current against good units'"},
	false: {Name: CurveDown, Share: 0.005, About: "current against good units', falling"},
}

// Ratio says that good units differ in a named value by ratios.
func (Kind) Ratio(value string) bool {
	i := slices.IndexFunc(rules, func(r weigh.Rule) bool { return r.Name == value })
	return i >= 0 && rules[i].Log
}
