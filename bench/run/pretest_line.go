package run

import (
	"context"
	"fmt"
	"math"

	"dutybench/bench/kind"
	"dutybench/bench/result"
)

// Levels of the line, as shares of what it is when released. Below a quarter an
// input takes it as low (common practice, no source; most inputs do so below
// 0.3 to 0.4 of their supply), above four fifths nothing pulls it at all. A
// pull-up may lie 30 % below and 20 % above what the profile states, for its
// tolerance and what loads it.
const (
	lowShare    = 0.25
	unpulled    = 0.8
	pullUpLeast = 0.7
	pullUpMost  = 1.2
	gone        = 0.3 // of what is expected: there is no pull-up at all
)

// line looks at the signal wire while the plug has its supply through the
// resistor: at the stop command; driven low and released, where the profile
// says that the unit stands still without a command. A unit that begins to take
// power ends it, long before it could turn.
func (x *runner) line(ctx context.Context, c *charging) error {
	command := x.profile.Command
	stop := kind.Step{Command_pct: command.Stop_pct}
	w := wire{source_V: c.source_V(), plug_V: c.plug_V, duty: command.LineDuty(command.Stop_pct) / 100, low_V: math.NaN(), released_V: math.NaN()}
	w.expected_V, w.stated = x.pullUp_V(c.plug_V)
	var err error
	if w.stop_V, err = x.level(ctx, stop, &w); err != nil {
		return err
	}
	for _, part := range []struct {
		to      *float64
		action  kind.Action
		missing string
		name    string
		why     string
	}{
		{&w.low_V, kind.HoldLow, command.Missing.Low, "line low", "Held low"},
		{&w.released_V, kind.Release, command.Missing.Open, "line released", "Released"},
	} {
		if part.missing != "stop" && part.missing != "hold" {
			x.unlooked(part.name, "V", part.why+", this unit may run, and its first start is still to come.")
			continue
		}
		if *part.to, err = x.level(ctx, kind.Step{Command_pct: command.Stop_pct, Line: part.action}, &w); err != nil || x.guard.Tripped() != nil {
			return err
		}
		if _, err = x.level(ctx, stop, &w); err != nil {
			return err
		}
		if w.draws {
			x.unlooked(part.name, "V", part.why+", the unit began to take power, so it was left off.")
			*part.to = math.NaN()
			break
		}
	}
	if x.guard.Tripped() == nil {
		x.wired(w)
	}
	return nil
}

// wire is what was read on the signal wire. NaN: not measured.
type wire struct {
	source_V, plug_V          float64
	duty                      float64 // line duty of the stop command, 0 to 1
	expected_V                float64 // of the released line; NaN: nobody knows
	stated                    bool    // the profile says so, and not the rig's own pull-up alone
	stop_V, low_V, released_V float64
	draws                     bool // the unit began to take power
}

// pullUp_V is what the released line has by the profile and the rig's own
// pull-up; NaN when neither is known. stated is false when only the rig's is,
// and the unit may add to it or take from it. A pull-up of the unit to its
// supply follows that.
func (x *runner) pullUp_V(plug_V float64) (volt float64, stated bool) {
	c, nominal := x.profile.Command, x.profile.Supply.Nominal_V
	v, siemens, amps := c.PullUp_V, 0.0, 0.0
	if load := x.rig.LineLoad_Ohm; load > 0 {
		siemens = 1 / load
	}
	if ohm := x.rig.LinePullUp_Ohm; ohm > 0 {
		siemens, amps = siemens+1/ohm, plug_V/ohm
	}
	if v > 0.6*nominal && plug_V > 0 {
		v *= plug_V / nominal
	}
	switch {
	case v > 0 && c.PullUp_Ohm > 0:
		siemens, amps = siemens+1/c.PullUp_Ohm, amps+v/c.PullUp_Ohm
		return amps / siemens, true
	case v > 0: // of an unknown resistance
		return v, true
	case amps > 0:
		return amps / siemens, false
	}
	return math.NaN(), false
}

// level puts a step's command on the line and reads the level that it settles
// at; NaN when it is not sampled, or when the unit begins to take power.
func (x *runner) level(ctx context.Context, s kind.Step, w *wire) (float64, error) {
	duty, err := x.commander.command(s)
	if err != nil {
		return math.NaN(), x.failed(err)
	}
	x.change(state{on: true, duty_pct: s.Command_pct, lineDuty_pct: duty})
	// A short pulse is read as a mean, which takes its time where the rig's
	// filter is weak.
	least := 2
	if duty > 0 && duty < 20 || duty > 80 && duty < 100 {
		least = 8
	}
	var block, all mean
	before, blocks := math.NaN(), 0
	long := max(lookTime, 16*x.rig.Sampler.Interval())
	end := x.now.from + long
	err = x.watch(ctx, 14*long, func() bool {
		if v := x.sample.Supply_V; v < 0.7*w.source_V && v < 0.9*w.plug_V {
			w.draws = true
			return true
		}
		block.add(x.sample.Line_V)
		if x.sample.At < end {
			return false
		}
		level := block.value()
		steady := math.Abs(level-before) <= 0.01*w.source_V+2*x.rig.Accuracy.VoltageStep_V
		if !steady && least == 2 || blocks == 2 {
			all = mean{} // of a level that was still moving
		}
		all.add(level)
		blocks++
		before, block, end = level, mean{}, x.sample.At+long
		return steady && blocks > least
	})
	if err == nil && x.guard.Tripped() != nil {
		x.tripped()
	}
	if w.draws {
		return math.NaN(), err
	}
	return all.value(), err
}

// wired says what the levels mean. A line that no command can reach ends the
// test before the unit could take it for one to run at full.
func (x *runner) wired(w wire) {
	nan := math.NaN()
	if math.IsNaN(w.stop_V) && math.IsNaN(w.low_V) && math.IsNaN(w.released_V) {
		x.unlooked("line at stop", "V", "The level of the line is not sampled.")
		return
	}
	// What the line has when nothing pulls it: as read, as stated, or as far as
	// it can go.
	high := w.plug_V
	switch {
	case w.released_V > 1:
		high = w.released_V
	case !math.IsNaN(w.expected_V):
		high = w.expected_V
	}
	fault := func(c *result.Check, sentence, next string, or ...result.Cause) {
		c.State, c.Sentence = result.CheckFailed, sentence
		f := Fault{Cause: result.Wiring, Sentence: sentence, Next: next, Or: or}
		if len(or) > 0 {
			f.Apart = "take the unit off and measure the signal wire against ground: a short is still there without the unit"
		}
		if x.going() {
			x.fault(f)
		}
	}
	const (
		nextHigh = "Leave the supply off. Check the signal wire from the driver to the plug, and that it is not on a supply cavity."
		nextLow  = "Leave the supply off. Check that the signal wire is on the right cavity and not shorted to ground; then measure the unit's own pull-up at its signal pin."
	)
	if !math.IsNaN(w.low_V) {
		c := result.NewCheck("line low", w.low_V, "V", nan, lowShare*high, "Driven low, the line is low.")
		if c.State == result.CheckFailed {
			c.State, c.Sentence = result.CheckNotice, "Driven low, the line is higher than an input may take for low: look at the driver and its series resistor."
			if w.low_V > unpulled*high {
				fault(&c, fmt.Sprintf("Driven low, the line stays at %.2f V: it is shorted to the supply, or the driver does not reach the plug.", w.low_V), nextHigh)
			}
		}
		x.check(c)
	}
	if !math.IsNaN(w.released_V) {
		c := result.NewCheck("line released", w.released_V, "V", pullUpLeast*w.expected_V, pullUpMost*w.expected_V, "Released, the line shows the unit's own pull-up.")
		switch {
		case w.released_V < gone*w.expected_V:
			fault(&c, fmt.Sprintf("Released, the line is at %.2f V where its pull-up should give %.2f V: it is shorted to ground or open at the plug, or the unit's input is dead.", w.released_V, w.expected_V), nextLow, result.ControlBoard)
		case !w.stated:
			c.Low, c.High, c.State = nil, nil, result.CheckOK
			c.Sentence = "Released, the line shows this level; the profile states no pull-up to hold it against."
		case c.State == result.CheckFailed:
			c.State, c.Sentence = result.CheckNotice, "Released, the line shows another level than the profile's pull-up gives."
		}
		x.check(c)
	}
	x.check(x.atStop(w, high, fault, nextHigh, nextLow))
}

// atStop is the mean level at the stop command: its share of the time at high.
func (x *runner) atStop(w wire, high float64, fault func(*result.Check, string, string, ...result.Cause), nextHigh, nextLow string) result.Check {
	nan := math.NaN()
	c := result.NewCheck("line at stop", w.stop_V, "V", nan, nan, "Mean level at the stop command.")
	mean := w.duty * w.expected_V
	if mean > 0.2 && w.stated {
		c.Low, c.High = new(float64), new(float64)
		*c.Low, *c.High = pullUpLeast*mean, pullUpMost*mean
	}
	switch {
	case c.State == result.CheckUnlooked:
		c.Sentence = "The level of the line is not sampled."
	case w.duty <= unpulled && high > 1 && w.stop_V > (1+w.duty)/2*high:
		fault(&c, fmt.Sprintf("At a line duty of %.3g %% the line stays at %.2f V: it is shorted to the supply, or the driver does not reach the plug.", 100*w.duty, w.stop_V), nextHigh)
	case mean > 0.2 && w.stop_V < gone*mean && !(w.released_V > gone*w.expected_V):
		fault(&c, fmt.Sprintf("At the stop command the line is at %.2f V on average where its pull-up should give %.2f V: it is shorted to ground or open at the plug, or the unit's input is dead.", w.stop_V, mean), nextLow, result.ControlBoard)
	case c.Low != nil && (w.stop_V < *c.Low || w.stop_V > *c.High):
		c.State, c.Sentence = result.CheckNotice, "Mean level at the stop command; another one than the profile's pull-up gives."
	}
	return c
}

// quietLook makes of the first step with supply what no pre-test has: supply
// and line. On a rig that pulses, a line that no command reaches ends the test.
func (x *runner) quietLook(from int) {
	n := x.ch.len()
	if n-from < 2*tailSamples || !x.commander.signals() && x.checked("supply") {
		return
	}
	from = (from + n) / 2
	var supply, level mean
	for i := from; i < n; i++ {
		supply.add(x.ch.supply[i])
		level.add(x.ch.line[i])
	}
	for _, c := range []struct{ name, why string }{
		{"contact test", "This rig has no pre-charge contact, so supply came to the plug through the main contacts at once."},
		{"line low", "Without a pre-charge contact the line is not held low before the test."},
		{"line released", "Without a pre-charge contact the line is not released before the test."},
		{"drop to the plug", "Without a pre-charge contact it is not looked at before the test; the test measures it under load."},
	} {
		if !x.checked(c.name) && x.commander.signals() {
			x.unlooked(c.name, "V", c.why)
		}
	}
	command := x.profile.Command
	before := len(x.out.Faults)
	if !x.checked("supply") {
		x.supplied(supply.value())
	}
	if !x.commander.signals() {
		return // there is no line
	}
	if !x.checked("line at stop") {
		w := wire{source_V: supply.value(), plug_V: supply.value(), duty: command.LineDuty(command.Stop_pct) / 100,
			stop_V: level.value(), low_V: math.NaN(), released_V: math.NaN()}
		w.expected_V, w.stated = x.pullUp_V(w.plug_V)
		x.wired(w)
	}
	if !x.pretested() && len(x.out.Faults) > before {
		// Nothing was tested on purpose here: the trace itself says it.
		x.out.Faults, x.out.Ended = x.out.Faults[:before], ""
		for i := range x.out.Checks {
			if c := &x.out.Checks[i]; c.State == result.CheckFailed {
				c.State = result.CheckNotice
			}
		}
	}
}
