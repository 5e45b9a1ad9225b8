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

var stopPressed = Fault{result.Bench, "The stop input is pressed, so nothing was switched on.",
	"Release the stop input, or check its wire, then run the test again."}

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
	const next = "Measure at the unit's plug with the switch off: supply there means a welded switch, which must be replaced before any test. If there is none, check the current converter and its shunt wires."
	most := max(20*x.rig.Accuracy.CurrentOffset_A, 0.05*x.profile.Limits.Current_A)
	switch {
	case x.supply_V > x.dead_V():
		x.fault(Fault{result.Bench, fmt.Sprintf("With the supply switch off there are %.2f V at the unit's plug after %v: the switch is welded or bridged.", x.supply_V, dischargeTime), next})
	case math.Abs(zero) > most:
		x.fault(Fault{result.Bench, fmt.Sprintf("With the supply switch off the current reads %.3g A; it must lie within %.2g A of nought.", zero, most), next})
	default:
		x.zero_A, x.zeroKnown = zero, true
		for i := range x.ch.current {
			x.ch.current[i] = micro(x.ch.current[i] - zero)
		}
	}
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
	c := x.ch.current[max(from, x.ch.len()-tailSamples):]
	if len(c) == 0 {
		return false
	}
	mean := stat.Mean(c)
	x.out.Off.Current_A = mean
	if math.Abs(mean) <= x.nought_A() {
		return true
	}
	x.fault(Fault{result.Bench, fmt.Sprintf("With the supply switched off %.3g A still flow: the switch is welded or bridged.", mean),
		"Switch the supply off by hand, take the unit off and replace the switch before any further test."})
	return false
}

// tripped notes why the guard cut the supply, and the fault of the bench when
// it was one.
func (x *runner) tripped() {
	t := x.guard.Tripped()
	var cause result.Cause
	switch t.Rule {
	case guard.SupplyHigh, guard.Silence, guard.RigFailed:
		cause = result.Bench
	case guard.SupplyLow:
		cause = x.supplyLow(t)
	}
	x.out.Ended = t.Reason
	if cause == "" {
		return
	}
	x.fault(Fault{cause, t.Reason, t.Next})
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
	if err := x.rig.Line.Release(); err != nil {
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
	from := x.ch.len()
	for x.rig.Clock.Now()-x.now.from < tailTime || x.ch.len()-from < tailSamples {
		if _, err := x.next(); err != nil {
			x.warn("The current could not be measured after the supply was switched off: %v.", line(err.Error()))
			return nil
		}
	}
	x.out.Off.Verified = x.verifyOff(from)
	return nil
}
