package run

import (
	"math"
	"time"

	"dutybench/bench/rig"
	"dutybench/profiles"
)

// What is different for a unit that the bench switches itself: its current comes
// and goes with the switch, at each period of its PWM too, and goes on in the
// free-wheel path when the switch or the supply opens.

// safeToSwitch says that a missing free-wheel path would show, or that the rig
// does without one by its own statement.
func safeToSwitch(l *rig.Load) bool {
	return l.Seen || l.Level != nil || l.FreeWheel == rig.FreeWheelNone && l.Clamp.Volt > 0
}

// mostBlind is the longest that may lie between two readings of a pulse's current,
// so that what a coil has stored then is harmless whatever its inductance: with
// U/R = I, at most what the profile allows, and x = R·t/L, L·i²/2 is
// U·I·t/2·(1 − e^−x)²/x, which is highest at x = 1.256, 0.204·U·I·t. A coil of
// less inductance has no more, as its resistance holds its current; one of more
// takes less in the time.
func mostBlind(p *profiles.Profile) time.Duration {
	const share = 0.2036
	return time.Duration(harmless_J / (share * p.Supply.High_V * p.Limits.Peak_A) * float64(time.Second))
}

// edge_s is the standard uncertainty of how long a period's high part is, where
// it commands the unit: on its wire, or in its supply.
func (x *runner) edge_s() float64 {
	if x.commander.signals() {
		return x.rig.Accuracy.Edge_s
	}
	return x.rig.Accuracy.LoadEdge_s
}

// chopped says that the load switch is under PWM. A reading, of the current or of
// the voltage, is then one of a moment: neither has gone when one is nought, and
// both change from one to the next.
func (x *runner) chopped() bool {
	return !x.commander.signals() && x.now.on && chops(x.now.duty_pct)
}

func chops(duty_pct float64) bool { return duty_pct > 0 && duty_pct < 100 }

// loadOpen says that the load switch is, with the supply on: what current there
// is then goes round in the free-wheel path, and takes nothing from the supply.
func (x *runner) loadOpen() bool {
	return !x.commander.signals() && x.now.on && x.now.duty_pct == 0
}

// unchopped says that the current stands at one value above nought for periods
// on end in which the switch opens and closes, where what recirculates is not
// seen: a converter that is stuck, however little noise it has.
func (x *runner) unchopped(current_A float64) bool {
	interval := x.rig.Sampler.Interval()
	if !x.chopped() || x.rig.Load.Seen || interval <= 0 || !(math.Abs(current_A) > x.nought_A()) {
		return false
	}
	inPeriod := 1 / (x.profile.Command.Frequency_Hz * interval.Seconds())
	return inPeriod >= fewestInPeriod && float64(x.plausible.current.same) > max(leastRepeats, 3*inPeriod)
}

// fewestInPeriod readings cannot all miss that the switch opens, even for a
// tenth of the period only when they wander through it (chosen).
const fewestInPeriod = 8

// carried is the most that a unit took within a period of its PWM, in two
// stretches of one period each, the one before and the one under way.
type carried struct {
	until      time.Duration
	before, is float64
}

// held_A is what a unit carries that the shunt does not show all the time; 0
// where it does. The sampling may pass by the moments of current when the PWM is
// in step with it; the guard then sees as little of it as the trace.
func (x *runner) held_A(at time.Duration, current_A float64) float64 {
	if !x.chopped() || x.rig.Load.Seen || math.IsNaN(current_A) {
		return 0
	}
	c := &x.carried
	if at >= c.until {
		period := time.Duration(float64(time.Second) / x.profile.Command.Frequency_Hz)
		*c = carried{until: at + max(period, 4*x.rig.Sampler.Interval()), before: c.is}
	}
	c.is = max(c.is, math.Abs(current_A))
	return max(c.before, c.is)
}

// recirculates is how long a coil's current may go on in its free-wheel path:
// coils of solenoids and motors have time constants below a fifth of a second
// (chosen: ten times that).
const recirculates = 2 * time.Second

// recirculated waits, with the supply off, until a coil's current that is seen
// has gone round to its end.
func (x *runner) recirculated() {
	if x.commander.signals() || !x.rig.Load.Seen {
		return
	}
	for from := x.rig.Clock.Now(); x.rig.Clock.Now()-from < recirculates; {
		n := x.ch.len()
		if n < tailSamples {
			return
		}
		sum := 0.0
		for _, i := range x.ch.current[n-tailSamples:] {
			sum += i / tailSamples
		}
		if math.Abs(sum) <= x.nought_A() {
			return
		}
		if _, err := x.next(); err != nil {
			return // whoever samples next says so
		}
	}
}
