package pump

import (
	"slices"

	"dutybench/bench/kind/weigh"
	"dutybench/profiles"
)

// contrastShare is how much of weigh.Refusal goes to the contrasts, which tell a
// faulty curve from a good one best; the rest is for all other findings, of which
// most faults move several or move one far. The limits hardly move with it: at
// twenty good units, twice the rate draws a contrast's limit in from 3.7 to 3.4
// standard deviations.
const contrastShare = 0.8

// rules of the named values. The floors only count where the good units'
// own spread is smaller.
var rules = []weigh.Rule{
	{Name: SwitchOnCharge, Unit: "C", Low: true, High: true, Log: true, Floor: 0.0005, Share: 0.10, About: "charge taken by the input capacitor at switch-on"},
	{Name: Quiet, Unit: "A", Low: true, High: true, Floor: 0.001, Share: 0.05, About: "current with the stop command"},
	{Name: StartAttempts, High: true, Count: true, Core: true, About: "tries until the rotor turned"},
	{Name: StartDelay, Unit: "s", High: true, Floor: 0.02, Share: 0.05, About: "from the command to the first attempt"},
	{Name: StartSettle, Unit: "s", High: true, Floor: 0.05, Share: 0.10, About: "from the first attempt to a settled current"},
	{Name: StartLevel, Unit: "A", Low: true, High: true, Log: true, Share: 0.05, About: "mean current in the first tenth of a second of an attempt"},
	{Name: StartPeak, Unit: "A", Low: true, High: true, Log: true, Share: 0.05, About: "highest current of the start"},
	{Name: Full, Unit: "A", Low: true, High: true, Log: true, Share: least, Core: true, About: "current at full command"},
	{Name: Response, Unit: "%", Low: true, Floor: 1, About: "how far the current follows the duty"},
	{Name: Hysteresis, Unit: "%", Low: true, High: true, Floor: 0.3, About: "rising less falling, mean over the duties"},
	{Name: DropOuts, High: true, Count: true, About: "gaps in the current while it should run"},
	{Name: Rotation, Unit: "%", High: true, Log: true, Floor: 0.1, Share: 0.1, About: "current swinging at one steady rate, as once a turn"},
	{Name: Unrest, Unit: "%", High: true, Log: true, Floor: 0.1, Share: 0.1, About: "current swinging without a steady rate"},
	{Name: ShaftSpeed, Unit: "rpm", Low: true, High: true, Log: true, Share: 0.01, About: "speed at the highest duty, counted from the ripple of the current"},
	{Name: Ripple, Unit: "%", Low: true, High: true, Log: true, Share: 0.1, Home: true, About: "ripple of commutation; it depends on the bench's source and the unit's capacitor"},
	{Name: TurnDepth, Unit: "%", High: true, Log: true, Floor: 0.1, Share: 0.1, About: "depth of what comes once a turn"},
	{Name: HoldFall, Unit: "%", High: true, Floor: 0.5, About: "lasting fall of the current while one duty is held"},
	{Name: WarmDrift, Unit: "%", Low: true, High: true, Floor: 1, About: "current at full after a long run against that before"},
	{Name: Restarts, High: true, Count: true, Never: true, About: "later starts that did not succeed"},
	{Name: RestartTrys, High: true, Count: true, Like: StartAttempts, About: "the most tries that a later start took"},
	{Name: SupplyDrop, Unit: "ohm", High: true, Log: true, Floor: 0.002, Share: 0.05, About: "voltage lost before the plug per ampere"},
	{Name: SupplyFold, Unit: "V", High: true, Floor: 0.02, About: "voltage missing at full current beyond that"},
}

// ruleFor is the rule of a finding; one without a name where there is none.
func ruleFor(name string) weigh.Rule {
	if i := slices.IndexFunc(rules, func(r weigh.Rule) bool { return r.Name == name }); i >= 0 {
		return rules[i]
	}
	return weigh.Rule{}
}

func isStated(p *profiles.Profile, name string) bool {
	_, ok := weigh.Stated(p, name)
	return ok
}
