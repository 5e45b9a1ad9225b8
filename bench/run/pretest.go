package run

import (
	"context"
	"fmt"
	"math"
	"time"

	"dutybench/bench/guard"
	"dutybench/bench/kind"
	"dutybench/bench/result"
	"dutybench/signal/stat"
)

// The electrical pre-test. It comes before the trace, with supply for less
// than a few seconds and little of it: a pre-charge resistor, or the main
// contacts for milliseconds. The stop command lies on the line, so that the
// unit's first start is still to come. What it samples goes into the trace only
// when it ends the test.
//
// On a rig with one contact and neither pre-charge nor pulse, as the simulated
// one by default, nothing is switched: what the zero and the first step with
// supply show is all there is. A unit that the bench switches itself has its load
// switch open through all of it, but for the look at the free-wheel path, which
// no rig leaves out.

// lookTime is how long a level is looked at before it is compared with the
// one before: longer than a period of the line's PWM and than some readings of
// the voltages (chosen).
const lookTime = 20 * time.Millisecond

// pretested says that the rig has contacts to test with, and the plan a use
// for them.
func (x *runner) pretested() bool {
	power := false
	for _, s := range x.plan.Steps {
		power = power || s.Supply
	}
	return power && (x.guard.Paths()&(guard.Second|guard.PreCharge) != 0 || x.rig.Pulse || !x.commander.signals())
}

// going says that nothing has ended the test.
func (x *runner) going() bool { return x.guard.Tripped() == nil && len(x.out.Faults) == 0 }

// check keeps a check; a later one of the same name replaces it.
func (x *runner) check(c result.Check) {
	for i := range x.out.Checks {
		if x.out.Checks[i].Name == c.Name {
			x.out.Checks[i] = c
			return
		}
	}
	x.out.Checks = append(x.out.Checks, c)
}

func (x *runner) checked(name string) bool {
	for _, c := range x.out.Checks {
		if c.Name == name {
			return true
		}
	}
	return false
}

// unlooked notes a check that was not made, and why.
func (x *runner) unlooked(name, unit, why string) {
	x.check(result.NewCheck(name, math.NaN(), unit, math.NaN(), math.NaN(), why))
}

// pretest is the whole of it. The supply is off when it returns.
func (x *runner) pretest(ctx context.Context) error {
	if !x.pretested() {
		return nil
	}
	zero := kind.Step{Name: "pre-test", Command_pct: x.profile.Command.Stop_pct, Min: zeroTime, Max: zeroTime}
	x.step, x.expected, x.testing = zero, x.plan.Longest(), true
	if err := x.begin(zero); err != nil {
		return x.failed(err)
	}
	if err := x.hold(ctx, zero, true); err != nil || !x.going() {
		return err
	}
	x.isolated = true
	parts := []func(context.Context) error{x.alone}
	switch {
	case x.guard.Paths()&guard.PreCharge != 0 && x.rig.PreCharge_Ohm > 0:
		parts = append(parts, x.precharge)
	case x.rig.Pulse:
		parts = append(parts, x.pulse)
	}
	if !x.commander.signals() {
		parts = append(parts, x.freeWheel)
	}
	for _, part := range append(parts, x.openAgain) {
		if err := part(ctx); err != nil || !x.going() {
			return err
		}
	}
	return x.anew()
}

// anew forgets what was sampled, so that the trace begins with its own zero.
func (x *runner) anew() error {
	g, err := guard.New(x.rig.Switch, x.rig.Clock, x.commander.release, x.limits())
	if err != nil {
		return x.failed(err)
	}
	if at, ever := x.guard.LastOff(); ever {
		x.out.LastOff = at
	}
	g.Follow(x.guard)
	x.guard = g
	for _, c := range x.ch.all() {
		*c = (*c)[:0]
	}
	x.watching = watching{}
	x.lost, x.late, x.clipped, x.unread, x.firstLost = 0, 0, 0, 0, 0
	x.plausible, x.testing, x.out.Doubts = newPlausible(x.rig.Accuracy), false, nil
	x.zero_A, x.zeroKnown, x.out.Zero = 0, false, stat.Quantity{}
	x.start = x.rig.Clock.Now()
	x.now = state{from: x.start, lineDuty_pct: math.NaN()}
	x.was, x.running = x.now, false
	return nil
}

// under gives the guard other limits for a part of the pre-test. A plug
// without voltage is what some parts look for, so that too low a supply trips
// in none.
func (x *runner) under(l guard.Limits) error {
	// What the guard before has closed, its own lease would open later.
	if err := x.guard.Open(); err != nil {
		return x.failed(err)
	}
	l.Grace = time.Hour
	g, err := guard.New(x.rig.Switch, x.rig.Clock, x.commander.release, l)
	if err != nil {
		return x.failed(err)
	}
	g.Follow(x.guard)
	x.guard = g
	return nil
}

// closeOnly closes contacts with the stop command on the line.
func (x *runner) closeOnly(p guard.Path) error {
	duty, err := x.commander.command(kind.Step{Command_pct: x.profile.Command.Stop_pct})
	if err == nil {
		err = x.guard.CloseOnly(p)
	}
	if err != nil {
		return x.failed(err)
	}
	x.running = false
	x.change(state{on: true, duty_pct: x.profile.Command.Stop_pct, lineDuty_pct: duty})
	return nil
}

// apart opens all contacts and lets the line go, so that it does not feed the
// unit through its signal pin.
func (x *runner) apart() error {
	err := x.guard.Open()
	if err == nil {
		err = x.commander.release()
	}
	if err != nil {
		return x.failed(err)
	}
	x.dark(nil)
	return nil
}

// openAgain opens all contacts, and looks that no current is left.
func (x *runner) openAgain(ctx context.Context) error {
	if err := x.apart(); err != nil {
		return err
	}
	from := x.ch.len()
	if err := x.watch(ctx, x.rig.Settle+lookTime+tailSamples*x.rig.Sampler.Interval(), nil); err != nil || !x.going() {
		return err
	}
	x.verifyOff(from)
	return nil
}

// watch samples for a time, or until look says that it has seen enough. What
// ends the test is left for the caller to see: a trip, or the error of a rig
// that failed or of a test that was cancelled.
func (x *runner) watch(ctx context.Context, d time.Duration, look func() (enough bool)) error {
	for end := x.rig.Clock.Now() + d; x.rig.Clock.Now() < end; {
		if ctx.Err() != nil {
			return x.cancelled(ctx)
		}
		read, err := x.next()
		if err != nil {
			return x.failed(err)
		}
		if x.guard.Tripped() != nil {
			return nil
		}
		if read && x.sample.At >= x.now.from && look != nil && look() {
			return nil
		}
	}
	return nil
}

// current_A is that of the last sample, less the zero.
func (x *runner) current_A() float64 { return x.sample.Current_A - x.zero_A }

// overCurrent says that a trip was one of current.
func overCurrent(t *guard.Trip) bool {
	return t != nil && (t.Rule == guard.Short || t.Rule == guard.OverPeak || t.Rule == guard.OverCurrent)
}

// aloneTime is how long one contact is closed alone: some readings of the
// voltage.
func (x *runner) aloneTime() time.Duration {
	return x.rig.Settle + max(2*lookTime, 16*x.rig.Sampler.Interval())
}

// conducts names what may conduct beside a closed contact, by the most current
// that flowed: the pre-charge contact, in parallel with the second, lets no
// more through than its resistor.
func (x *runner) conducts(other guard.Path, peak_A float64) string {
	ohm := x.rig.PreCharge_Ohm
	if other == guard.Second && x.guard.Paths()&guard.PreCharge != 0 && ohm > 0 && peak_A < resistorSlack*x.profile.Supply.High_V/ohm {
		return "second contact or the pre-charge contact"
	}
	return other.String() + " contact"
}

// plugLeast_V is the voltage at the plug from which on supply has come to it:
// what a capacitor still holds is none.
func (x *runner) plugLeast_V() float64 {
	if before := x.supply_V; !math.IsNaN(before) {
		return max(x.dead_V(), before+0.1*x.profile.Supply.Nominal_V)
	}
	return x.dead_V()
}

// alone closes each of two contacts in series by itself: where there is supply
// at the plug then, the other one is welded.
func (x *runner) alone(ctx context.Context) error {
	if x.guard.Paths()&guard.Second == 0 {
		return nil
	}
	for _, p := range [...]struct{ closed, other guard.Path }{{guard.First, guard.Second}, {guard.Second, guard.First}} {
		if err := x.under(x.limits()); err != nil {
			return err
		}
		if err := x.closeOnly(p.closed); err != nil {
			return err
		}
		least, highest, peak := x.plugLeast_V(), math.NaN(), 0.0
		err := x.watch(ctx, x.aloneTime(), func() bool {
			if v := x.sample.Supply_V; !math.IsNaN(v) && !(v <= highest) {
				highest = v
			}
			peak = max(peak, math.Abs(x.current_A()))
			return peak > 5*x.nought_A() && x.sample.At-x.now.from > x.rig.Settle+2*time.Millisecond || highest > least
		})
		if err != nil {
			return err
		}
		trip := x.guard.Tripped()
		if trip != nil && !overCurrent(trip) {
			x.tripped()
			return nil
		}
		name := p.other.String() + " contact opens"
		c := result.NewCheck(name, highest, "V", math.NaN(), least, "")
		c.Sentence = fmt.Sprintf("With the %s contact closed alone there is no supply at the plug.", p.closed)
		if peak > 5*x.nought_A() || trip != nil || highest > least {
			which := x.conducts(p.other, peak)
			c.State = result.CheckFailed
			c.Sentence = fmt.Sprintf("With the %s contact closed alone there is supply at the plug: the %s is welded or bridged.", p.closed, which)
			x.check(c)
			x.fault(Fault{Cause: result.Bench, Sentence: c.Sentence,
				Next: "Replace the " + which + " before any test: while it conducts, one contact alone holds the supply back."})
			return nil
		}
		if c.Value == nil {
			c.Sentence += " Only the current says so, as the voltage is not sampled."
			c.State = result.CheckOK
		}
		x.check(c)
		if err := x.apart(); err != nil {
			return err
		}
		if err := x.watch(ctx, x.rig.Settle+5*time.Millisecond, nil); err != nil {
			return err
		}
		if x.guard.Tripped() != nil {
			x.tripped()
			return nil
		}
	}
	return nil
}
