package rig_test

import (
	"errors"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/physic"

	"dutybench/bench/guard"
	"dutybench/bench/rig"
	"dutybench/bench/sim"
)

// arm is a coil that tells its position in both ways.
type arm struct {
	sim.Coil
	volt, hertz, high float64
}

func (a *arm) Position() (volt, ohm float64)        { return a.volt, 0 }
func (a *arm) Return() (frequency_Hz, high float64) { return a.hertz, a.high }

// slow is the usual rig with what the voltage converter's four inputs leave room
// for: position and load switch in the place of the thermistor.
func slow(byPWM bool) (rig.Description, sim.Options) {
	d := rig.Default()
	d.Temperature = nil
	divider := d.Supply.Divider
	d.Position = &rig.PositionInput{Sense: &rig.Sense{Channel: 2, Divider: divider}}
	if byPWM {
		d.Position = &rig.PositionInput{Edges: &rig.Input{Pin: "RETURN", Pull: "up"}}
	}
	d.Load = rig.DefaultFast(3).Load
	d.Load.Level.Channel = 3
	return d, sim.Options{PositionInput: 2, NodeInput: 3}
}

func fast(byPWM bool) (rig.Description, sim.Options) {
	d := rig.DefaultFast(3)
	if byPWM {
		d.Position = &rig.PositionInput{Edges: &rig.Input{Pin: "RETURN", Pull: "up"}}
	}
	return d, sim.Options{Current: sim.CurrentMCP3208, Shunt_Ohm: d.Current.Shunt_Ohm}
}

func openSwitched(t testing.TB, d rig.Description, o sim.Options) (*rig.Rig, *sim.Bench) {
	t.Helper()
	b := sim.NewBench(o)
	r, err := rig.New(rig.Sim, b, d, rig.Options{Stands: true})
	require.NoError(t, err)
	return r, b
}

// seenOf is what a second of sampling gave.
type seenOf struct {
	n, lost, other, supply, line, position, node, warm int
	positions, nodes                                   float64 // means
	longestNode                                        time.Duration
}

func watch(t testing.TB, r *rig.Rig, long time.Duration) (c seenOf) {
	t.Helper()
	var s rig.Sample
	var lastNode time.Duration
	for begun := r.Clock.Now(); r.Clock.Now() < begun+long; {
		require.NoError(t, r.Sampler.Next(&s))
		c.n++
		c.lost += s.Lost
		c.other += s.Other
		for _, x := range []struct {
			v float64
			n *int
		}{{s.Supply_V, &c.supply}, {s.Line_V, &c.line}, {s.Position, &c.position}, {s.Node_V, &c.node}, {s.Temperature_C, &c.warm}} {
			if !math.IsNaN(x.v) {
				*x.n++
			}
		}
		if !math.IsNaN(s.Position) {
			c.positions += (s.Position - c.positions) / float64(c.position)
		}
		if !math.IsNaN(s.Node_V) {
			c.nodes += (s.Node_V - c.nodes) / float64(c.node)
			if c.node > 1 {
				c.longestNode = max(c.longestNode, s.At-lastNode)
			}
			lastNode = s.At
		}
	}
	return c
}

// What position and load switch cost. On SPI each reading of another channel
// takes the place of one of the current, and is no loss; on I²C none does, as the
// voltages have a converter of their own, and each comes the more seldom.
func TestPositionAndNodeAreSampled(t *testing.T) {
	type want struct{ supply, line, position, node, other int }
	for name, c := range map[string]struct {
		make func(bool) (rig.Description, sim.Options)
		want want
		pace time.Duration
		most time.Duration // between two readings of the node
	}{
		"SPI":                {fast, want{100, 50, 200, 200, 558}, 0, 6 * time.Millisecond},
		"SPI, node 1 ms":     {fast, want{100, 50, 200, 1000, 1358}, time.Millisecond, 1300 * time.Microsecond},
		"SPI, node quickest": {fast, want{100, 50, 200, 3920, 4270}, 1, 500 * time.Microsecond},
		"I2C":                {slow, want{107, 107, 107, 107, 0}, 0, 10 * time.Millisecond},
		"I2C, node quickest": {slow, want{71, 71, 71, 213, 0}, 1, 5 * time.Millisecond},
	} {
		t.Run(name, func(t *testing.T) {
			d, o := c.make(false)
			o.Seed, o.TwoWire = 4, &arm{Coil: sim.Coil{Ohm: 10, Henry: 0.01, Temp_C: 20}, volt: 3}
			r, _ := openSwitched(t, d, o)
			assert.Equal(t, rig.PositionByVoltage, r.PositionBy)
			require.NoError(t, r.Switch.Set(guard.First, time.Minute))
			require.NoError(t, r.Sampler.Start())
			pacer, ok := r.Sampler.(rig.NodePacer)
			require.True(t, ok)
			require.True(t, pacer.PaceNode(c.pace))
			got := watch(t, r, time.Second)
			per := func(want, got int, what string) {
				assert.InDelta(t, want, got, 0.05*float64(want)+2, what)
			}
			per(c.want.supply, got.supply, "supply")
			per(c.want.line, got.line, "line")
			per(c.want.position, got.position, "position")
			per(c.want.node, got.node, "node")
			per(c.want.other, got.other, "conversions of other channels")
			assert.Zero(t, got.lost)
			assert.Less(t, got.longestNode, c.most)
			a := r.Accuracy
			assert.InDelta(t, 3, got.positions, 3*(3*a.PositionGain+a.PositionOffset_V))
			assert.InDelta(t, 13.5, got.nodes, 0.1, "an open switch: the unit lifts the wire to the supply")
			require.NoError(t, r.Load.Drive(100, 0))
			watch(t, r, 100*time.Millisecond)
			assert.InDelta(t, 0.013, watch(t, r, time.Second).nodes, 0.02, "closed")
			pacer.PaceNode(0)
			s := rig.Sample{}
			assert.Zero(t, testing.AllocsPerRun(1000, func() { _ = r.Sampler.Next(&s) }))
		})
	}
	r, _ := open(t, sim.Options{})
	assert.False(t, r.Sampler.(rig.NodePacer).PaceNode(time.Millisecond), "a rig without such a wire says so")
}

// A position by PWM is the high share over whole periods; a steady level is an
// end of it, and so is a broken wire: the rig's pull-up lifts it.
func TestPositionByPWM(t *testing.T) {
	for name, make := range map[string]func(bool) (rig.Description, sim.Options){"SPI": fast, "I2C": slow} {
		for _, c := range []struct{ hertz, high, want float64 }{{200, 0.25, 25}, {100, 0.999, 99.9}, {1000, 0.6, 60}, {50, 0.05, 5}, {300, 1, 100}, {0, 0, 0}} {
			d, o := make(true)
			u := &arm{Coil: sim.Coil{Ohm: 10, Henry: 0.01}, hertz: c.hertz, high: c.high}
			o.Seed, o.TwoWire = 5, u
			r, b := openSwitched(t, d, o)
			assert.Equal(t, rig.PositionByPWM, r.PositionBy)
			require.NoError(t, r.Sampler.Start())
			got := watch(t, r, time.Second)
			assert.InDelta(t, c.want, got.positions, 1e-3, "%s, %+v", name, c)
			assert.GreaterOrEqual(t, got.position, 45, "%s, %+v", name, c)
			assert.LessOrEqual(t, got.position, 201)
			u.high = 0.5 // it moves: the next reading is of the new place alone
			if c.hertz > 0 && c.high < 1 {
				watch(t, r, 50*time.Millisecond)
				assert.InDelta(t, 50, watch(t, r, 200*time.Millisecond).positions, 1e-3)
			}
			require.NoError(t, b.Arm(sim.Armed{Name: "position-open", Severity: 1}))
			watch(t, r, 300*time.Millisecond)
			assert.Equal(t, 100.0, watch(t, r, 300*time.Millisecond).positions, "%s, %+v", name, c)
			var s rig.Sample
			assert.Zero(t, testing.AllocsPerRun(500, func() { _ = r.Sampler.Next(&s) }))
			require.NoError(t, r.Close())
		}
	}
}

// The load switch does what it is told and nothing that it may not do, and is
// open whatever else fails.
func TestLoadSwitch(t *testing.T) {
	d, o := fast(false)
	o.TwoWire = &sim.Coil{Ohm: 10, Henry: 0.01}
	r, b := openSwitched(t, d, o)
	require.NoError(t, r.Switch.Set(guard.First, time.Minute))
	facts := map[string]string{}
	for _, f := range r.Facts {
		facts[f.Key] = f.Value
	}
	assert.Equal(t, "low side, free-wheel diode across the plug, 50 Hz to 25 kHz; the shunt sees the free-wheel current: it reads the unit's own", facts["load switch"])
	assert.Contains(t, facts["position"], "MCP3208 CH5, divider 100kΩ over 10kΩ, steps of 8.86 mV")
	for _, c := range []struct {
		duty float64
		f    physic.Frequency
		ok   bool
	}{
		{0, 0, true}, {100, 0, true}, {50, 50 * physic.Hertz, true}, {50, 25 * physic.KiloHertz, true}, {0.01, physic.KiloHertz, true},
		{50, 0, false}, {50, 49 * physic.Hertz, false}, {50, 26 * physic.KiloHertz, false}, {-1, physic.KiloHertz, false}, {101, physic.KiloHertz, false}, {math.NaN(), physic.KiloHertz, false},
	} {
		err := r.Load.Drive(c.duty, c.f)
		assert.Equal(t, c.ok, err == nil, "%g %% at %v: %v", c.duty, c.f, err)
	}
	require.NoError(t, r.Load.Drive(100, 0))
	r.Clock.Sleep(20 * time.Millisecond)
	b.World.Node_V() // brings the unit up to now
	assert.InDelta(t, 13.5/10.05, b.World.Body_A(), 1e-3)
	require.NoError(t, r.Close())
	r.Clock.Sleep(50 * time.Millisecond)
	b.World.Node_V()
	assert.Zero(t, b.World.Body_A(), "closing the rig opens it")

	// Something else fails when the rig is opened: it is open before that.
	require.NoError(t, b.Load.Out(gpio.High))
	b.Line.Err = errors.New("held")
	_, err := rig.New(rig.Sim, b, d, rig.Options{})
	require.ErrorIs(t, err, b.Line.Err)
	assert.Equal(t, gpio.Low, b.Load.Read())
	b.Line.Err, b.Load.Err = nil, errors.New("held")
	_, err = rig.New(rig.Sim, b, d, rig.Options{})
	require.ErrorContains(t, err, "load switch")

	// A process that dies leaves it to who cleans up.
	b.Load.Err = nil
	require.NoError(t, b.Load.PWM(gpio.DutyHalf, physic.KiloHertz))
	require.NoError(t, rig.ReleaseLine(b, &d))
	assert.Equal(t, gpio.Low, b.Load.Read())

	// Without a diode it is for steady levels.
	d.Load.FreeWheel, d.Load.HighestFrequency_Hz, d.Load.LowestFrequency_Hz = rig.FreeWheelNone, 0, 0
	d.Load.Clamp = rig.Clamp{Volt: 60, Joule: 100, Henry: 0.01}
	r, _ = openSwitched(t, d, o)
	require.NoError(t, r.Load.Drive(100, physic.KiloHertz))
	require.ErrorContains(t, r.Load.Drive(50, physic.KiloHertz), "0 % and 100 % only")
}

// What one opening leaves in a switch without a diode, against the bench: the
// voltage across it times the current through it, summed over its fall.
func TestOpeningEnergy(t *testing.T) {
	clamp := rig.Clamp{Volt: 60, Joule: 1, Henry: 0.010}
	drive := sim.DefaultDriver()
	drive.Diode = false
	b := sim.NewBench(sim.Options{Ideal: true, Driver: drive, Supply: sim.Supply{Open_V: 12, Ohm: 1e-6}, TwoWire: &sim.Coil{Ohm: 0.01, Henry: clamp.Henry}})
	require.NoError(t, b.Switch.Out(gpio.High))
	require.NoError(t, b.Load.Out(gpio.High))
	b.Clock().Sleep(5 * time.Millisecond)
	b.World.Node_V()
	from := b.World.Body_A()
	require.InDelta(t, 6, from, 0.2) // 12 V on 10 mH for 5 ms
	require.NoError(t, b.Load.Out(gpio.Low))
	sum := 0.0
	for range 5000 {
		b.Clock().Sleep(time.Microsecond)
		v := b.World.Node_V()
		sum += v * b.World.Body_A() * 1e-6
	}
	assert.Zero(t, b.World.Body_A())
	assert.InDelta(t, clamp.Opening_J(from, 12), sum, 0.02*sum)
	assert.InDelta(t, 0.5*0.010*from*from*60/48, sum, 0.02*sum)
}
