package motor

import (
	"math"

	"dutybench/bench/kind/weigh"
	"dutybench/bench/result"
	"dutybench/profiles"
	"dutybench/signal/stat"
)

// How far a unit gets.
const (
	unpowered = "unpowered" // no voltage at its plug
	nothing   = "nothing"   // voltage and no current
	shorted   = "shorted"   // far more than a start's current
	still     = "still"     // a start's current that does not fall
	runs      = "runs"
)

const (
	openUnit = "measure the resistance at the unit's own pins, turning the shaft by hand: open at every place means brushes or winding, a few ohms mean the wire"
	byHand   = "with the supply off and the leads open, turn the shaft by hand: a drag that is there at the slowest turn is friction, one that comes with speed is a shorted coil"
)

// turning lists what a change of the load's torque may move beside what its size
// ties together.
var turning = []string{StartTime, LetGo, Ripple, Unrest, Scatter, Once, Twice, Uneven, "curve_up", "curve_down", Friction, StartPeak, StartSpread}

// modesFor is what can be wrong with a motor of a profile's type. ρ is the share
// that its winding takes of the voltage over what the back-EMF takes: with U = R·I +
// k·ω a current more by x lowers the speed by ρ·x.
func modesFor(p *profiles.Profile) []weigh.Mode {
	ρ := 0.2
	if r, i := weigh.Values(p, Resistance), weigh.Values(p, Full); len(r) > 0 && len(i) > 0 {
		if drop := stat.Mean(r) * stat.Mean(i); drop < 0.8*p.Supply.Nominal_V {
			ρ = drop / (p.Supply.Nominal_V - drop)
		}
	}
	// Of the voltage at the peak of a start the winding takes nearly all; what its
	// resistance changes by moves the running speed by ρ.
	all := func(names ...string) []string { return append(names, turning...) }
	return []weigh.Mode{
		{Name: "no-supply", Cause: result.Wiring, States: []string{unpowered}, Prior: weigh.Often,
			Seen: "the supply was on and the unit's plug had no voltage", Disproof: "voltage at the plug with the unit connected",
			Next: "check fuse, switch, leads and plug for continuity, then repeat"},
		{Name: "no-source", Cause: result.Bench, States: []string{unpowered}, Prior: weigh.Seldom,
			Seen: "the supply was on and the unit's plug had no voltage: the bench's supply gives none", Disproof: "voltage at the bench's own terminals",
			Next: "measure the supply at the bench's own terminals"},
		{Name: "open", Cause: result.Electrical, States: []string{nothing}, Prior: weigh.Often,
			Seen: "voltage at the plug and no current: a brush that does not touch, an open winding, or an open wire", Disproof: "a resistance of a few ohms at the unit's own pins",
			Next: openUnit, Like: []result.Cause{result.Wiring}, Apart: openUnit},
		{Name: "open-wire", Cause: result.Wiring, States: []string{nothing}, Prior: weigh.Seldom,
			Seen: "voltage at the plug and no current: a wire or a contact is open, or the unit is", Disproof: "an open circuit at the unit's own pins", Next: openUnit,
			Like: []result.Cause{result.Electrical}, Apart: openUnit},
		{Name: "short", Cause: result.Electrical, States: []string{shorted}, Prior: weigh.Often,
			Seen: "the unit draws far more than a motor of its type at standstill: winding, commutator or leads are shorted", Disproof: "the same current with the unit unplugged",
			Next: "unplug the unit and switch on again: no current means the short is in the unit, else in the leads",
			Like: []result.Cause{result.Wiring}, Apart: "unplug the unit and switch on again: no current means the short is in the unit, else in the leads"},
		{Name: "blocked", Cause: result.Mechanical, States: []string{still}, Prior: weigh.Often, Explains: all(Starts, Full, SupplyDrop, SupplyFold),
			Seen: "it draws the current of standstill and that does not fall: the rotor does not turn", Disproof: "a shaft that turns freely by hand",
			Next: "with the supply off, turn the shaft by hand; if it is free, measure the resistance round the turn", Reuse: []string{"winding and brushes, not shown to turn here"}},
		{Name: "still-winding", Cause: result.Electrical, States: []string{still}, Prior: weigh.Rarely, Needs: []string{"-" + StartPeak, "+" + Resistance, "-" + Resistance, StartSpread}, Explains: all(Starts, Full),
			Seen: "it does not turn, and its current at standstill is not that of its type: the winding gives too little torque", Disproof: "a shaft that is tight by hand",
			Next: "with the supply off, turn the shaft by hand; if it is free, measure the resistance round the turn"},

		{Name: "binding", Cause: result.Mechanical, States: []string{runs}, Prior: weigh.Often,
			Moves: map[string]float64{Full: 1, FullSpeed: -ρ}, Needs: []string{"+" + Full, "-" + FullSpeed, "+" + StartTime, "+curve_up", "+curve_down"}, Explains: all(), Looks: pulsing,
			Seen:     "it draws more and turns slower by as much as that current takes of the voltage: the load is heavier, bearings or gear bind",
			Disproof: "a shaft that turns freely by hand; a supply or a profile for another load",
			Next:     byHand, Reuse: []string{"winding and brushes"}},
		{Name: "coil-shorted", Cause: result.Electrical, States: []string{runs}, Prior: weigh.Seldom,
			Moves: map[string]float64{Full: 1, FullSpeed: -ρ}, Needs: []string{Twice, Uneven, Missing, "+" + Scatter}, Explains: all("-"+EMF, "-"+Resistance, Missing), Looks: onceFirst,
			Seen:     "it draws more and turns slower, and one place of the turn differs: turns of one coil are shorted and brake",
			Disproof: "resistances from segment to segment that are alike", Next: byHand},
		{Name: "winding-shorted", Cause: result.Electrical, States: []string{runs}, Prior: weigh.Often,
			// A share of the turns that is gone takes as much of the resistance and of
			// the back-EMF; the torque of the rest takes the more current.
			Moves: map[string]float64{Resistance: -1, EMF: -1}, Needs: []string{"-" + Resistance}, Explains: all("+"+Full, FullSpeed, Missing),
			Seen:     "resistance and back-EMF are both lower, and it draws more: turns of the winding are shorted",
			Disproof: "a resistance at the unit's own pins as good units have", Next: "measure the resistance at the unit's own pins, turning the shaft by hand, and hold it against a good unit's"},
		// Neither an open coil nor a brush asks for more current: what torque an ampere
		// makes stays, and the load with it.
		{Name: "coil-open", Cause: result.Electrical, States: []string{runs}, Prior: weigh.Often,
			Needs: []string{Twice, Uneven, Missing, StartSpread, "+" + Scatter}, Explains: all("+"+Resistance, FullSpeed, EMF, Missing, DropOuts, "-"+Full), Looks: onceFirst,
			Seen:     "the current pulses twice a turn, as when one coil passes either brush: the winding is open, or a joint bad, at one segment",
			Disproof: "resistances from segment to segment that are alike",
			Next:     "measure the resistance at the pins while turning the shaft slowly by hand: twice a turn it falls to its usual value"},
		{Name: "brush-worn", Cause: result.Electrical, States: []string{runs}, Prior: weigh.Often,
			Needs: []string{"+" + Unrest, DropOuts, "+" + Resistance, "+" + Scatter}, Explains: all("+"+Resistance, FullSpeed, EMF, DropOuts, Missing, "-"+Full),
			Seen:     "the current is restless and the way through the brushes longer: brushes are worn or burnt",
			Disproof: "brushes of full length that press evenly",
			Next:     "look at length, seat and springs of the brushes and at the commutator, then repeat"},
		{Name: "tight-spot", Cause: result.Mechanical, States: []string{runs}, Prior: weigh.Seldom,
			Needs: []string{"+" + Once, "+" + Scatter}, Explains: all(Full, FullSpeed), Looks: twiceFirst,
			Seen:     "the current rises once a turn: it binds at one place of the turn",
			Disproof: "a rise that does not come with the turn", Next: "with the supply off, turn the shaft slowly by hand and feel for one tight spot a turn", Reuse: []string{"winding and brushes"}},
		{Name: "free", Cause: result.Mechanical, States: []string{runs}, Prior: weigh.Seldom,
			Moves: map[string]float64{Full: -1, FullSpeed: ρ}, Needs: []string{"-" + Full}, Explains: all(),
			Seen:     "it draws less and turns faster: it does not drive what it should",
			Disproof: "a driven part that moves", Next: "see whether what it drives turns: gear, coupling or wheel", Reuse: []string{"winding and brushes"}},
		{Name: "weak-magnet", Cause: result.Mechanical, States: []string{runs}, Prior: weigh.Rarely,
			Moves: map[string]float64{EMF: -1, Full: 1, FullSpeed: 1 - ρ}, Needs: []string{"-" + EMF}, Explains: all(), Looks: lessOhm,
			Seen:     "it turns faster for its voltage and draws more: the magnets have lost strength",
			Disproof: "a speed read another way that is as good units'", Next: "check the speed at the shaft; with that confirmed, the housing with its magnets is to be replaced", Reuse: []string{"winding and brushes"}},
		{Name: "sticks", Cause: result.Mechanical, States: []string{runs}, Prior: weigh.Seldom,
			Needs: []string{Starts, "+" + LetGo}, Explains: all(),
			Seen:     "at the start it stands under full current before it lets go, and then runs as good ones do: it sticks after rest",
			Disproof: "starts that are prompt after a day's rest too", Next: "with the supply off, turn the shaft by hand from rest; clean or replace what sticks", Reuse: []string{"winding and brushes"}},
		{Name: "line-resistance", Cause: result.Wiring, States: []string{runs, still}, Prior: weigh.Seldom,
			Needs: []string{"+" + SupplyDrop}, Explains: all(FullSpeed, SupplyFold),
			Seen:     "the voltage at the plug falls more for each ampere than it does with good units: a resistance in leads or contacts",
			Disproof: "the same drop with another unit on the same leads",
			Next:     "clean and tighten contacts and leads up to the plug, measure the drop again, repeat"},
		{Name: "supply-limit", Cause: result.Bench, States: []string{runs, still}, Prior: weigh.Seldom,
			Needs: []string{"+" + SupplyFold}, Explains: all(SupplyDrop, FullSpeed, Resistance, Starts),
			Seen:     "at the start the voltage at the plug collapses and the current stays flat: the supply is at its limit",
			Disproof: "a supply voltage that holds during the start", Next: "raise the supply's current limit, or use a stronger supply, and test again"},
		{Name: "switch-leaks", Cause: result.Bench, States: []string{runs, still}, Prior: weigh.Seldom, Needs: []string{"+" + Quiet},
			Seen:     "current flows with the bench's switch open",
			Disproof: "the same current with the unit unplugged is not there", Next: "unplug the unit: a current that stays is the switch's; else look for a path from the unit to ground"},
	}
}

// contrary is what it costs a mode when the turn shows the other way round: e⁻⁴, a
// sixtieth, as spot and coil may lie so that both orders come out alike (chosen).
const contrary = 4.0

// onceFirst speaks against a coil: one passes both brushes, so what it does comes
// twice a turn and hardly once. twiceFirst speaks against a tight spot, whose torque
// the rotor's inertia smooths the more the oftener it comes.
func onceFirst(t *weigh.Table) float64 {
	if t.Get(Once).Out() && t.Value(Once) > t.Value(Twice) {
		return contrary
	}
	return 0
}

// lessOhm speaks against magnets, which leave the winding's resistance as it is.
func lessOhm(t *weigh.Table) float64 {
	if k := t.Get(Resistance); k.Out() && k.Z < 0 {
		return contrary
	}
	return 0
}

// pulsing speaks against a load that is heavier all round: its torque does not come
// twice a turn, nor do single ripples differ by it.
func pulsing(t *weigh.Table) float64 {
	if t.Get(Uneven).Out() {
		return twiceFirst(t)
	}
	return 0
}

func twiceFirst(t *weigh.Table) float64 {
	if t.Get(Twice).Out() && t.Value(Twice) > t.Value(Once) {
		return contrary
	}
	return 0
}

// apart is the one further test that tells two causes apart.
func apart(pair []result.Cause) string {
	has := func(c result.Cause) bool { return pair[0] == c || pair[1] == c }
	switch {
	case has(result.Bench):
		return "test a known-good unit on the same bench: the same again means the bench"
	case has(result.Wiring):
		return "measure the voltage at the unit's own pins while it runs: as at the bench's terminals means the unit"
	case has(result.Mechanical) && has(result.Electrical):
		return byHand
	}
	return ""
}

// state says how far the unit got.
func (d *detail) state(p *profiles.Profile, ended bool) string {
	peak := math.NaN()
	if good := weigh.Values(p, StartPeak); len(good) > 0 {
		peak = stat.Mean(good)
	}
	turned, stood := false, false
	for _, s := range d.starts {
		turned, stood = turned || !s.held && s.peak.Value > 5*d.noise, stood || s.held && s.long_s >= wholeStart
	}
	full := math.NaN()
	if good := weigh.Values(p, Full); len(good) > 0 {
		full = stat.Mean(good)
	}
	faint := 0.02 * full // far below what turns any rotor
	if math.IsNaN(faint) {
		faint = 0.01
	}
	switch {
	case d.plug_V < 0.3*p.Supply.Nominal_V:
		return unpowered
	case d.most_A < max(faint, 4*d.noise):
		return nothing
	case peak > 0 && d.most_A > 2*peak:
		return shorted
	case d.run != nil || turned:
		return runs
	case ended && peak > 0 && d.most_A > 1.5*peak:
		return shorted
	case stood, ended:
		return still
	}
	return runs
}
