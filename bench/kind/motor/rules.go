package motor

import (
	"slices"

	"dutybench/bench/kind/weigh"
	"dutybench/profiles"
)

// rules say how each measurement is held against good units. Shares and floors are
// what no bench holds equal from one test to the next, far below what good units
// differ by (chosen).
var rules = []weigh.Rule{
	{Name: Quiet, Unit: "A", High: true, Floor: 0.002, Home: true, About: "current with the switch open"},
	{Name: Starts, High: true, Count: true, Never: true, About: "starts from rest at which the rotor did not turn"},
	{Name: StartPeak, Unit: "A", Low: true, High: true, Log: true, Share: 0.01, Core: true, About: "the highest current of a start, the mean over the starts"},
	{Name: Resistance, Unit: "ohm", Low: true, High: true, Log: true, Share: 0.01, About: "voltage at the plug over the current at the start's peak, winding and brushes, as at 20 °C"},
	{Name: StartSpread, Unit: "%", High: true, Floor: 1, About: "how far the peaks of the starts differ with where the rotor stood"},
	{Name: LetGo, Unit: "ms", High: true, Log: true, Share: 0.1, About: "from switch-on until the rotor lets go, the slowest start"},
	{Name: StartTime, Unit: "ms", Low: true, High: true, Log: true, Share: 0.03, About: "from switch-on until it runs, the slowest start"},
	{Name: Full, Unit: "A", Low: true, High: true, Log: true, Share: 0.01, Core: true, About: "running current at full"},
	{Name: ShaftSpeed, Unit: "rpm", About: "speed at full, counted from the ripple of the current"},
	{Name: FullSpeed, Unit: "rpm", Low: true, High: true, Log: true, Share: 0.003, About: "that speed as it would be at nominal supply"},
	{Name: EMF, Unit: "V/krpm", Low: true, High: true, Log: true, Share: 0.005, About: "back-EMF for each thousand turns a minute: the magnet's strength"},
	{Name: Ripple, Unit: "A", Low: true, High: true, Log: true, Share: 0.03, About: "amplitude of the commutator's ripple"},
	{Name: Once, Unit: "A", High: true, Floor: 0.001, About: "amplitude of what comes once a turn"},
	{Name: Twice, Unit: "A", High: true, Floor: 0.001, About: "amplitude of what comes twice a turn, as a coil does that passes both brushes"},
	{Name: Uneven, Unit: "%", High: true, Floor: 3, About: "how far the ripples of one turn differ"},
	{Name: Missing, High: true, Count: true, Never: true, About: "ripples of a turn that are nearly gone"},
	{Name: Unrest, Unit: "A", High: true, Log: true, Share: 0.05, About: "scatter of the running current beside what comes in every turn"},
	{Name: DropOuts, High: true, Count: true, Never: true, About: "times that the current went away while it ran"},
	{Name: Scatter, Unit: "A", Low: true, High: true, Log: true, Share: 0.03, About: "scatter of the running current, ripple and all"},
	{Name: Friction, Low: true, High: true, Floor: 0.02, About: "exponent of current over duty: near none for friction, near two for a wheel in air"},
	{Name: SupplyDrop, Unit: "ohm", High: true, Floor: 0.005, About: "voltage lost at the plug for each ampere"},
	{Name: SupplyFold, Unit: "V", High: true, Floor: 0.1, About: "voltage lost at the plug during a start beyond that: a supply at its limit"},
}

// rulesFor a profile: the plain scatter is held where no segments are known.
func rulesFor(p *profiles.Profile) []weigh.Rule {
	if sectionOf(p).perTurn() == 0 {
		return rules
	}
	return slices.DeleteFunc(slices.Clone(rules), func(r weigh.Rule) bool { return r.Name == Scatter })
}

// curveRules are for the running currents of a sweep.
var curveRules = map[bool]weigh.Rule{
	true:  {Name: "curve_up", Share: 0.01, About: "running current, duty rising"},
	false: {Name: "curve_down", Share: 0.01, About: "running current, duty falling"},
}
