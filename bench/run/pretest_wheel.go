package run

import (
	"context"
	"fmt"
	"math"
	"time"

	"dutybench/bench/guard"
	"dutybench/bench/result"
	"dutybench/bench/rig"
)

// The look at the free-wheel path, before a unit is switched for the first time.
//
// A coil's current goes on when the switch opens. Without a path it drives the
// voltage up until something breaks down. So the switch is closed for so short
// that what the coil holds then is harmless whatever way it takes, and it is
// looked what happens when it opens.
//
// What the coil holds, L·I²/2, is no more than the supply has given, U·∫I·dt;
// half of that while the current rises in a straight line. A pulse ends when
// harmless_J has been given, when the current comes to a seventh of what the unit
// bears, or after its time. Pulses grow from half a millisecond on until the
// current can be measured (a few times what may still be none, 0.1 A as a rule)
// and a breakdown would last for some readings.
const (
	// harmless_J is what a switch's transistor takes as often as it comes: data
	// sheets of transistors for a few amperes allow for tens of millijoules in one
	// breakdown (from memory); nobody feels a hundredth of a joule at 60 V.
	harmless_J = 0.010
	// harmless_W is what it gives off without a heat sink when it takes that
	// each period (common practice, no source).
	harmless_W   = 1
	firstPulse   = 500 * time.Microsecond
	longestPulse = 64 * time.Millisecond
	// readable is how long a current has to rise so that its end in a breakdown
	// at five times the supply still takes some readings (chosen).
	readable = 2 * time.Millisecond
	// A path's voltage: behind a diode and its wires at most, and of a switch that
	// breaks down at least, as a share of the supply. The first is a silicon diode
	// at its rated current (data sheets: 1.2 V at most), with leads. One that broke
	// down at less than one and a half times its supply would not live (chosen).
	diodePath_V    = 1.5
	breakdownShare = 0.5
	// What a node shows beyond where it rests: a diode of any sort in its wires,
	// and what no diode takes.
	// The second lies below the end of a converter that was laid out for the
	// supply, a diode's drop and a tenth.
	diodeLeast_V = 0.15
	diodeMost_V  = 1.9
)

// settledSamples show whether a current stands at once.
const settledSamples = 4

const pathCheck = "free-wheel path"

// nextPath is what to do about a path that is missing.
const nextPath = "With the supply off, fit a diode for the unit's current across its plug, cathode to plus, or look for the break in the wires of the one that is there; then run the test again. Switch no coil before."

// freeWheel looks at the load switch and at the free-wheel path.
func (x *runner) freeWheel(ctx context.Context) error {
	l := x.limits()
	l.Charge_C, l.ChargeTime = l.Peak_A*l.Time.Seconds(), l.Time // a motor starts here
	if err := x.under(l); err != nil {
		return err
	}
	if err := x.closeOnly(x.guard.Paths() &^ guard.PreCharge); err != nil {
		return err
	}
	if p, ok := x.rig.Sampler.(rig.NodePacer); ok && p.PaceNode(x.rig.Sampler.Interval()) {
		defer p.PaceNode(0)
	}
	// At rest: no current, and the node where the unit pulls it.
	var amps, volts, node mean
	from := x.now.from + x.rig.Settle + lookTime
	if err := x.watch(ctx, x.rig.Settle+2*lookTime+16*x.rig.Sampler.Interval(), func() bool {
		if x.sample.At >= from {
			amps.add(x.current_A())
			volts.add(x.sample.Supply_V)
			node.add(x.sample.Node_V)
		}
		return false
	}); err != nil {
		return err
	}
	if trip := x.guard.Tripped(); trip != nil && !overCurrent(trip) {
		x.tripped()
		return nil
	}
	if i := amps.value(); x.guard.Tripped() != nil || math.Abs(i) > x.nought_A() {
		x.stuckClosed(x.current_A(), i)
		return nil
	}
	if x.rig.Load.FreeWheel == rig.FreeWheelNone {
		c := x.rig.Load.Clamp
		x.unlooked(pathCheck, "ms", fmt.Sprintf("The rig has no free-wheel path: its switch takes a coil's current itself, at %.3g V and up to %.3g J. That was not tried here.", c.Volt, c.Joule))
		return nil
	}
	supply_V := volts.value()
	if math.IsNaN(supply_V) {
		supply_V = x.profile.Supply.Nominal_V
	}
	least := x.least_A()
	var w wheel
	enough := max(readable, 40*x.rig.Sampler.Interval())
	for d := max(firstPulse, 8*x.rig.Sampler.Interval()); d <= longestPulse; d *= 2 {
		var err error
		if w, err = x.wheelPulse(ctx, d, supply_V, node.value()); err != nil {
			return err
		}
		if trip := x.guard.Tripped(); trip != nil && !overCurrent(trip) {
			x.tripped()
			return nil
		} else if trip != nil || w.short {
			x.pulseShort(&w)
			return nil
		}
		if w.given_J >= harmless_J || w.peak_A >= x.most_A() || w.most_V > diodeMost_V || w.peak_A >= least && w.length >= enough {
			break
		}
	}
	if w.peak_A >= 2*x.nought_A() && x.atOnce(&w) {
		plug_V, err := x.plugUnder(ctx, w.most_H)
		switch trip := x.guard.Tripped(); {
		case err != nil:
			return err
		case trip != nil && !overCurrent(trip):
			x.tripped()
			return nil
		case trip != nil:
			x.pulseShort(&w)
			return nil
		case plug_V < x.profile.Supply.Low_V:
			x.plugFell(&w, supply_V, plug_V)
			return nil
		}
	}
	x.wheelled(&w, supply_V)
	return nil
}

// plugFell is a current that stood at once and took the plug's voltage below all
// that the unit may have: the supply is at its limit over something that is no
// coil, so how little the coil seems to hold says nothing.
func (x *runner) plugFell(w *wheel, rest_V, plug_V float64) {
	f := Fault{Cause: result.Bench, Or: []result.Cause{result.Electrical, result.Wiring},
		Sentence: fmt.Sprintf("A pulse through the load switch brought %.3g A at once, and the voltage at the plug fell from %.3g V to %.3g V: the free-wheel diode is shorted or sits the wrong way round, or the unit or the wires to it are shorted, or the supply's current limit is set too low for the unit.", w.peak_A, rest_V, plug_V),
		Next:     "With the supply off and the unit unplugged, measure across the plug: the diode conducts from minus to plus only. If it does, measure the resistance at the unit's own pins, then look at the supply's current limit.",
		Apart:    "measure across the plug with the unit off it, and the resistance at the unit's own pins"}
	x.loadCheck(result.CheckOK, "It conducts when it is told to.")
	x.pathFound(result.CheckFailed, &wheel{}, f.Sentence)
	x.fault(f)
}

// least_A is a current that tells: a few times what may be none, and no great
// part of what the unit bears.
func (x *runner) least_A() float64 {
	n := x.nought_A()
	return max(2*n, min(5*n, 0.25*x.profile.Limits.Current_A))
}

// most_A is where a pulse ends: it tells, and is far from what the unit bears.
func (x *runner) most_A() float64 { return max(x.least_A(), 0.15*x.profile.Limits.Current_A) }

// stuckClosed is a current that flows before the load switch is told to close.
func (x *runner) stuckClosed(last_A, mean_A float64) {
	to := "ground"
	if x.rig.Load.HighSide {
		to = "the supply"
	}
	if math.Abs(last_A) > math.Abs(mean_A) || math.IsNaN(mean_A) {
		mean_A = last_A
	}
	f := Fault{Cause: result.Bench, Or: []result.Cause{result.Wiring},
		Sentence: fmt.Sprintf("With the supply on and the load switch open %.3g A flow: the switch is stuck closed, or the wire from the unit to it lies against %s.", mean_A, to),
		Next:     "Switch the supply off, take the unit off its plug and measure across the open load switch; replace it when it conducts, and look for the short in the wire when it does not.",
		Apart:    "measure across the load switch with the unit off its plug: it conducts when it is stuck"}
	x.loadCheck(result.CheckFailed, f.Sentence)
	x.fault(f)
}

func (x *runner) loadCheck(s result.CheckState, sentence string) {
	c := result.NewCheck("load switch", math.NaN(), "A", math.NaN(), math.NaN(), sentence)
	c.State = s
	x.check(c)
}

// pulseShort is a pulse that brought more than the unit may ever take.
func (x *runner) pulseShort(w *wheel) {
	f := Fault{Cause: result.Bench, Or: []result.Cause{result.Electrical, result.Wiring},
		Sentence: fmt.Sprintf("The first pulse through the load switch brought %.3g A at once, where the peak limit is %.3g A: the unit or the wires to it are shorted, or the free-wheel diode is, or it sits the wrong way round.", w.peak_A, x.profile.Limits.Peak_A),
		Next:     "With the supply off, measure the resistance at the unit's own pins, then run the test again with the unit off its plug: what is still there without it lies in the bench.",
		Apart:    "measure the resistance at the unit's own pins"}
	x.loadCheck(result.CheckOK, "It conducts when it is told to.")
	x.pathFound(result.CheckFailed, &wheel{}, f.Sentence)
	x.fault(f)
}

// pathFound notes the check, with the time in which half of the current went.
func (x *runner) pathFound(s result.CheckState, w *wheel, sentence string) {
	v := math.NaN()
	if w.fell > 0 {
		v = w.fell.Seconds() * 1e3
	}
	c := result.NewCheck(pathCheck, v, "ms", math.NaN(), math.NaN(), sentence)
	c.State = s
	x.check(c)
}

// wheelled says what the last pulse has shown.
func (x *runner) wheelled(w *wheel, supply_V float64) {
	load, dt := x.rig.Load, x.rig.Sampler.Interval()
	breaksDown := load.Level != nil && w.most_V > diodeMost_V
	if w.peak_A < 2*x.nought_A() && !breaksDown {
		x.hardlyAny(w)
		return
	}
	x.loadCheck(result.CheckOK, "No current flows before it is closed, and some when it is.")
	full_J := w.most_H * x.profile.Limits.Current_A * x.profile.Limits.Current_A / 2
	slow := w.rose >= 3*dt // the rise can be told from a step
	least := time.Duration(float64(w.rose)*w.halves(supply_V, dt)) - dt
	goesOn := w.stays >= 2 && (!slow || w.fell >= least)
	behindDiode := load.Level != nil && w.above >= 2 && w.most_V <= diodeMost_V
	abrupt := load.Seen && slow && w.fell < least
	ended := fmt.Sprintf("%.3g A had half gone after %.3g ms, where they took %.3g ms to come half", w.peak_A, w.fell.Seconds()*1e3, w.rose.Seconds()*1e3)
	switch {
	case breaksDown:
		x.noPath(w, fmt.Sprintf("When the load switch opened at %.3g A the wire between it and the unit went %.3g V beyond the supply: there is no free-wheel path, and the switch breaks down.", w.peak_A, w.most_V), nextPath)
	case abrupt && behindDiode:
		x.noPath(w, "The current goes on in a diode when the load switch opens, as the voltage between them shows, but not through the shunt ("+ended+"): what recirculates is not in the readings.",
			"Lay the shunt into the loop of unit and diode, or state in the rig file that what recirculates is not seen.")
	case abrupt:
		x.noPath(w, "The current ended at once when the load switch opened ("+ended+"): there is no free-wheel path.", nextPath)
	case !load.Seen && slow && goesOn:
		x.noPath(w, "The current went on through the shunt when the load switch opened ("+ended+"), where the rig says that it is not seen.",
			"Look where the shunt lies, and state in the rig file that what recirculates is seen.")
	case load.Seen && goesOn:
		x.pathFound(result.CheckOK, w, fmt.Sprintf("The current goes on when the load switch opens: %s.", ended))
	case behindDiode:
		x.pathFound(result.CheckOK, w, fmt.Sprintf("When the load switch opens, the wire between it and the unit goes %.2g V beyond where it rests, as a diode lets it.", w.most_V))
	case full_J <= harmless_J && full_J*x.profile.Command.Frequency_Hz <= harmless_W:
		x.pathFound(result.CheckOK, w, fmt.Sprintf("The current comes and goes at once: the unit has %.2g mH at most, which hold nothing that needs a path.", w.most_H*1e3))
	case full_J <= harmless_J:
		x.pathFound(result.CheckNotice, w, fmt.Sprintf("The current comes and goes at once, too fast to see whether it has a path when the load switch opens. The unit has %.2g mH at most, so nothing but the switch can come to harm: look whether it gets hot.", w.most_H*1e3))
	default:
		x.noPath(w, fmt.Sprintf("It could not be seen whether the current goes on when the load switch opens, of a unit of up to %.2g mH.", w.most_H*1e3),
			"Lay the shunt into the loop of unit and free-wheel diode, or have the wire between unit and load switch read; state it in [load] of the rig file, then run the test again.")
	}
}

// noPath ends the test before the unit is switched.
func (x *runner) noPath(w *wheel, sentence, next string) {
	x.pathFound(result.CheckFailed, w, sentence)
	x.fault(Fault{Cause: result.Bench, Sentence: sentence, Next: next})
}

// hardlyAny is for pulses in which no current came that tells. A coil that is
// open, or a wire to it, is the test's to find.
func (x *runner) hardlyAny(w *wheel) {
	switch {
	case w.given_J >= harmless_J:
		x.noPath(w, fmt.Sprintf("The current came to %.2g A only while as much energy went into the unit as may, so what becomes of it when the load switch opens could not be seen.", w.peak_A),
			"Use a rig that resolves smaller currents for this unit, or a profile of the right type.")
	case w.peak_A > x.nought_A():
		x.unlooked(pathCheck, "ms", fmt.Sprintf("The unit takes %.2g A only, which hold nothing that needs a path.", w.peak_A))
	case x.stuckOpen(w.shut_V): // or not read
		f := Fault{Cause: result.Bench, Sentence: fmt.Sprintf("Told to close, the load switch lets no current through, and the wire between it and the unit stays at %.3g V: it is stuck open, or nothing drives it.", w.shut_V),
			Next: nextStuckOpen}
		x.loadCheck(result.CheckFailed, f.Sentence)
		x.fault(f)
	default:
		x.unlooked(pathCheck, "ms", "No current came in a pulse, so nothing could recirculate: the unit or a wire to it is open, or the load switch does not close.")
	}
}
