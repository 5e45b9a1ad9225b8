package solenoid

import (
	"dutybench/bench/kind/weigh"
	"dutybench/bench/result"
)

// States of a unit, by how far it got.
const (
	unpowered = "unpowered" // the plug had no voltage
	dead      = "dead"      // voltage, and no current
	shorted   = "shorted"   // the guard cut the supply for too much current
	still     = "still"     // current, and no motion seen
	unseen    = "unseen"    // current, and motion could not be measured
	moves     = "moves"
)

// What a coil's measurements do by its physics, for shares that are small:
//
//   - the resistance of n of N turns goes with n, inductance with n², and with a
//     given gap the ampere-turns for a force are the same: current with 1/n.
//   - force goes with the square of current: a spring weaker by a share lets the
//     plunger go, and return, at half of that share less current.
//   - the gap's part of 1/L goes with the gap: a longer stroke takes inductance and
//     adds to the current that pulls in, both in proportion where the gap rules.
//   - what holds a plunger off its pole takes inductance from it there, and lets it
//     go at more current.

// dynamic are the measurements that go with everything that changes the coil's
// current or the forces; a mode that does explains them.
var dynamic = []string{PullInTime, Stroke, Switching, Dip, DropOutTime, Return, Releasing, Uneven, MotionA, Hysteresis}

func with(names ...string) []string { return append(append([]string{}, dynamic...), names...) }

// modes is everything that the tool knows to go wrong with a solenoid.
var modes = []weigh.Mode{
	{Name: "open", Cause: result.Electrical, States: []string{dead}, Prior: weigh.Often,
		Explains: []string{Missed, CurveUp, CurveDown, SupplyDrop},
		Like:     []result.Cause{result.Wiring}, Apart: "with the supply off, measure the resistance at the unit's own pins: none means the coil, the profile's means wire or contact",
		Seen:     "the coil had voltage and no current flowed: coil or wire is open",
		Disproof: "the profile's resistance at the unit's own pins",
		Next:     "with the supply off, measure the resistance at the unit's own pins"},
	{Name: "no-supply", Cause: result.Bench, States: []string{unpowered}, Prior: weigh.Often,
		Explains: []string{Missed, CurveUp, CurveDown, SupplyDrop, SupplyFold},
		Like:     []result.Cause{result.Wiring}, Apart: "measure the voltage at the supply's own terminals: there means the leads, missing the supply",
		Seen:     "the plug had no voltage while the bench switched the coil",
		Disproof: "supply voltage at the unit's own pins",
		Next:     "measure the voltage at the supply's own terminals and at the plug"},
	{Name: "short", Cause: result.Electrical, States: []string{shorted}, Prior: weigh.Often,
		Explains: with(Resistance20, InductanceOut, InductanceIn, Missed, PullInA, DropOutA, SupplyDrop, SupplyFold, CurveUp, CurveDown, RippleOut, RippleIn, Leakage),
		Like:     []result.Cause{result.Wiring}, Apart: "unplug the unit and switch on again: no current means the short is in the unit, else in the leads",
		Seen:     "the current rose beyond what the guard lets through: a short in the coil or in the leads",
		Disproof: "the same current with the unit unplugged",
		Next:     "unplug the unit, and measure the resistance at its own pins"},
	{Name: "shorted-turns", Cause: result.Electrical, States: []string{still, unseen, moves}, Prior: weigh.Often,
		Moves:    map[string]float64{Resistance20: -1, InductanceOut: -2},
		Needs:    []string{"-" + Resistance20},
		Explains: with(InductanceIn, PullInA, DropOutA, CurveUp, CurveDown, RippleOut, RippleIn, Missed),
		Seen:     "resistance is low and inductance lower still: some of the turns are shorted",
		Disproof: "a winding that is colder than the sensor says, or another type's coil",
		Next:     "let the coil take the room's temperature and measure its resistance at its own pins: low again means a new coil"},
	{Name: "iron-lag", Cause: result.Electrical, States: []string{still, unseen, moves}, Prior: weigh.Rarely,
		Moves:    map[string]float64{InductanceOut: -1, InductanceIn: -1},
		Needs:    []string{"-" + InductanceOut, "-" + RippleOut, "-" + RippleIn},
		Explains: []string{RippleOut, RippleIn, MotionA, Hysteresis, PullInTime, PullInA, DropOutA, Dip, DropOutTime, Return, Releasing},
		Seen:     "the current rises too fast for the coil's resistance: a few turns are shorted, or the iron is not the type's",
		Disproof: "a plunger that does not rest at its stop",
		Next:     "test a known-good unit on the same bench, then measure the coil's inductance at its own pins"},
	{Name: "bad-joint", Cause: result.Electrical, States: []string{still, unseen, moves}, Prior: weigh.Often,
		Moves:    map[string]float64{Resistance20: 1},
		Needs:    []string{"+" + Resistance20},
		Explains: with("-"+CurveUp, "-"+CurveDown, Missed),
		Seen:     "resistance is high while inductance is as it should be: a bad joint in the coil or at its pins",
		Disproof: "a winding that is still hot from an earlier test, or a worn contact of the plug",
		Next:     "clean the pins, let the coil take the room's temperature and measure its resistance at its own pins: high again means the coil"},
	{Name: "stuck-at-rest", Cause: result.Mechanical, States: []string{still}, Prior: weigh.Often,
		Needs:    []string{Missed},
		Explains: with(CurveUp, CurveDown, InductanceIn, RippleIn), Looks: atRest,
		Seen:     "the coil takes its current and the plunger does not move from its rest",
		Disproof: "a click, or a motion that is felt, when the coil is switched",
		Next:     "with the supply off, push the plunger by hand: tight means it is stuck, free means test again"},
	{Name: "stuck-at-pole", Cause: result.Mechanical, States: []string{still, moves}, Prior: weigh.Often,
		Needs:    []string{"+" + InductanceOut, "+" + RippleOut, Missed},
		Explains: with(Missed, "+"+InductanceOut, InductanceIn, RippleOut, RippleIn, PullInA, DropOutA, CurveUp, CurveDown), Looks: atPole,
		Seen:     "the plunger stands at the pole and does not return: inductance is that of a plunger that is in",
		Disproof: "a plunger that is seen at its rest",
		Next:     "with the supply off, look where the plunger stands and pull it back by hand: a spring that is broken, or a plunger that sticks"},
	{Name: "binds", Cause: result.Mechanical, States: []string{still, moves}, Prior: weigh.Seldom,
		Needs:    []string{"+" + Stroke, "+" + Switching, "+" + Return, "+" + Releasing, "+" + PullInA, "-" + DropOutA, "+" + Hysteresis, "+" + Uneven, Missed},
		Explains: []string{"+" + Stroke, "+" + Switching, "+" + Return, "+" + Releasing, "+" + PullInA, "+" + PullInTime, "-" + DropOutA, "+" + DropOutTime, "+" + Hysteresis, "+" + MotionA, Uneven, Dip, Missed, RippleOut, RippleIn, InductanceIn}, Looks: atRest,
		Seen:     "the plunger moves against more friction than good ones: it binds",
		Disproof: "a supply that was low at the plug",
		Next:     "with the supply off, move the plunger by hand and feel for drag, dirt or a bent guide"},
	{Name: "weak-spring", Cause: result.Mechanical, States: []string{moves}, Prior: weigh.Seldom,
		Moves:    map[string]float64{PullInA: -1, DropOutA: -1},
		Needs:    []string{"-" + PullInA, "-" + DropOutA, "-" + MotionA},
		Explains: with("+"+InductanceOut, "+"+RippleOut, RippleIn),
		Seen:     "the plunger goes in at less current than good ones and returns late or not at all: the spring is weak or broken",
		Disproof: "a spring of the right force",
		Next:     "with the supply off, push the plunger and compare the spring's force with a known-good unit"},
	{Name: "long-stroke", Cause: result.Mechanical, States: []string{still, moves}, Prior: weigh.Seldom,
		Moves:    map[string]float64{InductanceOut: -1, PullInA: 1},
		Needs:    []string{"-" + InductanceOut, "+" + Stroke, "+" + Switching, "-" + RippleOut},
		Explains: with(DropOutA, "-"+RippleOut, RippleIn, Missed),
		Seen:     "the plunger rests further from its pole than good ones: the stroke is worn longer",
		Disproof: "a stroke within the type's, measured",
		Next:     "with the supply off, measure the plunger's stroke"},
	{Name: "short-stroke", Cause: result.Mechanical, States: []string{still, moves}, Prior: weigh.Seldom,
		Moves:    map[string]float64{InductanceIn: -1, RippleIn: -1},
		Needs:    []string{"-" + InductanceIn, "+" + DropOutA, "-" + Dip, "-" + Stroke, "-" + RippleIn},
		Explains: with("+"+DropOutA, Missed),
		Seen:     "the plunger stops short of its pole: dirt, or a worn or swollen seat",
		Disproof: "a stroke within the type's, measured",
		Next:     "with the supply off, measure the plunger's stroke, and look for dirt at the pole"},
	{Name: "odd-motion", Cause: result.Mechanical, States: []string{moves}, Prior: weigh.Rarely,
		Needs:    []string{PullInTime, Stroke, Switching, Return, Releasing, Uneven, MotionA, Hysteresis, Missed},
		Explains: with(PullInA, DropOutA, Missed),
		Seen:     "coil and supply are as they should be, and the plunger does not move as good ones do",
		Disproof: "a known-good unit that moves the same on this bench today",
		Next:     "with the supply off, move the plunger by hand and compare drag, spring and stroke with a known-good unit"},
	{Name: "leads", Cause: result.Wiring, States: []string{still, unseen, moves}, Prior: weigh.Seldom,
		Needs:    []string{SupplyDrop},
		Explains: with("-"+CurveUp, "-"+CurveDown, Missed, PullInA, InductanceIn, RippleOut, RippleIn),
		Seen:     "the voltage at the plug falls with every ampere: a resistance in the leads or contacts before it",
		Disproof: "the same drop with another unit on the same leads, cleaned",
		Next:     "clean and tighten contacts and leads up to the plug, measure the drop again, repeat"},
	{Name: "weak-supply", Cause: result.Bench, States: []string{still, unseen, moves}, Prior: weigh.Seldom,
		Needs: []string{SupplyFold, SupplyDrop}, Looks: gaveNoWay,
		Explains: with(SupplyDrop, CurveUp, CurveDown, Missed, PullInA, DropOutA, InductanceOut, InductanceIn, RippleOut, RippleIn),
		Seen:     "the supply gives way before the coil has its current",
		Disproof: "a supply voltage at the plug that holds",
		Next:     "raise the supply's current limit, or use a stronger supply, and test again"},
	{Name: "leaking-switch", Cause: result.Bench, States: []string{still, unseen, moves}, Prior: weigh.Seldom,
		Needs:    []string{Leakage},
		Explains: []string{DropOutA, DropOutTime, Return, Releasing, CurveUp, CurveDown},
		Seen:     "current flows while the bench's switch is open",
		Disproof: "no current with the unit unplugged",
		Next:     "unplug the unit and read the current again: what is left is the bench's switch or its converter"},
}

// gaveNoWay is what speaks against a supply that gives way: voltage that falls in
// proportion to the current, as leads take it. Where nobody sampled that, both may be.
func gaveNoWay(t *weigh.Table) float64 {
	if k := t.Get(SupplyFold); k.Measured() && !k.Out() {
		return weigh.Most
	}
	return 0
}

// atPole is what speaks against a plunger that stands at the pole: an inductance at
// switching on that is that of a plunger at rest.
func atPole(t *weigh.Table) float64 {
	k := t.Get(InductanceOut)
	if !k.Measured() || k.Z > weigh.Calm {
		return 0
	}
	if t.Value(Missed) == 0 {
		return weigh.Most
	}
	return 2
}

// atRest is what speaks against a plunger that stays at its rest, or binds on the
// way: the inductance of one that is in from the first.
func atRest(t *weigh.Table) float64 {
	if k := t.Get(InductanceOut); k.Measured() && k.Z > weigh.Calm {
		return min(weigh.Most, k.Z-weigh.Calm)
	}
	return 0
}
