package rig_test

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/physic"

	"dutybench/bench/rig"
	"dutybench/bench/sim"
)

// listening is a bench that hears an invented signal, and its description.
func listening(t *testing.T, name string) (*sim.Bench, rig.Description) {
	t.Helper()
	s, err := sim.NewSignal(name, 3)
	require.NoError(t, err)
	d := rig.Default()
	d.Listen, d.LineLevel = &rig.Listen{Pin: "LISTEN", Sense: d.LineLevel}, nil
	return sim.NewBench(sim.Options{Seed: 3, Ideal: true, Signal: s}), d
}

func TestEarDrivesNothing(t *testing.T) {
	b, d := listening(t, "pwm")
	require.NoError(t, b.Switch.Out(gpio.High))
	require.NoError(t, b.Line.PWM(gpio.DutyHalf, physic.KiloHertz))
	require.True(t, b.World.Energised())
	ear, err := rig.OpenEar(b, &d)
	require.NoError(t, err)
	assert.False(t, b.World.Energised(), "what was left on is off")
	assert.Equal(t, sim.LineReleased, b.World.Line().State)
	_, err = ear.Edges(context.Background(), 100*time.Millisecond)
	require.NoError(t, err)
	_, err = ear.Levels(context.Background(), 100*time.Millisecond)
	require.NoError(t, err)
	assert.False(t, b.World.Energised())
	assert.Equal(t, sim.LineReleased, b.World.Line().State)
	assert.Error(t, b.Listen.Out(gpio.High), "the listening pin cannot drive")
	require.NoError(t, ear.Close())
}

// TestEarHearsEdges: 400 Hz for half a second are 200 periods of 2.5 ms; edges
// come late by the time in which a program wakes up, 20 µs and more.
func TestEarHearsEdges(t *testing.T) {
	b, d := listening(t, "pwm")
	ear, err := rig.OpenEar(b, &d)
	require.NoError(t, err)
	edges, levels := ear.Hears()
	require.True(t, edges && levels)
	r, err := ear.Edges(context.Background(), 500*time.Millisecond)
	require.NoError(t, err)
	assert.InDelta(t, 400, len(r.At), 2)
	assert.Equal(t, 500*time.Millisecond, r.End-r.Start)
	last := r.StartHigh
	for i, high := range r.High {
		require.NotEqual(t, last, high, "edge %d", i)
		last = high
	}
	assert.InDelta(t, 2.5e-3, (r.At[len(r.At)-1] - r.At[len(r.At)-3]).Seconds(), 60e-6)

	l, err := ear.Levels(context.Background(), 200*time.Millisecond)
	require.NoError(t, err)
	require.Greater(t, len(l.V), 80)
	for i, v := range l.V {
		require.True(t, v >= 0 && v <= 12.5, "sample %d: %g V", i, v)
	}
	assert.Equal(t, time.Second/860, l.Aperture, "SBAS444: 860 samples a second")
	assert.Zero(t, l.Filter)

	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	r, err = ear.Edges(ctx, time.Hour)
	require.NoError(t, err)
	assert.Empty(t, r.At)
}

// TestEarBehindAnOptocoupler: the pin is low when the wire is high.
func TestEarBehindAnOptocoupler(t *testing.T) {
	share := func(activeLow bool) float64 {
		b, d := listening(t, "pwm")
		d.Listen.ActiveLow = activeLow
		ear, err := rig.OpenEar(b, &d)
		require.NoError(t, err)
		r, err := ear.Edges(context.Background(), 500*time.Millisecond)
		require.NoError(t, err)
		high := time.Duration(0)
		for i := 1; i < len(r.At); i++ {
			if r.High[i-1] {
				high += r.At[i] - r.At[i-1]
			}
		}
		return high.Seconds() / (r.At[len(r.At)-1] - r.At[0]).Seconds()
	}
	assert.InDelta(t, 0.30, share(false), 0.01)
	assert.InDelta(t, 0.70, share(true), 0.01)
}

// TestEarOnTheLine: without an input of its own, an ear reads the mean level of
// the rig's line, and says how slow that is.
func TestEarOnTheLine(t *testing.T) {
	d := rig.Default()
	ear, err := rig.OpenEar(sim.NewBench(sim.Options{Unit: &sim.Resistor{}}), &d)
	require.NoError(t, err)
	l, err := ear.Levels(context.Background(), 50*time.Millisecond)
	require.NoError(t, err)
	assert.NotEmpty(t, l.V)
	assert.Equal(t, 20*time.Millisecond, l.Filter)
	_, err = ear.Edges(context.Background(), time.Second)
	assert.ErrorIs(t, err, rig.ErrDeaf)

	d.LineLevel = nil
	_, err = rig.OpenEar(sim.NewBench(sim.Options{}), &d)
	assert.ErrorIs(t, err, rig.ErrDeaf)
}

// overrun is a pin whose queue loses one edge: the rest must come with their
// true levels, and the loss be seen.
type overrun struct {
	*sim.ListenPin
	n    int
	lose int
}

func (p *overrun) WaitForEdge(d time.Duration) bool {
	heard := p.ListenPin.WaitForEdge(d)
	if heard {
		if p.n++; p.n == p.lose {
			return p.ListenPin.WaitForEdge(d)
		}
	}
	return heard
}

// overrunBoard gives that pin out.
type overrunBoard struct {
	*sim.Bench
	pin *overrun
}

func (b overrunBoard) Pin(name string) (gpio.PinIO, error) {
	if name == "LISTEN" {
		return b.pin, nil
	}
	return b.Bench.Pin(name)
}

func TestEarSeesLostEdges(t *testing.T) {
	b, d := listening(t, "pwm")
	ear, err := rig.OpenEar(overrunBoard{b, &overrun{ListenPin: b.Listen, lose: 21}}, &d)
	require.NoError(t, err)
	r, err := ear.Edges(context.Background(), 200*time.Millisecond)
	require.NoError(t, err)
	require.Greater(t, len(r.At), 100)
	same, wrong := 0, 0
	for i := 1; i+1 < len(r.High); i++ {
		if r.High[i] == r.High[i-1] {
			same++
		}
		// High for 0.75 ms, low for 1.75 ms.
		if length := r.At[i+1] - r.At[i]; r.High[i] != (length < 1250*time.Microsecond) && r.High[i] != r.High[i+1] {
			wrong++
		}
	}
	assert.Equal(t, 1, same)
	assert.LessOrEqual(t, wrong, 1)
}
