package rig_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/rig"
	"dutybench/bench/sim"
)

// A check of the bench sees whether the load switch opens and closes: one on the
// high side by itself, one on the low side with something that lifts its wire.
func TestLoadSwitchIsProved(t *testing.T) {
	resistor := func() sim.TwoWire { return &sim.Coil{Ohm: 10e3, Henry: 1e-3} }
	for name, c := range map[string]struct {
		high, empty bool
		fault       func(*sim.Driver)
		what        string
		state       rig.State
		found       string
	}{
		"low":          {what: "load switch, open", state: rig.OK, found: "13.5"},
		"low, welded":  {fault: func(d *sim.Driver) { d.StuckOn = true }, what: "load switch, closed", state: rig.Attention, found: "conducts while open"},
		"low, dead":    {fault: func(d *sim.Driver) { d.StuckOff = true }, what: "load switch, closed", state: rig.Missing, found: "while it is closed"},
		"low, empty":   {empty: true, what: "load switch, closed", state: rig.Attention, found: "nothing lifts its wire"},
		"high":         {high: true, what: "load switch, closed", state: rig.OK, found: "13.5"},
		"high, empty":  {high: true, empty: true, what: "load switch, open", state: rig.OK, found: "0.0"},
		"high, welded": {high: true, empty: true, fault: func(d *sim.Driver) { d.StuckOn = true }, what: "load switch, open", state: rig.Missing, found: "while it is open"},
		"high, dead":   {high: true, empty: true, fault: func(d *sim.Driver) { d.StuckOff = true }, what: "load switch, closed", state: rig.Missing, found: "at its wire"},
	} {
		t.Run(name, func(t *testing.T) {
			d, o := fast(false)
			d.Load.HighSide, d.Current.LowSide = c.high, c.high
			o.Ideal, o.Driver = true, sim.DefaultDriver()
			o.Driver.HighSide = c.high
			if c.fault != nil {
				c.fault(&o.Driver)
			}
			if !c.empty {
				o.TwoWire = resistor()
			}
			r, b := openSwitched(t, d, o)
			list, err := r.Prove(&d, 0)
			require.NoError(t, err)
			found := false
			for _, l := range list {
				if l.What == c.what {
					found = true
					assert.Equal(t, c.state, l.State, l.Found)
					assert.Contains(t, l.Found, c.found)
					assert.Equal(t, c.state == rig.OK, l.Next == "")
				}
			}
			assert.True(t, found, "%s is looked at: %v", c.what, list)
			assert.False(t, b.World.Energised())
			share, _ := b.World.LoadTold()
			assert.Zero(t, share, "it is left open")
			f, err := r.MeasureFloor(&d, 200e6)
			require.NoError(t, err)
			for _, l := range f.Looks(&d) {
				if l.What == "load switch's wire" || l.What == "position input" || l.What == "lost samples" {
					assert.Equal(t, rig.OK, l.State, l)
				}
			}
		})
	}
}

// What the description alone says of the load switch.
func TestLoadIsLookedAt(t *testing.T) {
	b := sim.NewBench(sim.Options{})
	b.Kernel.PWM.Call("fe20c000.pwm")
	d, err := actuators(t)
	require.NoError(t, err)
	state := func(d rig.Description, what string) (rig.State, string) {
		for _, l := range d.Looks(b.Tree()) {
			if l.What == what {
				return l.State, l.Found
			}
		}
		return "", ""
	}
	s, found := state(d, "free-wheel path")
	assert.Equal(t, rig.OK, s)
	assert.Contains(t, found, "reads the unit's own")
	s, _ = state(d, "load switch's PWM")
	assert.Equal(t, rig.OK, s)
	e := d
	l := *d.Load
	l.Channel, l.Level, l.FreeWheel, l.Seen = 2, nil, rig.FreeWheelNone, false
	e.Load = &l
	s, found = state(e, "load switch's PWM")
	assert.Equal(t, rig.Missing, s)
	assert.Contains(t, found, "asks for 2")
	s, _ = state(e, "load switch's wire")
	assert.Equal(t, rig.Attention, s)
	s, found = state(e, "free-wheel path")
	assert.Equal(t, rig.Attention, s)
	assert.Contains(t, found, "reads the supply's")

	for _, l := range rig.TryParts(b, &d) {
		if l.What == "load switch" {
			assert.Equal(t, rig.OK, l.State, l)
			s = "tried"
		}
	}
	assert.Equal(t, rig.State("tried"), s)
}
