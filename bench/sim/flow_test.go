package sim_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"

	"dutybench/bench/sim"
)

var _ gpio.PinIO = (*sim.FlowPin)(nil)

// stream is a unit that moves a flow of its own.
type stream struct {
	sim.Resistor
	flow  float64
	asked int
}

func (s *stream) Flow() float64 {
	s.asked++
	return s.flow
}

// Edges come at their own times, in order, whoever moves the time and however
// far; and no later than 10 ms after.
func TestFlowEdges(t *testing.T) {
	u := &stream{Resistor: sim.Resistor{Ohm: 10}, flow: 8} // 60 Hz
	for _, sleep := range []time.Duration{137 * time.Microsecond, 50 * time.Millisecond, time.Second} {
		b := sim.NewBench(sim.Options{Unit: u})
		var at []time.Duration
		b.OnEdge(func(t time.Duration) { at = append(at, t) })
		for b.Clock().Now() < 2*time.Second {
			b.Clock().Sleep(sleep)
			now := b.Clock().Now()
			assert.InDelta(t, 60*now.Seconds(), len(at), 60*0.0101+1)
		}
		for i, a := range at {
			require.InDelta(t, float64(i+1)/60, a.Seconds(), 1e-6)
		}
	}
}

func TestFlowPin(t *testing.T) {
	b := sim.NewBench(sim.Options{Unit: &stream{Resistor: sim.Resistor{Ohm: 10}, flow: 8}})
	pin, err := b.Pin("FLOW")
	require.NoError(t, err)
	require.NoError(t, pin.In(gpio.PullUp, gpio.RisingEdge))
	highs := 0
	for range 10000 {
		b.Clock().Sleep(100 * time.Microsecond)
		if pin.Read() {
			highs++
		}
	}
	assert.InDelta(t, 5000, highs, 100, "high for half of each pulse")
	assert.True(t, pin.WaitForEdge(time.Second))
	b.Flow.Stuck = true
	assert.False(t, pin.WaitForEdge(time.Second))
	b.World.Plug(&sim.Resistor{Ohm: 10})
	b.Flow.Stuck = false
	assert.False(t, pin.WaitForEdge(time.Second), "a unit that moves no water")
	assert.Equal(t, gpio.Low, pin.Read())
}

// Nobody is asked for a flow that nobody reads.
func TestFlowUnasked(t *testing.T) {
	u := &stream{Resistor: sim.Resistor{Ohm: 10}, flow: 8}
	b := sim.NewBench(sim.Options{Unit: u})
	b.Clock().Sleep(time.Second)
	b.World.Charge_As()
	assert.Zero(t, u.asked)
	b.OnEdge(func(time.Duration) {})
	b.Clock().Sleep(time.Second)
	assert.NotZero(t, u.asked)
}
