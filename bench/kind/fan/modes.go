package fan

import (
	"dutybench/bench/kind/weigh"
	"dutybench/bench/result"
	"dutybench/signal/startup"
)

type attempt = startup.Attempt

// What of a unit can be used again.
const (
	boardGood = "control board"
	mechGood  = "motor and blades"
)

// moving are findings that go with the curve itself, whatever moves that; the
// contrasts say which way.
var moving = []string{CurveUp, CurveDown, Full, AirShare, StartSettle, StartPeak}

func with(more ...string) []string { return append(more, moving...) }

// modes are the ways in which a fan, its wires or its bench can be wrong. proved
// says that the command is known to have got to the unit, volts that the supply
// at its plug was read, told that its speed was, beside that of good units.
//
// A wheel that lost its grip on the air is the unit's mechanics, and what stands
// in the way of the air the bench's: "hydraulic" is a loop of liquid, which can be
// unprimed. Where throttling takes torque off, as with radial wheels, the two
// look alike from the supply.
func modes(sec Section, proved, volts, told bool) []weigh.Mode {
	const (
		freePath = "clear the air path on both sides, keep walls a diameter away, and repeat the test"
		byHand   = "with the supply off, turn the blades by hand: look for a rub, play and a dry bearing"
		pins     = "measure supply voltage, ground and signal at the unit's own pins while it is commanded to full"
		openUp   = "replace or open the control board"
		pristine = "the same current as good units in a repeated test"
	)
	var unproved, limited []result.Cause
	if !proved {
		unproved = []result.Cause{result.Wiring}
	}
	if !volts {
		limited = []result.Cause{result.Bench}
	}
	// Where the duty sets the voltage the speed gives way to the load.
	var faster []string
	if sec.Regulation != "speed" {
		faster = []string{ShaftSpeed}
	}
	// Without the speed a board that turns the blades slower or faster looks much
	// like air lost or in the way.
	var less, more []result.Cause
	const count = "count the speed at full with a strobe, or sample fast enough for the ripple: as it should be means blades or path of the air, else the board"
	if !told {
		less, more = []result.Cause{result.Mechanical, result.ControlBoard}, []result.Cause{result.ControlBoard}
		if sec.Air != "axial" {
			less = append(less, result.Bench)
		}
		if sec.Air != "radial" {
			more = append(more, result.Bench)
		}
	}
	const signal = "measure the signal at the unit's own pin while the bench commands: low level, high level, frequency and duty"
	list := []weigh.Mode{
		{Name: "friction", Cause: result.Mechanical, States: []string{ran}, Prior: weigh.Often,
			Moves: map[string]float64{Friction: 1}, Explains: with("+"+TurnLine, "-"+ShaftSpeed, "+"+StartAttempts),
			Seen: "the current is too high, most at low speed: something brakes the shaft", Disproof: "blades that turn freely by hand", Next: byHand, Reuse: []string{boardGood}},
		{Name: "air lost", Cause: result.Mechanical, States: []string{ran}, Prior: weigh.Often,
			Moves: map[string]float64{Air: -1}, Explains: with(append(faster, "+"+TurnLine)...),
			Seen: "the current is too low, most at high speed: the blades take less air than they should", Disproof: "all blades whole and fast on the shaft",
			Next: "with the supply off, look for broken blades and try whether the wheel slips on its shaft", Reuse: []string{boardGood, "motor"}, Like: without(less, result.Mechanical), Apart: count},
		{Name: "once a turn", Cause: result.Mechanical, States: []string{ran}, Prior: weigh.Often, Needs: []string{"+" + TurnLine}, Explains: with("+"+Friction, "-"+Air),
			Seen: "the current swings once a turn: a blade rubs or is broken, or the wheel is out of balance", Disproof: "whole blades that run true", Next: byHand, Reuse: []string{boardGood}},
		{Name: "power limited", Cause: result.ControlBoard, States: []string{ran}, Prior: weigh.Often, Like: limited,
			// One that reaches down to several duties bends the rest of the fit.
			Moves: map[string]float64{Top: 1}, Explains: with("-"+ShaftSpeed, Friction, Air), Looks: lowAsGood,
			Apart: "read the voltage at the plug while the current stays flat: if it holds the board limits, if it falls the supply does",
			Seen:  "the current stops rising before full, while the supply holds: the board limits it", Disproof: pristine, Next: openUp, Reuse: []string{mechGood}},
		{Name: "gaps", Cause: result.ControlBoard, States: []string{ran}, Prior: weigh.Often, Needs: []string{DropOuts}, Explains: with(Friction, Air, Top, TurnLine, ShaftSpeed),
			Seen: "the board lets the motor go now and then", Disproof: "no gap in a longer hold", Next: openUp, Reuse: []string{mechGood}},
		{Name: "slow board", Cause: result.ControlBoard, States: []string{ran}, Prior: weigh.Often,
			Needs: []string{StartDelay, Quiet, SwitchOnCharge, weigh.MissingCommand + "open", weigh.MissingCommand + "low", weigh.MissingCommand + "high"}, Explains: []string{StartDelay, Quiet, SwitchOnCharge},
			Seen: "the blades run as good ones do, and the board does not behave as good ones", Disproof: pristine, Next: openUp, Reuse: []string{mechGood}},
		{Name: "sticks", Cause: result.Mechanical, States: []string{ran}, Prior: weigh.Seldom, Needs: []string{StartAttempts}, Explains: []string{StartSettle, StartPeak, Friction},
			Seen: "the first attempts failed, then it ran: the rotor stuck", Disproof: "a start at the first attempt after a long rest", Next: byHand, Reuse: []string{boardGood}},
		{Name: "lead", Cause: result.Wiring, States: []string{ran, tries}, Prior: weigh.Often, Needs: []string{"+" + SupplyDrop}, Explains: with("+"+SupplyFold, Friction, Air, Top, "-"+ShaftSpeed, StartAttempts),
			Seen: "the supply loses voltage before the plug with every ampere", Disproof: "as little drop as good units have, with the plug pressed home", Next: "clean and press the plug, tighten the leads, and repeat the test", Reuse: []string{boardGood, mechGood}},
		{Name: "supply", Cause: result.Bench, States: []string{ran, tries}, Prior: weigh.Often, Needs: []string{"+" + SupplyFold}, Explains: with(SupplyDrop, Friction, Air, Top, "-"+ShaftSpeed, StartAttempts, DropOuts),
			Seen: "the supply's voltage gives way at high current: it is at its limit", Disproof: "a steady voltage at the plug at full", Next: "raise the supply's current limit, or take a stronger one, and repeat the test", Reuse: []string{boardGood, mechGood}},

		{Name: "seized", Cause: result.Mechanical, States: []string{tries}, Prior: weigh.Often, Explains: standing, Looks: func(t *weigh.Table) float64 { return balanced(t, true) },
			Seen: "the board drives all phases and the blades do not turn: they are stuck", Disproof: "blades that turn freely by hand", Next: byHand, Reuse: []string{boardGood}},
		{Name: "open phase", Cause: result.ControlBoard, States: []string{tries}, Prior: weigh.Often, Explains: standing, Looks: func(t *weigh.Table) float64 { return balanced(t, false) },
			Seen: "the attempts have gaps at some commutation steps: a phase is open", Disproof: "attempts without gaps", Next: openUp, Reuse: []string{"blades and bearings"}},

		{Name: "dead board", Cause: result.ControlBoard, States: []string{noTry}, Prior: weigh.Often, Explains: standing, Looks: func(t *weigh.Table) float64 { return asleep(t, true) },
			Seen: "the input capacitor charges and the board does nothing", Disproof: "any quiet current", Next: openUp, Reuse: []string{mechGood + ", not shown to turn here"}},
		{Name: "deaf, off", Cause: result.ControlBoard, States: []string{noTry}, Prior: weigh.Often, Explains: standing, Looks: func(t *weigh.Table) float64 { return asleep(t, false) },
			Like: unproved, Apart: signal,
			Seen: "the board is awake and makes no attempt: it does not hear the command, or does not drive", Disproof: "an attempt on a clean signal", Next: signal, Reuse: []string{mechGood + ", not shown to turn here"}},
		{Name: "deaf, running", Cause: result.ControlBoard, States: []string{constant}, Prior: weigh.Often, Explains: append([]string{Friction, Air, Top, ShaftSpeed, TurnLine, DropOuts}, standing...),
			Like: unproved, Apart: signal,
			Seen: "it draws the same whatever the duty: the board does not hear the command", Disproof: "a current that follows the duty on a clean signal", Next: signal, Reuse: []string{mechGood}},

		{Name: "dead to the plug", Cause: result.ControlBoard, States: []string{nothing}, Prior: weigh.Seldom, Explains: standing, Like: []result.Cause{result.Wiring}, Apart: pins,
			Seen: "no current at all, not even a charging peak", Disproof: "supply missing at the unit's own pins", Next: pins},
		{Name: "not plugged", Cause: result.Wiring, States: []string{nothing, unpowered}, Prior: weigh.Often, Explains: standing, Like: []result.Cause{result.ControlBoard}, Apart: pins,
			Seen: "no current at all, not even a charging peak", Disproof: "supply present at the unit's own pins", Next: pins},
		{Name: "no supply", Cause: result.Bench, States: []string{unpowered}, Prior: weigh.Often, Explains: standing,
			Seen: "the voltage at the plug is not there", Disproof: "nominal voltage at the plug", Next: "check the supply, its fuse and its leads, and repeat the test"},
		{Name: "shorted", Cause: result.ControlBoard, States: []string{shorted}, Prior: weigh.Often, Explains: standing, Like: []result.Cause{result.Wiring}, Apart: pinsOff,
			Seen: "the current went beyond what the unit can draw: a short in the unit or in its leads", Disproof: "no low resistance across the unit's own pins", Next: pinsOff, Reuse: []string{mechGood + ", not shown to turn here"}},
	}
	if sec.Regulation != "voltage" || !told {
		list = append(list, otherSpeed("too slow", -1, told, without(less, result.ControlBoard), count), otherSpeed("too fast", 1, told, without(more, result.ControlBoard), count))
	}
	block := func(sign float64, seen string, like []result.Cause, more ...string) weigh.Mode {
		return weigh.Mode{Name: "air blocked", Cause: result.Bench, States: []string{ran}, Prior: weigh.Often, Moves: map[string]float64{Air: sign}, Explains: with(append(more, faster...)...),
			Seen: seen, Disproof: "the same current with a free path of air", Next: freePath, Reuse: []string{boardGood, mechGood}, Like: without(like, result.Bench), Apart: count}
	}
	if sec.Air != "radial" {
		list = append(list, block(1, "the current is too high, most at high speed: an axial fan stirs its own air where the path is blocked, or it blows back", more, "+"+Top, "-"+ShaftSpeed))
	}
	if sec.Air != "axial" {
		list = append(list, block(-1, "the current is too low, most at high speed: a radial wheel carries little where the path is blocked", less))
	}
	return list
}

const pinsOff = "with the supply off and the plug out, measure the resistance across the unit's supply pins, both ways round"

// standing are findings of a unit that did not run as it should: how far it got
// says more.
var standing = append([]string{StartAttempts, StartDelay, SwitchOnCharge, Quiet, SupplyDrop, SupplyFold, weigh.MissingCommand + "open", weigh.MissingCommand + "low", weigh.MissingCommand + "high"}, moving...)
