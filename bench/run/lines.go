package run

import (
	"fmt"
	"math"

	"dutybench/bench/result"
)

// lineShare of the line's high level is how far its mean may lie from what was
// commanded: low levels of some tenths of a volt, slow edges of an open drain,
// and a pull-up that follows the supply (chosen).
const lineShare = 0.1

// lineFollows holds the line's mean level against the duty that it was given.
func (x *runner) lineFollows(duty_pct float64, l levels) {
	p, level_V, high := &x.plausible, l.line_V, x.plausible.line.high_V()
	none := min(0.02*x.profile.Supply.Nominal_V, 0.5)
	if high <= none {
		high = math.NaN() // nought tells no level
	}
	switch {
	case math.IsNaN(high) && duty_pct >= 10 && math.Abs(level_V) < none:
		// Where the unit gives the pull-up, its own input may be what holds it low.
		x.doubt("line", Fault{Cause: result.Wiring, Or: []result.Cause{result.ControlBoard}, Next: nextLine,
			Apart:    "take the unit off and let the bench drive the line against a pull-up of its own: a line that rises then was held low by the unit's input, or lacked the unit's pull-up",
			Sentence: fmt.Sprintf("The line at the plug reads %.2f V at a line duty of %.3g %%: it is held low, nothing pulls it up, or its sense wire is off.", level_V, duty_pct)})
	case strays(l, p.line.levels, high*duty_pct/100) > max(lineShare*high, none):
		x.doubt("line", Fault{Cause: result.Wiring, Next: nextLine,
			Sentence: fmt.Sprintf("The line at the plug reads %.2f V at a line duty of %.3g %%, where its levels so far give %.2f V: it does not carry what the bench sends.", level_V, duty_pct, high*duty_pct/100)})
	default:
		p.line.learn(duty_pct, l)
	}
}

// lowest_V is what a driver that pulls the line low may leave on it, a bipolar
// transistor in saturation (common practice, no source).
const lowest_V = 0.4

// lineEnds holds the mean over a step against the law from the steps before,
// closer than a block can be held: what the low level makes of another duty,
// slow edges, and a tenth of what the filter leaves of the PWM, whose beat with
// the sampling is meant out.
func (x *runner) lineEnds(duty_pct float64, l levels) {
	p, high := &x.plausible, x.plausible.line.high_V()
	d := duty_pct / 100
	within := lowest_V*math.Abs(1-duty_pct/p.line.duty_pct) +
		high*(staysShare/2+rippleShare/2*d*(1-d)+3*x.rig.Accuracy.Edge_s*x.profile.Command.Frequency_Hz)
	if !(high > 0.2*x.profile.Supply.Nominal_V) || !(strays(l, p.line.levels, high*d) > within) {
		return
	}
	x.doubt("line", Fault{Cause: result.Wiring, Next: nextLine,
		Sentence: fmt.Sprintf("The line at the plug reads %.2f V at a line duty of %.3g %% and %.2f V at %.3g %%: one of the two is not what the bench sent.", l.line_V, duty_pct, p.line.levels.line_V, p.line.duty_pct)})
}

// How far the line's mean may move while the command stands, as shares of its
// high level: what a pull-up and its board move by, and what is left of the PWM
// behind a filter of three periods or more, d(1−d)/3 from end to end, whose
// half a beat with the sampling may put into every reading (chosen).
const (
	staysShare  = 0.02
	rippleShare = 1.0 / 6
)

// lineStays holds the line's mean level against itself while one command
// stands.
func (x *runner) lineStays(l levels) {
	p := &x.plausible
	high, least := p.line.high_V(), 0.2*x.profile.Supply.Nominal_V
	if !(high > least) { // or not known
		high = least
	}
	d := x.now.lineDuty_pct / 100
	if p.blocks < 3 || !(strays(l, p.settled, p.settled.line_V) > max((staysShare+rippleShare*d*(1-d))*high, 10*x.rig.Accuracy.VoltageStep_V)) {
		return
	}
	x.doubt("line", Fault{Cause: result.Wiring, Next: nextLine,
		Sentence: fmt.Sprintf("The line at the plug went from %.2f V to %.2f V while the bench sent %.3g %%: it does not carry what the bench sends.", p.settled.line_V, l.line_V, x.now.lineDuty_pct)})
}

const nextLine = "Measure the line at the plug while the bench commands, with the unit on and off it: level and duty as sent there clear the bench's driver and wires. Then check the sense wire of the line."

// strays is how far the line lies from a level that it had under other
// circumstances: as such, and with a pull-up that follows the supply; the less
// of both.
func strays(is, then levels, level_V float64) float64 {
	off := math.Abs(is.line_V - level_V)
	if scaled := level_V * is.supply_V / then.supply_V; !math.IsNaN(scaled) {
		off = min(off, math.Abs(is.line_V-scaled))
	}
	return off
}
