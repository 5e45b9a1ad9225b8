package pump

import (
	"math"

	"dutybench/bench/kind/weigh"
)

// The functions here are the cost of what attempts and swings look like under
// a mode, in half squares of how far they are from what physics says. A
// working board gives a stuck rotor its full start current, evenly and without
// gaps, again and again; an open phase leaves two thirds of the commutation
// steps empty, which shows as gaps where the drive and the filter let it be
// seen, and else as a third of the mean. A rub is a line once a turn, bubbles
// are not.
const (
	tolerance = 0.35 // start currents of one type at different supply and rotor positions: a third (chosen)
	third     = -1.1 // ln(1/3)
	// Alignment holds two phases and has no gaps; it is about half of an
	// attempt, so an open phase leaves a third down to a sixth of it empty.
	sixth = 1.0 / 6
	few   = 0.05 // what edges and noise leave empty, and how sharp the sixth is
	// Gaps that should show and do not: a filter may hide them, one time in
	// twenty (chosen).
	hidden = 3.0
)

// half is half a square, no more than most.
func half(x float64) float64 { return min(weigh.Most, x*x/2) }

// effort is the cost of attempts weaker than a working board makes.
func effort(e evidence) float64 { return half(min(0, e.attemptLevel+0.1) / tolerance) }

// shortest is ln of an eighth of a good start's length until it settles: an
// attempt that is shorter has broken off before the rotor could have followed
// (chosen; between a wake-up of some tens of milliseconds and the half second of
// an alignment with its ramp, common practice, no source).
const shortest = -2.1

// brokenOff: attempts too short to have driven the rotor at all.
func brokenOff(e evidence) float64 {
	if math.IsNaN(e.brief) {
		return hidden
	}
	return half(max(0, math.Log(e.brief)-shortest) / 0.4)
}

// stuckRotor: full effort, even lengths, no gaps.
func stuckRotor(e evidence) float64 {
	c := effort(e) + half(max(0, e.uneven-0.1)/0.2)
	if !math.IsNaN(e.brief) {
		c += half(min(0, math.Log(e.brief)-shortest) / 0.4)
	}
	if !math.IsNaN(e.empty) {
		c += half(max(0, e.empty-few) / few)
	}
	return c
}

// emptySteps: gaps, or a third of the effort.
func emptySteps(e evidence) float64 {
	c := half((e.attemptLevel - third) / tolerance)
	if math.IsNaN(e.empty) {
		return c
	}
	if e.empty < few {
		c += hidden
	}
	return min(c, half(min(0, e.empty-sixth)/few))
}

// wholeTries: failed attempts at full effort, about as long as a good start;
// e^-0.5 of it is 0.6.
func wholeTries(e evidence) float64 {
	c := effort(e)
	if !math.IsNaN(e.brief) {
		c += half(min(0, math.Log(e.brief)+0.5) / 0.4)
	}
	if e.full == 0 && e.resets > 0 {
		c += whole / 2
	}
	return c
}

// whole is what a failed try that looks whole speaks for a rotor that sticks and
// against a board that breaks off: e to one (chosen), so that with the priors
// neither is named alone. Boards differ in when they give up a start.
const whole = 1.0

// resets: wake-ups that break off are brief, or lower than any good unit's
// attempt. One of neither looks like a whole try.
func resets(e evidence) float64 {
	if math.IsNaN(e.brief) {
		return 0
	}
	low := whole
	if c := e.checks[StartLevel]; c.Out() && c.Z < 0 {
		low = half(max(0, e.attemptLevel+0.5) / tolerance)
	}
	c := min(low, half(max(0, math.Log(e.brief)+0.5)/0.2))
	if e.full > 0 && e.resets == 0 {
		c += whole / 2 // every failed try was a whole one
	}
	return c
}

// onceATurn: the line outweighs unrest without a rate.
func onceATurn(e evidence) float64 { return half(max(0, e.broad()+0.5) / 0.5) }

// bubbles: unrest outweighs any line, and where it stops the current it shows
// between the stops too.
func bubbles(e evidence) float64 {
	if e.checks[DropOuts].Out() && !e.checks[Unrest].Out() {
		return weigh.Most
	}
	return half(max(0, -e.broad()-0.5) / 0.5)
}

// broad is how far unrest without a rate outweighs the line at one rate, as a
// logarithm; 0 when either was not measured.
func (e evidence) broad() float64 {
	u, r := e.checks[Unrest], e.checks[Rotation]
	if u == nil || r == nil || u.Value == nil || r.Value == nil || *u.Value <= 0 || *r.Value <= 0 {
		return 0
	}
	return math.Log(*u.Value / *r.Value)
}

// warmTries: later starts failed at full effort.
func warmTries(e evidence) float64 {
	if e.laterFull == 0 {
		return hidden
	}
	return 0
}

// warmSilent: later starts failed without one.
func warmSilent(e evidence) float64 {
	if e.laterFull > 0 {
		return hidden
	}
	return 0
}

// atLimit and atResistance: with the voltage down, the current stands or goes
// with it; between, either may be, as when both are the case.
func atLimit(e evidence) float64 {
	if math.IsNaN(e.clamped) {
		return 0
	}
	return half(max(0, e.clamped-0.25) / 0.15)
}

func atResistance(e evidence) float64 {
	if math.IsNaN(e.clamped) {
		return 0
	}
	return half(min(0, e.clamped-0.75) / 0.15)
}

// freed and heldBack: what stays flat by a wheel that slips leaves the shaft
// free to run faster, what a board limits makes it slower. Without a speed
// neither is told.
func freed(e evidence) float64    { return speedOff(e, -1) }
func heldBack(e evidence) float64 { return speedOff(e, 1) }

func speedOff(e evidence, sign float64) float64 {
	c := e.checks[ShaftSpeed]
	if c == nil || c.Value == nil || c.N == 0 {
		return 0
	}
	return min(hidden, half(max(0, sign*c.Z-weigh.Calm)))
}
