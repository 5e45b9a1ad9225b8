package main

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/rig"
	"dutybench/bench/sim"
)

// looked finds a look by what was looked at.
func looked(list []rig.Look, what string) *rig.Look {
	for i := range list {
		if list[i].What == what {
			return &list[i]
		}
	}
	return nil
}

func worst(list []rig.Look) rig.State {
	out := rig.OK
	for _, l := range list {
		if l.State == rig.Missing || l.State == rig.Attention && out == rig.OK {
			out = l.State
		}
	}
	return out
}

// A whole bench is ready, whatever its chips.
func TestCheckOfWholeBenches(t *testing.T) {
	for name, d := range examples(t) {
		t.Run(name, func(t *testing.T) {
			r, b := openExample(t, d, sim.Options{Seed: 5})
			floor, err := r.MeasureFloor(&d, 500*time.Millisecond)
			require.NoError(t, err)
			list := floor.Looks(&d)
			assert.NotEqual(t, rig.Missing, worst(list), "%+v", list)
			assert.Equal(t, rig.OK, looked(list, "lost samples").State)
			assert.Equal(t, rig.OK, looked(list, "rate").State, "%+v", looked(list, "rate"))
			assert.Greater(t, floor.Rate_Hz, 0.95*floor.Limit_Hz, "the bus is kept busy")
			proved, err := r.Prove(&d, floor.Zero_A)
			require.NoError(t, err)
			assert.Equal(t, rig.OK, worst(proved), "%+v", proved)
			assert.False(t, b.World.Energised())
			require.NoError(t, r.Close())
		})
	}
}

// What is wrong with the contacts is named, and the supply is off after.
func TestProofOfTheContacts(t *testing.T) {
	small, fast := exampleRig(t, "small"), exampleRig(t, "fast")
	for name, c := range map[string]struct {
		d     rig.Description
		unit  sim.Unit
		spoil func(*sim.Bench)
		what  string
		says  string
	}{
		"not closing":    {small, nil, func(b *sim.Bench) { b.Switch.SetFault(sim.SwitchNotClosing) }, "supply switch, closed", "no supply"},
		"first welded":   {fast, nil, func(b *sim.Bench) { b.Switch.SetFault(sim.SwitchWelded) }, "second contact alone", "first contact conducts while open"},
		"second welded":  {fast, nil, func(b *sim.Bench) { b.Second.SetFault(sim.SwitchWelded) }, "first contact alone", "second contact conducts while open"},
		"no pre-charge":  {fast, nil, func(b *sim.Bench) { b.PreCharge.SetFault(sim.SwitchNotClosing) }, "pre-charge contact, closed", "no supply"},
		"socket full":    {small, &sim.Resistor{Ohm: 4}, func(*sim.Bench) {}, "supply switch, closed", "socket is not empty"},
		"socket shorted": {small, &sim.Resistor{Ohm: 0.02}, func(*sim.Bench) {}, "supply switch, closed", "socket is not empty"},
	} {
		t.Run(name, func(t *testing.T) {
			r, b := openExample(t, c.d, sim.Options{Seed: 2, Unit: c.unit})
			floor, err := r.MeasureFloor(&c.d, 200*time.Millisecond)
			require.NoError(t, err)
			c.spoil(b)
			list, err := r.Prove(&c.d, floor.Zero_A)
			require.NoError(t, err)
			l := looked(list, c.what)
			require.NotNil(t, l, "%+v", list)
			assert.Equal(t, rig.Missing, l.State)
			assert.Contains(t, l.Found, c.says)
			assert.NotEmpty(t, l.Next)
			if !strings.Contains(name, "welded") {
				assert.False(t, b.World.Energised())
			}
		})
	}
	// A single switch that is welded shows before anything is closed.
	r, b := openExample(t, small, sim.Options{Seed: 2})
	b.Switch.SetFault(sim.SwitchWelded)
	floor, err := r.MeasureFloor(&small, 200*time.Millisecond)
	require.NoError(t, err)
	assert.Equal(t, rig.Missing, looked(floor.Looks(&small), "plug, switch open").State)
	// A bus that dies while a contact is closed leaves the supply off.
	r, b = openExample(t, small, sim.Options{Seed: 2})
	dead := errors.New("dead")
	b.World.At(r.Clock.Now()+300*time.Millisecond, func() { b.I2C.Err = dead })
	_, err = r.Prove(&small, 0)
	assert.ErrorIs(t, err, dead)
	assert.False(t, b.World.Energised())
}

func TestLooks(t *testing.T) {
	d := exampleRig(t, "fast")
	tree := sim.NewBench(sim.Options{}).Tree()
	list := d.Looks(tree)
	assert.Nil(t, looked(list, "hardware cut-off"), "a relay is first measured")
	assert.Equal(t, rig.Attention, d.LookRelay().State, "and else called out")
	assert.Contains(t, d.LookRelay().Found, "stated, not measured")
	assert.Nil(t, looked(list, "stop input, wire"))
	assert.Nil(t, looked(list, "supply's limit"))
	assert.Equal(t, rig.Missing, looked(list, "kernel's PWM").State)
	assert.Contains(t, looked(list, "kernel's PWM").Found, sim.PWMDevice, "what there is instead")
	d.LinePin.PWMChip = sim.PWMDevice
	assert.Equal(t, rig.OK, looked(d.Looks(tree), "kernel's PWM").State)
	d.LinePin.Channel = 7
	assert.Contains(t, looked(d.Looks(tree), "kernel's PWM").Found, "channels 0 to 1")
	d.Heartbeat, d.Switches[0].ActiveLow = nil, true
	list = d.Looks(tree)
	assert.Contains(t, looked(list, "hardware cut-off").Next, "--attended")
	assert.Nil(t, d.LookRelay())
	d.AlertCuts = true
	assert.True(t, d.CutOff(), "an alert counts")
	alert := looked(d.Looks(tree), "hardware cut-off")
	assert.Equal(t, rig.Attention, alert.State)
	assert.Contains(t, alert.Found, "hang at a usual current, nothing does")
	for _, in := range []struct {
		pull string
		low  bool
		says string
	}{{"up", true, "reads released"}, {"down", false, "reads released"}, {"none", false, "reads anything"}, {"up", false, ""}, {"down", true, ""}} {
		d.Stop = &rig.Input{Pin: "GPIO22", Pull: in.pull, ActiveLow: in.low}
		l := looked(d.Looks(tree), "stop input, wire")
		if in.says == "" {
			assert.Nil(t, l, "%+v", in)
			continue
		}
		require.NotNil(t, l, "%+v", in)
		assert.Equal(t, rig.Attention, l.State)
		assert.Contains(t, l.Found, in.says)
		assert.Contains(t, l.Next, "normally closed")
	}
	d.Stop = nil
	assert.Equal(t, "none", looked(d.Looks(tree), "stop input").Found)
	d.Bench.SupplyLimit_A = d.Bench.Fuse_A
	assert.Equal(t, rig.Attention, looked(d.Looks(tree), "supply's limit").State)
	assert.Equal(t, rig.Attention, looked(list, "switch GPIO17").State)
	small := exampleRig(t, "small")
	assert.Equal(t, rig.OK, small.LookPeak("p", 40).State)
	l := small.LookPeak("p", 60)
	assert.Equal(t, rig.Attention, l.State)
	assert.Contains(t, l.Next, "at most 1.37 mΩ") // 2 mΩ · 40.95875/60
}

func TestRigCheckOfTheBuiltInRig(t *testing.T) {
	d := newDesk(t)
	got := d.call("rig", "check", "--seconds", "0.3")
	assert.Equal(t, exitUsage, got.status)
	assert.Contains(t, got.stderr, "name the rig file, or give --simulate to try it")
	got = d.call("rig", "check", "--seconds", "0.3", "--simulate")
	assert.Equal(t, 0, got.status, got.stderr)
	assert.True(t, strings.HasPrefix(got.stdout, "Simulated board: sim, Simulated rig\n"), got.stdout)
	assert.Contains(t, got.stdout, "off is off")
	assert.Contains(t, got.stdout, "the simulator pressed it")
	assert.Contains(t, got.stdout, "Ready")
	assert.NotRegexp(t, `[0-9]e[+-][0-9]`, got.stdout, "no exponents")
	got = d.call("rig", "check", "--simulate", "--seconds", "0.3", "--no-stop", "--json")
	assert.Equal(t, 0, got.status)
	for _, o := range objects(t, got.stdout) {
		assert.NotEmpty(t, o["what"])
		assert.Contains(t, []any{"ok", "attention", "missing"}, o["state"])
	}
	got = d.call("rig", "check", "nowhere.toml")
	assert.Equal(t, exitError, got.status)
	assert.Contains(t, got.stderr, "nowhere.toml")
	assert.Equal(t, exitUsage, d.call("rig", "check", "a.toml", "--rig", "b.toml").status)
	// A machine without the bench: everything that is missing at once.
	path := d.write(t, "bench.toml", readExample(t, "small"))
	got = d.call("rig", "check", path)
	assert.Equal(t, exitBench, got.status)
	for _, part := range []string{"kernel's PWM", "supply switch", "converters", "stop input"} {
		assert.Contains(t, got.stdout, "missing   "+part)
	}
	// And no test on it without a cut-off, but attended.
	i, j := strings.Index(readExample(t, "small"), "[heartbeat]"), strings.Index(readExample(t, "small"), "[stop]")
	path = d.write(t, "bare.toml", readExample(t, "small")[:i]+readExample(t, "small")[j:])
	got = d.call("run", "--rig", path)
	assert.Equal(t, exitUsage, got.status)
	assert.Contains(t, got.stderr, "--attended, each time")
}

// The drawing is whole XML, and nothing that the file names is left out.
func TestRigShow(t *testing.T) {
	for name, d := range examples(t) {
		var b bytes.Buffer
		require.NoError(t, d.Drawing(&b))
		drawing := b.String()
		for x := xml.NewDecoder(&b); ; {
			if _, err := x.Token(); err == io.EOF {
				break
			} else {
				require.NoError(t, err, name)
			}
		}
		pins := []string{"GPIO22", "minus"}
		for _, s := range d.Switches {
			pins = append(pins, s.Pin)
		}
		if d.Flow != nil {
			pins = append(pins, d.Flow.Pin, d.PreCharge.Pin)
		}
		for _, p := range pins {
			assert.Contains(t, drawing, p, name)
			assert.Contains(t, wireTable(&d), p, name)
		}
		assert.NotContains(t, drawing, "NaN", name)
		assert.NotContains(t, wireTable(&d), "NaN", name)
	}
}

// Sections by the fuse before them, from the table.
func TestSection(t *testing.T) {
	for fuse, want := range map[float64]float64{3: 0.5, 10: 1, 15: 1.5, 16: 2.5, 200: 70} {
		assert.Equal(t, want, rig.Section(fuse))
	}
	w := rig.Wire{Section_mm2: 1.5, Current_A: 12}
	assert.InDelta(t, 2*12/(58*1.5), w.Drop_V(), 1e-12) // IEC 60028: 1/58 Ω·mm²/m
}
