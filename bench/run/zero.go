package run

import (
	"fmt"
	"math"
	"strings"
	"time"

	"dutybench/bench/guard"
	"dutybench/bench/result"
	"dutybench/signal/stat"
)

const (
	zeroTime    = 300 * time.Millisecond // of a plan that states none
	zeroSamples = 64                     // at least, for the zero
	// dischargeTime is how long the unit's capacitor and a coasting rotor may
	// hold up the voltage at its plug, from the first sample on.
	dischargeTime = 10 * time.Second
	// deadShare of the nominal supply: below it a plug counts as without
	// supply.
	deadShare = 0.2
	// loaded_A and more drop a voltage that speaks of the wires.
	loaded_A = 0.5
	// tailTime is how long the current is watched after the supply went off.
	tailTime    = 300 * time.Millisecond
	tailSamples = 10
)

var stopPressed = Fault{Cause: result.Bench, Sentence: "The stop input is pressed, so nothing was switched on.",
	Next: "Release the stop input, or check its wire, then run the test again."}

func (x *runner) fault(f Fault) {
	x.out.Faults = append(x.out.Faults, f)
	if x.out.Ended == "" {
		x.out.Ended = f.Sentence
	}
}

func (x *runner) warn(format string, a ...any) {
	x.out.Warnings = append(x.out.Warnings, fmt.Sprintf(format, a...))
}

// line makes one line of a text.
func line(s string) string { return strings.Join(strings.Fields(s), " ") }

// quiet says whether the zero may be taken: enough samples, the unit has
// rested, and the voltage at its plug is gone or will not go.
func (x *runner) quiet(from int, lasted time.Duration) bool {
	if x.ch.len()-from < zeroSamples || x.rig.Clock.Now() < x.o.NotBefore {
		return false
	}
	return lasted >= dischargeTime || !(x.supply_V > x.dead_V())
}

// dead_V is the voltage at the plug below which there is no supply.
func (x *runner) dead_V() float64 { return deadShare * x.profile.Supply.Nominal_V }

// setZero takes the zero from the samples since from, corrects them, and finds
// what must not be before the supply goes on for the first time.
func (x *runner) setZero(from int) {
	c := x.ch.current[from:]
	x.out.Zero = stat.MeanOf(c)
	zero := x.out.Zero.Value
	next := "Measure at the unit's plug with the switch off: supply there means a welded switch, which must be replaced before any test. If there is none, check the current converter and its shunt wires."
	most := max(20*x.rig.Accuracy.CurrentOffset_A, 0.05*x.profile.Limits.Current_A)
	off := result.NewCheck("switch open", x.supply_V, "V", math.NaN(), x.dead_V(), "No supply at the plug with the switch open.")
	none := result.NewCheck("zero", zero, "A", -most, most, "Current with the supply off; it is taken from every sample.")
	switch {
	case off.State == result.CheckUnlooked:
		off.Sentence = "The voltage at the plug is not sampled; only the current says that the switch is open."
	case off.State == result.CheckFailed && x.falls(from) && !x.isolated:
		off.Sentence = fmt.Sprintf("The unit's capacitor still holds %.2f V, and falls.", x.supply_V)
		next = "Wait, or discharge it through 100 ohm, then run the test again."
	case off.State == result.CheckFailed && x.falls(from):
		off.State, off.Sentence = result.CheckNotice, fmt.Sprintf("The unit's capacitor still holds %.2f V, as nothing discharges it.", x.supply_V)
		x.warn("The unit's capacitor still held %.2f V when the supply went on, so its charging peak is not in the trace.", x.supply_V)
	case off.State == result.CheckFailed:
		off.Sentence = fmt.Sprintf("With the supply switch off there are %.2f V at the unit's plug after %v: %s.", x.supply_V, dischargeTime, x.welded())
	}
	if !x.isolated || off.State != result.CheckOK {
		x.check(off) // after a pre-test a rest of its charge may be left, and it has said so before
	}
	if none.State == result.CheckFailed {
		none.Sentence = fmt.Sprintf("With the supply switch off the current reads %.3g A; it must lie within %.2g A of nought.", zero, most)
	}
	x.check(none)
	switch {
	case off.State == result.CheckFailed:
		x.fault(Fault{Cause: result.Bench, Sentence: off.Sentence, Next: next})
	case none.State == result.CheckFailed:
		x.fault(Fault{Cause: result.Bench, Sentence: none.Sentence, Next: next})
	default:
		x.zero_A, x.zeroKnown = zero, true
		for i := range x.ch.current {
			x.ch.current[i] = micro(x.ch.current[i] - zero)
		}
	}
}

// welded names the contacts that must be closed for supply to come to the plug.
func (x *runner) welded() string {
	p := x.guard.Paths()
	switch {
	case p&guard.Second != 0 && p&guard.PreCharge != 0:
		return "the pre-charge contact, or both main contacts, are welded or bridged"
	case p&guard.Second != 0:
		return "both contacts are welded or bridged"
	case p&guard.PreCharge != 0:
		return "the switch or its pre-charge contact is welded or bridged"
	}
	return "the switch is welded or bridged"
}

// nought is how far a current may read from zero and still be none.
func (x *runner) nought_A() float64 {
	u := 0.0
	if x.zeroKnown && !math.IsInf(x.out.Zero.U(), 0) {
		u = x.out.Zero.U()
	}
	return max(0.02, 3*u, 5*x.rig.Accuracy.CurrentOffset_A, 2*x.rig.Accuracy.CurrentStep_A)
}

// verifyOff looks at the last samples of a stretch without supply.
func (x *runner) verifyOff(from int) bool {
	x.recirculated()
	c := x.ch.current[max(from, x.ch.len()-tailSamples):]
	if len(c) == 0 {
		return false
	}
	mean := stat.Mean(c)
	x.out.Off.Current_A = mean
	if math.Abs(mean) <= x.nought_A() {
		return true
	}
	x.fault(Fault{Cause: result.Bench, Sentence: fmt.Sprintf("With the supply switched off %.3g A still flow: the switch is welded or bridged.", mean),
		Next: "Switch the supply off by hand, take the unit off and replace the switch before any further test."})
	return false
}

// tripped notes why the guard cut the supply, and the fault of the bench when
// it was one.
func (x *runner) tripped() {
	t := x.guard.Tripped()
	var cause result.Cause
	switch t.Rule {
	case guard.SupplyHigh, guard.Silence, guard.RigFailed, guard.Lost:
		cause = result.Bench
	case guard.SupplyLow:
		cause = x.supplyLow(t)
	}
	if x.benchsOwn(t) {
		cause = result.Bench
		t.Reason += " That is what the bench bears; the unit may have more."
		t.Next = "Lower the supply, or use a stronger bench for this unit."
	}
	x.out.Ended = t.Reason
	if cause == "" {
		return
	}
	x.fault(Fault{Cause: cause, Sentence: t.Reason, Next: t.Next})
}

// supplyLow says whose fault a low supply is: without a load the supply's own,
// under one that of what lies before the plug; none of the bench's when the
// unit takes more than it may.
func (x *runner) supplyLow(t *guard.Trip) result.Cause {
	amps := 0.0
	if c := x.ch.current; len(c) > 0 {
		amps = math.Abs(c[len(c)-1])
	}
	switch {
	case amps > x.profile.Limits.Current_A:
		t.Reason = fmt.Sprintf("The supply at the unit broke down to %.2f V while %.3g A flowed.", x.supply_V, amps)
		t.Next = "Take the unit off and check it and its wires for a short."
		return ""
	case !x.commander.signals() && x.now.duty_pct > 0 && x.rig.Load.Seen && x.supply_V < x.profile.Supply.Nominal_V/2:
		t.Reason = fmt.Sprintf("With the load switch closed the supply at the plug breaks down to %.2f V while %.3g A flow through the unit: the supply is at its own current limit, or something beside the unit takes current, such as a free-wheel diode that is shorted or sits the wrong way round.", x.supply_V, amps)
		t.Next = "Look whether the supply shows its limit, and set it above what the unit takes. Else, with the supply off and the unit unplugged, measure across the plug: the diode conducts from minus to plus only."
		return result.Bench
	case x.supply_V <= x.dead_V() && amps > loaded_A:
		t.Reason = fmt.Sprintf("The plug reads %.2f V with the switch closed while %.3g A flow: the sense wires of the supply are off the plug, or it is shorted.", x.supply_V, amps)
		t.Next = "Check the sense wires up to the plug, then look there for a short."
		return result.Wiring
	case amps > loaded_A:
		return result.Wiring
	case x.supply_V <= x.dead_V():
		t.Reason = fmt.Sprintf("There is no supply at the unit's plug (%.2f V) with the switch closed.", x.supply_V)
		t.Next = "Check that the supply is on and its fuse whole, then the switch and the wires to the plug."
	}
	return result.Bench
}

// off opens the switch for good, lets the line go, and watches the current
// until it is nought.
func (x *runner) off() error {
	if err := x.guard.Open(); err != nil {
		return x.failed(err)
	}
	if err := x.commander.release(); err != nil {
		x.warn("The line could not be released: %v.", line(err.Error()))
	}
	at, ever := x.guard.LastOff()
	if t := x.guard.Tripped(); t != nil && x.out.Ended == "" {
		x.out.Ended = t.Reason
	}
	x.dark(x.guard.Tripped())
	if !ever {
		return nil
	}
	x.out.LastOff = at
	x.out.Off.At = at - x.start
	from, plug_V := x.ch.len(), x.supply_V
	for x.rig.Clock.Now()-x.now.from < tailTime || x.ch.len()-from < tailSamples {
		if _, err := x.next(); err != nil {
			x.warn("The current could not be measured after the supply was switched off: %v.", line(err.Error()))
			return nil
		}
	}
	x.out.Off.Verified = x.verifyOff(from) && x.verifyVolts(from, x.now.from, plug_V)
	return nil
}
