package run

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"dutybench/bench/guard"
	"dutybench/bench/result"
)

// resistorSlack is how far a pre-charge current may lie above what the resistor
// lets through: its tolerance and the zero (chosen).
const resistorSlack = 1.2

// precharge closes the contact with the resistor and looks how the plug
// charges; with a plug that does, supply, line and main contacts follow.
func (x *runner) precharge(ctx context.Context) error {
	l := x.limits()
	// Even a supply for another unit lets no more through.
	l.Current_A = max(resistorSlack*guard.ExtraLow_V/x.rig.PreCharge_Ohm, 5*x.nought_A())
	l.Peak_A, l.Time, l.Charge_C, l.ChargeTime = l.Current_A, 10*time.Millisecond, 0, 0
	if err := x.under(l); err != nil {
		return err
	}
	if err := x.closeOnly(x.throughResistor()); err != nil {
		return err
	}
	c, err := x.charge(ctx)
	if err != nil {
		return err
	}
	if trip := x.guard.Tripped(); trip != nil {
		if overCurrent(trip) {
			x.plugCheck(result.CheckFailed, c.plug_V, "More current flowed than the pre-charge resistor lets through.")
			x.fault(Fault{Cause: result.Bench,
				Sentence: fmt.Sprintf("Through the pre-charge contact flowed more than the %.3g A that its resistor of %.3g Ω can let through.", l.Current_A, x.rig.PreCharge_Ohm),
				Next:     "Check the pre-charge resistor and its wiring, and the value in the rig file."})
			return nil
		}
		x.tripped()
		return nil
	}
	if !x.plugged(c) {
		return nil
	}
	if x.supplied(c.source_V()); !x.going() {
		return nil
	}
	if c.plug() == plugBlind {
		return nil
	}
	if x.commander.signals() {
		if err := x.line(ctx, c); err != nil || !x.going() {
			return err
		}
	}
	return x.drop(ctx, c)
}

// throughResistor are the contacts that let supply through the resistor only.
// Of two in series the pre-charge contact lies beside the second, or beside
// both; with the first closed too it is the way through in either case.
func (x *runner) throughResistor() guard.Path {
	if x.guard.Paths()&guard.Second != 0 {
		return guard.First | guard.PreCharge
	}
	return guard.PreCharge
}

// charge watches the plug until its voltage stands still.
func (x *runner) charge(ctx context.Context) (*charging, error) {
	p := x.profile
	c := &charging{plug_V: math.NaN(), ohm: x.rig.PreCharge_Ohm, nominal_V: p.Supply.Nominal_V, most_A: p.Limits.Current_A, nought_A: x.nought_A()}
	longest, short := chargeTimes(c.ohm, p.Limits.Charge_C, c.nominal_V)
	from := x.now.from
	last := from
	var volts, amps, since mean // of the block; since the last voltage
	before, end := math.NaN(), from+x.rig.Settle+lookTime
	err := x.watch(ctx, x.rig.Settle+longest, func() bool {
		i := x.current_A()
		since.add(i)
		if v := x.sample.Supply_V; !math.IsNaN(v) {
			if x.sample.At > from+x.rig.Settle+wayTime && v > clamp_V {
				c.way.add(since.value(), v)
			}
			since = mean{}
		}
		c.charge_C += i * (x.sample.At - last).Seconds()
		last = x.sample.At
		if math.Abs(i) > math.Abs(c.peak_A) {
			c.peak_A = i
		}
		amps.add(i)
		volts.add(x.sample.Supply_V)
		if x.sample.At < end {
			return false
		}
		v, steady := volts.value(), false
		if amps.n > 0 {
			c.current_A = amps.value()
		}
		if !math.IsNaN(v) {
			steady = math.Abs(v-before) <= 0.005*c.nominal_V+2*x.rig.Accuracy.VoltageStep_V
			before, c.plug_V = v, v
		}
		volts, amps, end = mean{}, mean{}, x.sample.At+max(lookTime, 16*x.rig.Sampler.Interval())
		return steady && (v >= clamp_V && x.sample.At-from > x.rig.Settle+2*lookTime || x.sample.At-from >= x.rig.Settle+short)
	})
	// The charge that the settled current took meanwhile is none of the
	// capacitor's; how well that is known, the scatter of the zero says.
	lasted := (last - from).Seconds()
	c.charge_C -= c.current_A * lasted
	c.least_C = 3 * (x.out.Zero.U() + x.rig.Accuracy.CurrentStep_A) * lasted
	return c, err
}

// wayTime after switch-on the voltage and the current beside it belong to the
// same contact position.
const wayTime = 5 * time.Millisecond

// mean of what was sampled.
type mean struct {
	sum float64
	n   int
}

func (m *mean) add(x float64) {
	if !math.IsNaN(x) {
		m.sum += x
		m.n++
	}
}

func (m *mean) value() float64 {
	if m.n == 0 {
		return math.NaN()
	}
	return m.sum / float64(m.n)
}

func (x *runner) plugCheck(s result.CheckState, volt float64, sentence string) {
	c := result.NewCheck("contact test", volt, "V", math.NaN(), math.NaN(), sentence)
	c.State = s
	x.check(c)
}

// What tells a fault of the bench's wires from one of the unit's input.
const (
	apartPlug = "take the unit off its plug and run the test again: what is still there without the unit lies in the bench's wires"
	nextPlug  = "Leave the supply off. Compare the plug's wiring with the profile's connector and the unit's label, then take the unit off its plug and run the test again: what is still there without the unit lies in the bench's wires, what is gone in the unit's input."
)

// plugged says what hangs on the plug. False ends the test.
func (x *runner) plugged(c *charging) bool {
	through := "the main contacts"
	if c.ohm > 0 {
		through = fmt.Sprintf("%.3g Ω", c.ohm)
	}
	// What wires and a unit's input show alike is held against neither.
	alike := func(sentence string) {
		x.plugCheck(result.CheckFailed, c.plug_V, sentence)
		x.fault(Fault{Cause: result.Wiring, Sentence: sentence, Next: nextPlug, Or: []result.Cause{x.behindPlug()}, Apart: apartPlug})
	}
	own := func(cause result.Cause, sentence, next string) {
		x.plugCheck(result.CheckFailed, c.plug_V, sentence)
		x.fault(Fault{Cause: cause, Sentence: sentence, Next: next})
	}
	switch c.plug() {
	case plugShort:
		alike(fmt.Sprintf("Through %s the plug stays at %.2f V with %.3g A: the supply wires are shorted at the plug or crossed before it, or the unit's input is.", through, c.plug_V, c.current_A))
	case plugReversed:
		alike(fmt.Sprintf("Through %s the plug stays at %.2f V with %.3g A, as a diode does, or %.2g Ω: plus and minus are exchanged at the plug, or the unit's input is shorted, as through a semiconductor.", through, c.plug_V, c.current_A, c.plug_V/c.current_A))
	case plugHeavy:
		alike(fmt.Sprintf("Through %s the plug comes to %.2f V only, with %.3g A: that is %.3g Ω, which would take more than the unit's limit of %.3g A. There is a partial short at the plug or in the unit's input.", through, c.plug_V, c.current_A, c.plug_V/c.current_A, c.most_A))
	case plugBlindShort:
		alike(fmt.Sprintf("Through %s %.3g A go on flowing: the plug is shorted or its plus and minus are exchanged, or the unit's input is shorted. Which of them, a sense wire at the plug would say.", through, c.current_A))
	case plugCrossed:
		own(result.Wiring, fmt.Sprintf("Through %s the plug reads %.2f V, below nought: the supply wires are crossed before it.", through, c.plug_V),
			"Exchange plus and minus between switch and plug, then run the test again.")
	case plugUnread:
		own(result.Wiring, fmt.Sprintf("Through %s a current came and went as into a capacitor, but the plug reads %.2f V: its sense wires are open or shorted.", through, c.plug_V),
			"Check the sense wires from the plug to the converter.")
	case plugUnreadQuiet:
		own(result.Wiring, fmt.Sprintf("Through %s %.3g A flow, but the plug reads %.2f V: its sense wires are open or shorted, as a shorted plug would take %.2g A or more.", through, c.current_A, c.plug_V, c.leastShort_A()),
			"Check the sense wires from the plug to the converter. If a meter finds no voltage at the plug either, look at what the supply limits its current to, then for a short at the plug.")
	case plugDead:
		own(result.Bench, fmt.Sprintf("Through %s neither voltage (%.2f V) nor current (%.3g A) comes to the plug.", through, c.plug_V, c.current_A),
			"Check that the supply is on, then what lies between it and the plug: "+x.between(c.ohm > 0)+" and wires.")
	case plugOpen, plugBlind:
		if !x.commander.signals() {
			x.plugCheck(result.CheckOK, c.plug_V, "With the load switch open nothing flows at the plug.")
			break
		}
		if c.plug() == plugBlind {
			x.unlooked("contact test", "V", "The voltage at the plug is not sampled; no current stays, so it is not shorted.")
			break
		}
		x.plugCheck(result.CheckNotice, c.plug_V, "The plug stood at the supply at once and takes no current: nothing is plugged in, a supply wire to the unit is open, or its input is.")
	default:
		x.plugCheck(result.CheckOK, c.plug_V, "The plug charges as a unit's input does.")
		x.capacitor(c)
	}
	return x.going()
}

// behindPlug is what a short at the plug may be beside the wires: the unit's own
// input, or for a unit that is not even connected the switch that should not be.
func (x *runner) behindPlug() result.Cause {
	if x.commander.signals() {
		return result.ControlBoard
	}
	return result.Bench
}

// between names what this rig has between the supply and the plug: through the
// main contacts, or through the resistor.
func (x *runner) between(resistor bool) string {
	parts := slices.Clone(x.rig.InSeries)
	if len(parts) == 0 {
		parts = []string{"fuse", "contacts"}
	}
	if resistor {
		parts = append(parts, "pre-charge contact", "its resistor")
	}
	return strings.Join(parts, ", ")
}

// capacitor notes what the plug's capacitor is, where that can be told.
func (x *runner) capacitor(c *charging) {
	if c.ohm == 0 || !(c.charge_C > c.least_C) {
		return
	}
	most := math.NaN()
	if q := x.profile.Limits.Charge_C; q > 0 {
		most = 1e6 * q / c.nominal_V
	}
	k := result.NewCheck("input capacitor", 1e6*c.farad(), "µF", math.NaN(), most, "From the charge that it took; limited by the charge that the profile allows at switch-on.")
	if k.State == result.CheckFailed {
		k.State = result.CheckNotice
	}
	x.check(k)
}

// supplied holds the supply against what profile and bench bear.
func (x *runner) supplied(volt float64) {
	low, high := x.profile.Supply.Low_V, x.profile.Supply.High_V
	if b := x.rig.Limits; b.SupplyHigh_V > 0 {
		low, high = max(low, b.SupplyLow_V), min(high, b.SupplyHigh_V)
	}
	c := result.NewCheck("supply", volt, "V", low, high, "Within the range of profile and bench.")
	switch c.State {
	case result.CheckUnlooked:
		c.Sentence = "The voltage at the plug is not sampled."
	case result.CheckFailed:
		c.Sentence = fmt.Sprintf("The supply is %.2f V; profile and bench ask for %.4g to %.4g V.", volt, low, high)
		x.fault(Fault{Cause: result.Bench, Sentence: c.Sentence, Next: "Set the supply to the profile's voltage, or choose the profile for this supply."})
	}
	x.check(c)
}

// Drops between supply and plug, as shares of the nominal supply: what is
// remarked, and what ends the test. 3 % is what supply wires are usually laid
// out for at full current (common practice, no source), and here the unit takes
// its quiet current only.
const (
	muchDrop = 0.03
	mostDrop = 0.10
)

// drop closes the main contacts on the charged plug for some readings and
// looks what its quiet current drops.
func (x *runner) drop(ctx context.Context, c *charging) error {
	if err := x.under(x.limits()); err != nil {
		return err
	}
	if err := x.closeOnly(x.guard.Paths() &^ guard.PreCharge); err != nil {
		return err
	}
	var volts, amps mean
	from := x.now.from + x.rig.Settle + lookTime
	err := x.watch(ctx, x.rig.Settle+lookTime+max(2*lookTime, 24*x.rig.Sampler.Interval()), func() bool {
		if x.sample.At >= from {
			volts.add(x.sample.Supply_V)
			amps.add(x.current_A())
		}
		return false
	})
	if err != nil {
		return err
	}
	if trip := x.guard.Tripped(); trip != nil {
		x.tripped()
		return nil
	}
	fall, i, nominal := c.source_V()-volts.value(), amps.value(), x.profile.Supply.Nominal_V
	k := result.NewCheck("drop to the plug", fall, "V", math.NaN(), muchDrop*nominal, "Between the supply and the plug, under the quiet current.")
	if k.State == result.CheckFailed {
		k.State = result.CheckNotice
		k.Sentence = fmt.Sprintf("Between supply and plug %.2f V are lost at %.3g A: look for a poor contact or a thin wire.", fall, i)
		if fall > mostDrop*nominal {
			k.State = result.CheckFailed
			k.Sentence = fmt.Sprintf("With the main contacts closed the plug has %.2f V of the supply's %.2f V and no current comes: a main contact does not close.", volts.value(), c.source_V())
			f := Fault{Cause: result.Bench, Sentence: k.Sentence, Next: "Check the main contacts and what drives them."}
			if math.Abs(i) > c.nought_A {
				k.Sentence = fmt.Sprintf("With the main contacts closed the plug has %.2f V of the supply's %.2f V at %.3g A: there are %.3g Ω in the supply's way.", volts.value(), c.source_V(), i, fall/i)
				f = Fault{Cause: result.Wiring, Sentence: k.Sentence, Next: "Look for a poor contact or a broken strand from the supply to the plug, the fuse holder and its return included."}
			}
			x.fault(f)
		}
	}
	x.check(k)
	return nil
}

// pulse closes the main contacts for milliseconds, under the profile's limits
// of charge and peak.
func (x *runner) pulse(ctx context.Context) error {
	if err := x.under(x.limits()); err != nil {
		return err
	}
	if err := x.closeOnly(x.guard.Paths() &^ guard.PreCharge); err != nil {
		return err
	}
	p := x.profile
	c := &charging{plug_V: math.NaN(), nominal_V: p.Supply.Nominal_V, most_A: p.Limits.Current_A, nought_A: x.nought_A()}
	var amps, volts tail
	// A relay in the supply's way takes its time; the pulse is from when
	// anything comes.
	err := x.watch(ctx, x.rig.Settle+comesTime, func() bool {
		if v := x.sample.Supply_V; !math.IsNaN(v) {
			volts.add(v)
		}
		amps.add(x.current_A())
		c.peak_A = max(c.peak_A, math.Abs(x.current_A()))
		return c.peak_A > 5*x.nought_A() || volts.mean(1) > x.dead_V()
	})
	if err != nil {
		return err
	}
	if x.guard.Tripped() == nil && (c.peak_A > 5*x.nought_A() || volts.mean(1) > x.dead_V()) {
		from, seen := x.sample.At, 0
		err = x.watch(ctx, 4*pulseTime+10*x.rig.Sampler.Interval(), func() bool {
			amps.add(x.current_A())
			if v := x.sample.Supply_V; !math.IsNaN(v) && x.sample.At-from > pulseTime/2 {
				volts.add(v)
				seen++
			}
			return x.sample.At-from >= pulseTime && seen > 0
		})
		if err != nil {
			return err
		}
	}
	trip := x.guard.Tripped()
	c.current_A, c.plug_V = amps.mean(2), volts.mean(1)
	c.least_C = 0 // so short a pulse does not tell an open plug
	if overCurrent(trip) {
		sentence := fmt.Sprintf("A pulse through the main contacts was cut: %s The plug is shorted or its plus and minus are exchanged, or the unit's input is shorted.", trip.Reason)
		x.plugCheck(result.CheckFailed, c.plug_V, sentence)
		x.fault(Fault{Cause: result.Wiring, Sentence: sentence, Next: nextPlug, Or: []result.Cause{x.behindPlug()}, Apart: apartPlug})
		return nil
	}
	if trip != nil {
		x.tripped()
		return nil
	}
	if x.plugged(c) && !math.IsNaN(c.plug_V) {
		x.supplied(c.plug_V)
	}
	return nil
}

// pulseTime is how long the main contacts stay closed once supply has come: a
// charging peak is over within a few milliseconds. comesTime is how long a relay
// that nobody stated may take to close.
const (
	pulseTime = 5 * time.Millisecond
	comesTime = 60 * time.Millisecond
)
