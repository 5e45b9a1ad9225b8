package run

import (
	"context"
	"errors"
	"math"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/guard"
	"dutybench/bench/result"
	"dutybench/bench/rig"
	"dutybench/bench/sim"
)

// The pulse is short, and what flows through the resistor little.
func TestPretestIsOfLimitedEnergy(t *testing.T) {
	for name, o := range map[string]contactOptions{
		"pre-charge": {preCharge: 22, change: func(o *sim.Options) { o.Unit = &sim.Resistor{Ohm: 0.05} }},
		"pulse":      {pulse: true, change: func(o *sim.Options) { o.Unit = &sim.Resistor{Ohm: 0.05} }},
	} {
		b := newContactBench(t, o)
		b.run(t)
		// A short takes at most V/R for a second, or the supply's 30 A for
		// milliseconds.
		assert.Less(t, b.World.Charge_As(), 0.8, name)
		if name == "pulse" {
			assert.Less(t, b.World.Charge_As(), 0.35)
		}
	}
}

// The main contacts stay closed for milliseconds.
func TestPulseIsShort(t *testing.T) {
	b := newContactBench(t, contactOptions{pulse: true})
	plan := few(b.profile)
	var pulse time.Duration
	_, err := Run(context.Background(), b.rig, plan, b.profile, Options{Progress: func(p Progress) {
		if p.Step == "zero" {
			pulse = b.watched.longest
		}
	}})
	require.NoError(t, err)
	assert.Greater(t, pulse, pulseTime)
	assert.Less(t, pulse, 3*pulseTime)
}

// capacitor is a unit of which nothing works but its capacitor, which only the
// bench's sense wires discharge.
type capacitor struct {
	farad, leak_Ohm, volt float64
}

func (c *capacitor) Step(dt time.Duration, src sim.Source, _ sim.Line) (float64, float64) {
	was := c.volt
	if src.On {
		c.volt += (src.Open_V - c.volt) * -math.Expm1(-dt.Seconds()/(src.Ohm*c.farad))
	}
	c.volt *= math.Exp(-dt.Seconds() / (c.leak_Ohm * c.farad))
	if !src.On {
		return 0, c.volt
	}
	return (c.volt - was) * c.farad / dt.Seconds(), c.volt
}
func (*capacitor) PullUp() (open_V, ohm float64) { return 0, 0 }
func (*capacitor) Temperature() float64          { return 20 }

// A charge that nothing takes away is no welded switch, and one that stays
// is.
func TestPretestLeavesACharge(t *testing.T) {
	dead := func(o *sim.Options) { o.Unit = &capacitor{farad: 470e-6, leak_Ohm: 110e3} }
	b := newContactBench(t, contactOptions{preCharge: 22, change: dead})
	b.profile.Command.PullUp_V, b.profile.Command.PullUp_Ohm = 0, 0
	out := b.run(t)
	assert.Empty(t, out.Faults, "%+v", out.Checks)
	assert.Equal(t, result.CheckNotice, find(out, "switch open").State)
	c := find(out, "input capacitor")
	require.NotNil(t, c.Value)
	assert.InDelta(t, 470, *c.Value, 0.1*470)
	assert.Contains(t, strings.Join(out.Warnings, " "), "still held")

	b = newContactBench(t, contactOptions{preCharge: 22, change: dead})
	b.profile.Command.PullUp_V, b.profile.Command.PullUp_Ohm = 0, 0
	b.watched.onSet = func(p guard.Path) {
		if p == guard.PreCharge {
			b.PreCharge.SetFault(sim.SwitchWelded)
		}
	}
	out = b.run(t)
	require.NotEmpty(t, out.Faults)
	assert.Contains(t, out.Faults[0].Sentence, "welded")
}

// Whenever the bus dies, the supply is off at the end: at every transaction of
// the pre-test and beyond it, on every kind of rig.
func TestPretestNeverLeavesSupplyOn(t *testing.T) {
	for name, o := range map[string]contactOptions{
		"two and pre-charge": {second: true, preCharge: 22},
		"pulse":              {pulse: true},
	} {
		whole := newContactBench(t, o)
		whole.run(t)
		total := whole.I2C.Count()
		gone := errors.New("bus gone")
		stride := 997 // prime to the samplers' turns, so that each kind of transaction is met
		if os.Getenv("DUTYBENCH_CAMPAIGN") == "full" {
			stride = 1
		}
		// What fails once the supply is off for good is a warning only.
		for n := 1; n < total-2500; n += stride {
			b := newContactBench(t, o)
			b.I2C.FailAfter(n, gone)
			out, err := Run(context.Background(), b.rig, few(b.profile), b.profile, Options{})
			require.ErrorIs(t, err, gone, "%s, %d", name, n)
			require.Equal(t, guard.NoPath, b.watched.now, "%s, %d", name, n)
			require.False(t, b.World.Energised(), "%s, %d", name, n)
			require.NotNil(t, out.Trip)
			require.Equal(t, guard.RigFailed, out.Trip.Rule)
			require.Len(t, out.Faults, 1)
			require.Equal(t, result.Bench, out.Faults[0].Cause)
		}
	}
}

// The stop input, a cancelled test and a hung reader end it within the lease.
func TestPretestEnds(t *testing.T) {
	for at := 50 * ms; at < 1200*ms; at += 173 * ms {
		b := newContactBench(t, contactOptions{second: true, preCharge: 22})
		b.World.At(b.rig.Clock.Now()+at, func() { b.Stop.Pressed = true })
		out := b.run(t)
		require.NotNil(t, out.Trip)
		require.Equal(t, guard.StopPressed, out.Trip.Rule)

		b = newContactBench(t, contactOptions{second: true, preCharge: 22})
		ctx, cancel := context.WithCancel(context.Background())
		b.World.At(b.rig.Clock.Now()+at, cancel)
		b.World.At(b.rig.Clock.Now()+at+5*ms, func() { require.False(t, b.World.Energised()) })
		_, err := Run(ctx, b.rig, few(b.profile), b.profile, Options{})
		require.ErrorIs(t, err, context.Canceled)
		require.Equal(t, guard.NoPath, b.watched.now)
		cancel()

		b = newContactBench(t, contactOptions{second: true, preCharge: 22})
		from := b.rig.Clock.Now() + at
		b.World.At(from, func() { b.I2C.Hang = 5 * time.Second })
		b.World.At(from+time.Second, func() { b.I2C.Hang = 0; require.False(t, b.World.Energised()) })
		b.run(t)
	}
}

// A rig that has nothing to test with is left alone: its trace is what it was.
func TestNoPretestWithoutContacts(t *testing.T) {
	b := newContactBench(t, contactOptions{})
	b.run(t)
	for _, p := range b.watched.closed {
		assert.Equal(t, guard.First, p)
	}
	assert.Len(t, b.watched.closed, 1, "closed once, for the plan")
}

func TestPlugStates(t *testing.T) {
	nan := math.NaN()
	base := charging{nominal_V: 13.5, most_A: 8, nought_A: 0.02, ohm: 22, charge_C: 0.01, least_C: 1e-4, peak_A: 0.6}
	for _, c := range []struct {
		name                   string
		volt, amps, peak, coul float64
		want                   plugState
	}{
		{"pump at rest", 12.6, 0.04, 0.6, 0.01, plugWhole},
		{"short", 0.02, 0.61, 0.61, 0, plugShort},
		{"diode", 0.8, 0.57, 0.6, 0, plugReversed},
		{"two diodes", 1.5, 0.54, 0.6, 0, plugReversed},
		{"crossed before the sense wires", -0.8, 0.57, 0.6, 0, plugCrossed},
		{"crossed, converter blind below nought", 0, 0.57, 0.6, 0, plugShort},
		{"half an ohm to ground", 2.9, 0.48, 0.5, 0, plugHeavy + 0},
		{"nothing comes", 0.01, 0, 0.01, 0, plugDead},
		{"sense wires open", 0.01, 0.005, 0.6, 0.01, plugUnread},
		{"sense wires open, unit at rest", 0.01, 0.09, 0.6, 0.01, plugUnreadQuiet},
		{"open socket", 13.5, 0, 0.01, 0, plugOpen},
		{"no sense wires, short", nan, 0.6, 0.6, 0, plugBlindShort},
		{"no sense wires, fine", nan, 0.03, 0.6, 0.01, plugBlind},
	} {
		k := base
		k.plug_V, k.current_A, k.peak_A, k.charge_C = c.volt, c.amps, c.peak, c.coul
		if c.name == "half an ohm to ground" {
			k.most_A = 2 // 6 Ω would take 2.2 A at nominal supply
		}
		assert.Equal(t, c.want, k.plug(), c.name)
	}
	// Through the main contacts: the quiet current is no short, what a supply
	// still gives when it folds back is one.
	k := base
	k.ohm, k.plug_V, k.most_A = 0, 0, 9
	for amps, want := range map[float64]plugState{0.0628: plugUnreadQuiet, 0.09: plugUnreadQuiet, 0.9: plugShort, 3: plugShort, 24: plugShort} {
		k.current_A, k.peak_A = amps, 24
		assert.Equal(t, want, k.plug(), "%g A", amps)
	}
	long, short := chargeTimes(22, 0.05, 13.5) // 81 ms
	assert.InDelta(t, 0.65, long.Seconds(), 0.01)
	assert.InDelta(t, 0.163, short.Seconds(), 0.01)
	long, short = chargeTimes(22, 0, 13.5)
	assert.Equal(t, 100*ms, long)
	assert.Equal(t, 60*ms, short)
}

// What wires and unit show alike is left undecided between them.
func TestMergeOfWhatLooksAlike(t *testing.T) {
	b := newContactBench(t, contactOptions{preCharge: 22, change: func(o *sim.Options) { o.Unit = &sim.Resistor{Ohm: 0.05} }})
	out := b.run(t)
	require.True(t, out.Unbegun)
	bench := result.Bench
	judged := Unjudged(out.Trace, b.profile)
	judged.Cause, judged.Findings, judged.Verdict = &bench, []result.Finding{{Name: "x"}}, result.Undecided
	r := Merge(judged, out)
	assert.Equal(t, result.Undecided, r.Verdict)
	assert.Empty(t, r.Findings, "the trace is no test of the unit")
	assert.Equal(t, "pump", r.Kind)
	assert.Equal(t, b.profile.Name, r.Profile.Name)
	assert.Equal(t, []result.Cause{result.Wiring, result.ControlBoard}, r.Inseparable)
	assert.Equal(t, 4, r.Exit(), "the unit is not cleared either")
	assert.NotEmpty(t, r.SeparatedBy)
	assert.NotEmpty(t, r.NextStep)
	sum := 0.0
	for _, c := range r.Causes {
		sum += c.Probability
	}
	assert.InDelta(t, 1, sum, 1e-9)
	assert.Equal(t, out.Checks, r.Checks)

	b = newContactBench(t, contactOptions{second: true, preCharge: 22})
	b.Second.SetFault(sim.SwitchWelded)
	out = b.run(t)
	r = Merge(Unjudged(out.Trace, b.profile), out)
	assert.Equal(t, 5, r.Exit())
	assert.Empty(t, r.Inseparable)
}

// A guard of one part of the pre-test opens nothing in the next: on a bench
// so slow that a part outlasts the lease of the one before.
func TestPretestPartsDoNotMeet(t *testing.T) {
	b := newContactBench(t, contactOptions{second: true, preCharge: 22, relay: 150 * ms})
	opened := 0
	b.watched.onSet = func(p guard.Path) {
		if p == guard.NoPath {
			opened++
		}
	}
	out := b.run(t)
	assert.Empty(t, out.Faults, "%+v", out.Checks)
	assert.Equal(t, result.CheckOK, find(out, "drop to the plug").State)
	c := find(out, "drop to the plug")
	assert.InDelta(t, 0, *c.Value, 0.1)
	assert.Less(t, opened, 20)
}

// Without sense wires at the plug the current alone tells a short from a unit.
func TestPretestWithoutSenseWires(t *testing.T) {
	blind := func(o contactOptions) *Outcome {
		b := newContactBench(t, o)
		b.rig.Sampler = &flaky{Sampler: b.rig.Sampler, then: func(_ int, s *rig.Sample) { s.Supply_V = math.NaN() }}
		return b.run(t)
	}
	short := func(o *sim.Options) { o.Unit = &sim.Resistor{Ohm: 0.05} }
	for name, o := range map[string]contactOptions{"pre-charge": {second: true, preCharge: 22}, "pulse": {pulse: true}} {
		out := blind(o)
		assert.Empty(t, out.Faults, "%s: %+v", name, out.Checks)
		assert.Equal(t, result.CheckUnlooked, find(out, "contact test").State, name)
		assert.Equal(t, result.CheckUnlooked, find(out, "supply").State, name)
		assert.Equal(t, result.CheckUnlooked, find(out, "switch open").State, name)

		o.change = short
		out = blind(o)
		require.Len(t, out.Faults, 1, name)
		assert.Equal(t, result.Wiring, out.Faults[0].Cause)
		assert.Equal(t, []result.Cause{result.ControlBoard}, out.Faults[0].Or)
		assert.Contains(t, out.Faults[0].Sentence, "shorted", name)
	}
}
