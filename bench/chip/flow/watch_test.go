package flow

import (
	"errors"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"

	"dutybench/bench/clock"
	"dutybench/bench/sim"
	"dutybench/bench/sim/pump"
)

// input is a pin whose edges come over a channel.
type input struct {
	gpio.PinIO
	edges chan struct{}
}

func (i *input) In(gpio.Pull, gpio.Edge) error { return nil }

func (i *input) WaitForEdge(timeout time.Duration) bool {
	select {
	case <-i.edges:
		return true
	case <-time.After(timeout):
		return false
	}
}

func TestWatch(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		pin := &input{edges: make(chan struct{})}
		clk := clock.NewReal()
		m := meter(t, Options{Jitter: DefaultJitter, Highest_l_per_min: 60})
		w, err := m.Watch(pin, gpio.PullUp, gpio.FallingEdge, clk)
		require.NoError(t, err)
		for range 100 {
			time.Sleep(period(12))
			pin.edges <- struct{}{}
		}
		synctest.Wait()
		r := m.Read(clk.Now())
		assert.InEpsilon(t, 12, r.Flow_l_per_min, 1e-6)
		assert.EqualValues(t, 100, r.Pulses)
		time.Sleep(time.Second)
		assert.Zero(t, m.Read(clk.Now()).Flow_l_per_min)
		require.NoError(t, w.Stop())
		require.NoError(t, w.Stop())
	})
}

// hasty is a pin that gives up at once, as lines of the kernel's character
// device do when asked to wait without end.
type hasty struct {
	gpio.PinIO
	calls   atomic.Int64
	endless atomic.Bool
}

func (h *hasty) In(gpio.Pull, gpio.Edge) error { return nil }

func (h *hasty) WaitForEdge(timeout time.Duration) bool {
	h.calls.Add(1)
	if timeout < 0 {
		h.endless.Store(true)
	}
	return false
}

func TestWatchOnAPinThatDoesNotWait(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		pin := &hasty{PinIO: gpio.INVALID}
		clk := clock.NewReal()
		m := meter(t, Options{})
		w, err := m.Watch(pin, gpio.Float, gpio.RisingEdge, clk)
		require.NoError(t, err)
		time.Sleep(10 * time.Second)
		assert.LessOrEqual(t, pin.calls.Load(), int64(201), "it does not spin")
		assert.False(t, pin.endless.Load())
		assert.Zero(t, m.Read(clk.Now()).Flow_l_per_min)
		begun := clk.Now()
		require.NoError(t, w.Stop())
		assert.Less(t, clk.Now()-begun, 100*time.Millisecond)
	})
}

// deaf is a pin whose wait never ends.
type deaf struct{ gpio.PinIO }

func (d *deaf) In(gpio.Pull, gpio.Edge) error { return nil }
func (d *deaf) WaitForEdge(time.Duration) bool {
	time.Sleep(time.Hour)
	return true
}

func TestWatchHangs(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m := meter(t, Options{})
		w, err := m.Watch(&deaf{gpio.INVALID}, gpio.Float, gpio.RisingEdge, clock.NewReal())
		require.NoError(t, err)
		assert.ErrorContains(t, w.Stop(), "not ended")
		time.Sleep(2 * time.Hour)
		require.NoError(t, w.Stop())
		assert.Zero(t, m.Read(0).Pulses, "an edge after the stop does not count")
	})
}

// broken is a pin that cannot be an input.
type broken struct{ gpio.PinIO }

func (b *broken) In(gpio.Pull, gpio.Edge) error { return errors.New("busy") }

func TestWatchRefuses(t *testing.T) {
	m := meter(t, Options{})
	_, err := m.Watch(&broken{gpio.INVALID}, gpio.Float, gpio.RisingEdge, clock.NewReal())
	assert.ErrorContains(t, err, "busy")
	assert.ErrorContains(t, err, "other program")
	for _, edge := range []gpio.Edge{gpio.NoEdge, gpio.BothEdges} {
		_, err := m.Watch(gpio.INVALID, gpio.Float, edge, clock.NewReal())
		assert.ErrorContains(t, err, "rising or falling")
	}
}

// stream is a unit that moves a steady flow.
type stream struct {
	sim.Resistor
	flow float64
}

func (s *stream) Flow() float64 { return s.flow }

// TestSimulatedBench: the meter is fed in simulated time.
func TestSimulatedBench(t *testing.T) {
	u := &stream{Resistor: sim.Resistor{Ohm: 10}, flow: 7}
	b := sim.NewBench(sim.Options{Unit: u})
	m := meter(t, Options{Pulses_per_l: sim.PulsesPer_l, Highest_l_per_min: 60})
	b.OnEdge(m.Edge)
	clk := b.Clock()
	clk.Sleep(1500 * time.Millisecond)
	r := m.Read(clk.Now())
	assert.InEpsilon(t, 7, r.Flow_l_per_min, 1e-6)
	assert.InDelta(t, 7.0/60*sim.PulsesPer_l*1.5, r.Pulses, 1)

	b.Flow.LoseEvery = 9
	clk.Sleep(2 * time.Second)
	r = m.Read(clk.Now())
	assert.InDelta(t, 7, r.Flow_l_per_min, 3*r.Uncertainty+1e-6)
	assert.InDelta(t, 7.0/60*sim.PulsesPer_l*2/9, r.Missed, 2)
	b.Flow.LoseEvery, b.Flow.Bounce = 0, 200*time.Microsecond
	clk.Sleep(2 * time.Second)
	r = m.Read(clk.Now())
	assert.InEpsilon(t, 7, r.Flow_l_per_min, 1e-6)
	assert.InDelta(t, 7.0/60*sim.PulsesPer_l*2, r.Bounced, 2)
	b.Flow.Bounce, b.Flow.Stuck = 0, true
	clk.Sleep(2 * time.Second)
	assert.Zero(t, m.Read(clk.Now()).Flow_l_per_min)
	b.Flow.Stuck, u.flow = false, 14
	clk.Sleep(2 * time.Second)
	assert.InEpsilon(t, 14, m.Read(clk.Now()).Flow_l_per_min, 1e-6)
}

// TestPinOfTheBench: the same flow, through the pin's own waits.
func TestPinOfTheBench(t *testing.T) {
	b := sim.NewBench(sim.Options{Unit: &stream{Resistor: sim.Resistor{Ohm: 10}, flow: 7}})
	pin, err := b.Pin("FLOW")
	require.NoError(t, err)
	require.NoError(t, pin.In(gpio.Float, gpio.RisingEdge))
	m := meter(t, Options{Pulses_per_l: sim.PulsesPer_l, Jitter: 100 * time.Microsecond})
	for b.Clock().Now() < 2*time.Second {
		if pin.WaitForEdge(wait) {
			m.Edge(b.Clock().Now())
		}
	}
	r := m.Read(b.Clock().Now())
	assert.InDelta(t, 7, r.Flow_l_per_min, 2*r.Uncertainty)
	assert.InEpsilon(t, 7, r.Flow_l_per_min, 0.01)
}

// TestSimulatedPump: a pump moves water once it turns, more at more speed, and
// none with its outlet shut.
func TestSimulatedPump(t *testing.T) {
	flow := func(fault string) float64 {
		params, err := pump.Nominal("medium")
		require.NoError(t, err)
		u, err := pump.New(params, fault, 1, 1)
		require.NoError(t, err)
		b := sim.NewBench(sim.Options{Unit: u})
		m := meter(t, Options{Pulses_per_l: sim.PulsesPer_l})
		b.OnEdge(m.Edge)
		b.Clock().Sleep(3 * time.Second)
		assert.Zero(t, m.Read(b.Clock().Now()).Flow_l_per_min, "no supply, no flow")
		require.NoError(t, b.Switch.Out(gpio.High))
		b.Clock().Sleep(8 * time.Second) // no command: this size runs full then
		return m.Read(b.Clock().Now()).Flow_l_per_min
	}
	good := flow("")
	assert.InDelta(t, 32, good, 2) // 0.5·3.93e-7·480³ W over 40 kPa
	assert.Zero(t, flow("blocked-outlet"))
	assert.Zero(t, flow("rotor-seized"))
	assert.Less(t, flow("dry-loop"), good/2)
}
