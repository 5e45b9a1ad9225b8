package run

import (
	"bytes"
	"context"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/result"
	"dutybench/bench/rig"
	"dutybench/bench/sim"
	simpump "dutybench/bench/sim/pump"
	"dutybench/profiles"
	"dutybench/signal/trace"
)

// A good unit passes every check on every kind of rig, whatever its profile,
// and the trace begins with its own zero as if nothing had been before.
func TestPretestOfGoodUnits(t *testing.T) {
	for _, name := range []string{"aux-pump-20w", "aux-pump-60w", "aux-pump-130w", "circulator-heating-12v", "circulator-solar-24v"} {
		for rigName, o := range map[string]contactOptions{
			"two and pre-charge":  {second: true, preCharge: 22},
			"pre-charge":          {preCharge: 10},
			"slow relays":         {second: true, preCharge: 47, relay: 20 * ms},
			"two":                 {second: true},
			"pulse":               {pulse: true},
			"pulse through relay": {second: true, pulse: true, relay: 15 * ms},
			"one":                 {},
		} {
			t.Run(name+" "+rigName, func(t *testing.T) {
				o.profile = name
				b := newContactBench(t, o)
				out := b.run(t)
				require.Empty(t, out.Faults, "%+v", out.Checks)
				require.Nil(t, out.Trip)
				assert.Empty(t, out.Ended)
				for _, c := range out.Checks {
					assert.NotEqual(t, result.CheckFailed, c.State, "%+v", c)
					assert.NotEqual(t, result.CheckNotice, c.State, "%s: %v %s", c.Name, c.Value, c.Sentence)
				}
				assert.Equal(t, result.CheckOK, find(out, "switch open").State)
				assert.Equal(t, result.CheckOK, find(out, "zero").State)
				supply := find(out, "supply")
				require.NotNil(t, supply.Value)
				assert.InDelta(t, b.profile.Supply.Nominal_V, *supply.Value, 0.03*b.profile.Supply.Nominal_V)
				if o.preCharge > 0 {
					assert.Equal(t, result.CheckOK, find(out, "contact test").State)
					assert.Equal(t, result.CheckOK, find(out, "drop to the plug").State)
					c := find(out, "input capacitor")
					require.NotNil(t, c.Value)
					assert.Greater(t, *c.Value, 50.0)
				}
				if o.second {
					assert.Equal(t, result.CheckOK, find(out, "first contact opens").State)
					assert.Equal(t, result.CheckOK, find(out, "second contact opens").State)
				}
				tr := out.Trace
				assert.False(t, out.Unbegun)
				assert.Less(t, tr.Time()[0], 0.001)
				assert.Zero(t, tr.Values(trace.ColSupplyOn)[0])
				var steps []string
				for _, e := range tr.Meta {
					if e.Key == "step" {
						steps = append(steps, strings.Fields(e.Value)[0])
					}
				}
				assert.Equal(t, []string{"zero", "quiet", "start"}, steps)
				lost, _ := tr.Get(trace.KeyLost)
				assert.Equal(t, "0", lost)
				assert.Empty(t, out.Warnings)
				assert.Empty(t, out.Doubts)
			})
		}
	}
}

// turning notes how fast a pump turns, step by step.
type turning struct {
	*simpump.Pump
	fastest float64
	wished  bool // its board wanted to run
}

func (p *turning) Step(dt time.Duration, src sim.Source, line sim.Line) (float64, float64) {
	i, v := p.Pump.Step(dt, src, line)
	p.fastest = max(p.fastest, math.Abs(p.Truth().Speed_rad_s))
	p.wished = p.wished || p.Truth().Run
	return i, v
}

// The rotor does not turn before the plan says so: its first start is the
// trace's.
func TestPretestDoesNotStartTheRotor(t *testing.T) {
	for _, name := range profiles.Builtins() {
		if text, _ := profiles.Builtin(name); !bytes.Contains(text, []byte("\n[pump]\n")) {
			continue // another kind's unit: this one looks into the pump's rotor
		}
		for _, o := range []contactOptions{{second: true, preCharge: 22}, {preCharge: 4.7}, {pulse: true}} {
			o.profile = name
			var unit *turning
			o.change = func(so *sim.Options) {
				unit = &turning{Pump: so.Unit.(*simpump.Pump)}
				so.Unit = unit
			}
			b := newContactBench(t, o)
			plan := few(b.profile)
			plan.Steps = plan.Steps[:2]
			out, err := Run(context.Background(), b.rig, plan, b.profile, Options{})
			require.NoError(t, err)
			require.Empty(t, out.Faults)
			assert.Zero(t, unit.fastest, name)
			assert.False(t, unit.wished, name)
			for _, k := range []struct{ check, missing string }{{"line low", b.profile.Command.Missing.Low}, {"line released", b.profile.Command.Missing.Open}} {
				looked := find(out, k.check).State != result.CheckUnlooked
				assert.Equal(t, o.preCharge > 0 && k.missing == "stop", looked, "%s, %s: a command that may start it is not taken away", name, k.check)
			}
			plan = few(b.profile)
			plan.Steps[2].Max, plan.Steps[2].Min, plan.Steps[2].Command_pct = 3*time.Second, 3*time.Second, 70
			_, err = Run(context.Background(), b.rig, plan, b.profile, Options{})
			require.NoError(t, err)
			assert.Positive(t, unit.fastest, "and this test would see it")
		}
	}
}

// Faults of bench, plug and wires are named before power stays on, and a unit
// is never blamed for what its wires may be.
func TestPretestFinds(t *testing.T) {
	alike := []result.Cause{result.ControlBoard}
	fuse := func(o *sim.Options) { o.Supply.Open_V = 0 }
	unit := func(u sim.Unit) func(*sim.Options) { return func(o *sim.Options) { o.Unit = u } }
	for _, c := range []struct {
		name  string
		o     contactOptions
		do    func(b *contactBench)
		cause result.Cause
		or    []result.Cause
		check string
		says  string
	}{
		{name: "second welded", o: contactOptions{second: true, preCharge: 22}, do: func(b *contactBench) { b.Second.SetFault(sim.SwitchWelded) },
			cause: result.Bench, check: "second contact opens", says: "the second contact is welded"},
		{name: "second welded, no pre-charge", o: contactOptions{second: true}, do: func(b *contactBench) { b.Second.SetFault(sim.SwitchWelded) },
			cause: result.Bench, check: "second contact opens", says: "the second contact is welded"},
		{name: "second welded, empty", o: contactOptions{second: true, change: unit(nil)}, do: func(b *contactBench) { b.Second.SetFault(sim.SwitchWelded) },
			cause: result.Bench, check: "second contact opens", says: "the second contact is welded"},
		{name: "second welded on a short", o: contactOptions{second: true, change: unit(&sim.Resistor{Ohm: 0.05})}, do: func(b *contactBench) { b.Second.SetFault(sim.SwitchWelded) },
			cause: result.Bench, check: "second contact opens", says: "the second contact is welded"},
		{name: "first welded", o: contactOptions{second: true, preCharge: 22}, do: func(b *contactBench) { b.Switch.SetFault(sim.SwitchWelded) },
			cause: result.Bench, check: "first contact opens", says: "the first contact is welded"},
		{name: "pre-charge welded beside the second", o: contactOptions{second: true, preCharge: 22}, do: func(b *contactBench) { b.PreCharge.SetFault(sim.SwitchWelded) },
			cause: result.Bench, check: "second contact opens", says: "or the pre-charge contact"},
		{name: "both welded", o: contactOptions{second: true}, do: func(b *contactBench) {
			b.Switch.SetFault(sim.SwitchWelded)
			b.Second.SetFault(sim.SwitchWelded)
		}, cause: result.Bench, check: "switch open", says: "both contacts are welded"},
		{name: "pre-charge welded", o: contactOptions{preCharge: 22}, do: func(b *contactBench) { b.PreCharge.SetFault(sim.SwitchWelded) },
			cause: result.Bench, check: "switch open", says: "pre-charge contact is welded"},
		{name: "pre-charge not closing", o: contactOptions{preCharge: 22}, do: func(b *contactBench) { b.PreCharge.SetFault(sim.SwitchNotClosing) },
			cause: result.Bench, check: "contact test", says: "neither voltage"},
		{name: "fuse blown", o: contactOptions{second: true, preCharge: 22, change: fuse}, cause: result.Bench, check: "contact test", says: "neither voltage"},
		{name: "second not closing", o: contactOptions{second: true, preCharge: 22}, do: func(b *contactBench) { b.Second.SetFault(sim.SwitchNotClosing) },
			cause: result.Bench, check: "drop to the plug", says: "does not close"},
		{name: "short", o: contactOptions{preCharge: 22, change: unit(&sim.Resistor{Ohm: 0.05})}, cause: result.Wiring, or: alike, check: "contact test", says: "shorted at the plug"},
		{name: "short, two contacts", o: contactOptions{second: true, preCharge: 10, change: unit(&sim.Resistor{Ohm: 0.05})}, cause: result.Wiring, or: alike, check: "contact test", says: "shorted at the plug"},
		{name: "partial short", o: contactOptions{preCharge: 10, change: unit(&sim.Resistor{Ohm: 2.5})}, cause: result.Wiring, or: alike, check: "contact test", says: "partial short"},
		{name: "diode", o: contactOptions{preCharge: 22, change: unit(diode{0.05})}, cause: result.Wiring, or: alike, check: "contact test", says: "plus and minus are exchanged"},
		{name: "reversed pump", o: contactOptions{preCharge: 22, fault: "reversed"}, cause: result.Wiring, or: alike, check: "contact test", says: "shorted"},
		{name: "input short", o: contactOptions{preCharge: 22, fault: "input-short"}, cause: result.Wiring, or: alike, check: "contact test", says: "input"},
		{name: "short under a pulse", o: contactOptions{pulse: true, change: unit(&sim.Resistor{Ohm: 0.05})}, cause: result.Wiring, or: alike, check: "contact test", says: "shorted"},
		{name: "short under a pulse through a relay", o: contactOptions{pulse: true, relay: 20 * ms, change: unit(&sim.Resistor{Ohm: 0.05})}, cause: result.Wiring, or: alike, check: "contact test", says: "shorted"},
		{name: "sense wires open", o: contactOptions{preCharge: 22}, do: senseOff(t), cause: result.Wiring, check: "contact test", says: "sense wires are open"},
		{name: "sense wires open under a pulse", o: contactOptions{pulse: true}, do: senseOff(t), cause: result.Wiring, check: "contact test", says: "sense wires are open"},
		{name: "short on a supply that folds back", o: contactOptions{pulse: true, change: func(o *sim.Options) {
			o.Unit, o.Supply.Limit_A, o.Supply.FoldBack = &sim.Resistor{Ohm: 0.05}, 4, 0.9
		}}, cause: result.Wiring, or: alike, check: "contact test", says: "shorted at the plug"},
		{name: "diode under a pulse", o: contactOptions{pulse: true, change: unit(diode{0.01})}, cause: result.Wiring, or: alike, check: "contact test", says: "exchanged"},
		{name: "24 V", o: contactOptions{preCharge: 22, change: func(o *sim.Options) { o.Supply.Open_V = 26 }}, cause: result.Bench, check: "contact test", says: "at most"},
		{name: "supply too low", o: contactOptions{preCharge: 22, change: func(o *sim.Options) { o.Supply.Open_V = 7 }}, cause: result.Bench, check: "supply", says: "ask for"},
		{name: "supply too low under a pulse", o: contactOptions{pulse: true, change: func(o *sim.Options) { o.Supply.Open_V = 7 }}, cause: result.Bench, check: "supply", says: "ask for"},
		{name: "poor contact", o: contactOptions{preCharge: 22, change: func(o *sim.Options) { o.Supply.Ohm = 60 }}, cause: result.Wiring, check: "drop to the plug", says: "in the supply's way"},
		{name: "line stuck high", o: contactOptions{preCharge: 22, change: func(o *sim.Options) { o.Wire.Fault = sim.WireStuckHigh }}, cause: result.Wiring, check: "line low", says: "shorted to the supply"},
		{name: "line open before the plug", o: contactOptions{preCharge: 22, change: func(o *sim.Options) { o.Wire.Fault = sim.WireOpen }}, cause: result.Wiring, check: "line low", says: "does not reach"},
		{name: "line stuck low", o: contactOptions{preCharge: 22, change: func(o *sim.Options) { o.Wire.Fault = sim.WireStuckLow }}, cause: result.Wiring, or: alike, check: "line released", says: "shorted to ground"},
		{name: "line stuck low, runs without command", o: contactOptions{profile: "aux-pump-60w", preCharge: 22, change: func(o *sim.Options) { o.Wire.Fault = sim.WireStuckLow }},
			cause: result.Wiring, or: alike, check: "line at stop", says: "shorted to ground"},
		{name: "line stuck high, seen at the quiet step", o: contactOptions{pulse: true, change: func(o *sim.Options) { o.Wire.Fault = sim.WireStuckHigh }}, cause: result.Wiring, check: "line at stop", says: "shorted to the supply"},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := newContactBench(t, c.o)
			if c.do != nil {
				c.do(b)
			}
			out := b.run(t)
			require.NotEmpty(t, out.Faults, "%+v", out.Checks)
			f := out.Faults[0]
			assert.Equal(t, c.cause, f.Cause, f.Sentence)
			assert.Equal(t, c.or, f.Or, f.Sentence)
			assert.Equal(t, len(c.or) > 0, f.Apart != "")
			assert.NotEmpty(t, f.Next)
			assert.Contains(t, f.Sentence, c.says)
			k := find(out, c.check)
			if c.name != "24 V" {
				assert.Equal(t, result.CheckFailed, k.State, "%+v", out.Checks)
			}
			assert.NotEmpty(t, out.Ended)
			for _, m := range out.Trace.Meta {
				if m.Key == "step" {
					assert.NotContains(t, m.Value, "start")
				}
			}
			assert.Positive(t, out.Trace.Len(), "what was measured is kept")
		})
	}
}

// senseOff takes the sense wires of the supply off the plug.
func senseOff(t *testing.T) func(*contactBench) {
	return func(b *contactBench) { require.NoError(t, b.Arm(sim.Armed{Name: "supply-sense", Severity: 1})) }
}

// What is to be looked at where no supply comes is what the rig has.
func TestNoSupplyNamesTheRigsParts(t *testing.T) {
	for _, c := range []struct {
		o         contactOptions
		says, not string
	}{
		{contactOptions{pulse: true}, "plug: fuse, emergency stop, heartbeat relay, switch and wires", "resistor"},
		{contactOptions{preCharge: 22, second: true}, "plug: fuse, emergency stop, heartbeat relay, switch 1, switch 2, pre-charge contact, its resistor and wires", "shunt"},
	} {
		c.o.describe = func(d *rig.Description) {
			d.Name, d.LinePin.Series_Ohm, d.Heartbeat = "own", 470, &rig.Heartbeat{Pin: "GPIO27", Frequency_Hz: 100, Hold: 100 * ms}
			d.Bench = rig.BenchLimits{SupplyLow_V: 9, SupplyHigh_V: 16, Fuse_A: 15, Current_A: 12}
		}
		c.o.change = func(o *sim.Options) { o.Supply.Open_V = 0 }
		out := newContactBench(t, c.o).run(t)
		require.NotEmpty(t, out.Faults)
		assert.Contains(t, out.Faults[0].Next, c.says)
		assert.NotContains(t, out.Faults[0].Next, c.not)
	}
}

// Nothing is held against an open socket but a remark, and the trace goes on
// to say what it says.
func TestPretestOfAnOpenSocket(t *testing.T) {
	b := newContactBench(t, contactOptions{preCharge: 22, change: func(o *sim.Options) { o.Unit = nil }})
	b.profile.Command.PullUp_V, b.profile.Command.PullUp_Ohm = 0, 0
	out := b.run(t)
	assert.Empty(t, out.Faults)
	c := find(out, "contact test")
	assert.Equal(t, result.CheckNotice, c.State)
	assert.Contains(t, c.Sentence, "nothing is plugged in")
}

// A board that is dead leaves its capacitor charged: that is no welded switch.
func TestPretestOfADeadBoard(t *testing.T) {
	b := newContactBench(t, contactOptions{preCharge: 22, fault: "board-dead"})
	out := b.run(t)
	for _, f := range out.Faults {
		assert.NotContains(t, f.Sentence, "welded", "%+v", out.Checks)
	}
}
