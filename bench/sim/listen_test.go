package sim

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/physic"
)

// TestListenHearsTheLine: without another signal the pin hears the bench's own
// line: 250 Hz, high for 20 %, lifted by a pull-up of the rig.
func TestListenHearsTheLine(t *testing.T) {
	w := DefaultWire()
	w.PullUp_V, w.PullUp_Ohm = 12, 1000
	b := NewBench(Options{Ideal: true, Wire: w})
	require.NoError(t, b.Listen.In(gpio.Float, gpio.BothEdges))
	assert.True(t, bool(b.Listen.Read()), "released: the pull-up")
	assert.False(t, b.Listen.WaitForEdge(10*time.Millisecond))
	assert.Equal(t, 10*time.Millisecond, b.clock.Now())

	require.NoError(t, b.Line.PWM(gpio.DutyMax*8/10, 250*physic.Hertz)) // inverted
	var at [2][]time.Duration
	for range 200 {
		require.True(t, b.Listen.WaitForEdge(time.Second))
		high := 0
		if b.Listen.Read() {
			high = 1
		}
		at[high] = append(at[high], b.clock.Now())
	}
	assert.InDelta(t, 100, len(at[1]), 1)
	period := (at[1][99] - at[1][0]).Seconds() / 99
	assert.InDelta(t, 4e-3, period, 2e-6)
	require.NoError(t, b.Line.Out(gpio.High))
	b.Listen.In(gpio.Float, gpio.BothEdges)
	assert.False(t, bool(b.Listen.Read()))
	assert.Error(t, b.Listen.Out(gpio.High))
}

// TestSignalsAddUp: the integral of each invented signal is that of its voltage,
// and its edges are where the voltage passes the threshold.
func TestSignalsAddUp(t *testing.T) {
	names, words := Signals()
	require.Len(t, words, len(names))
	for _, name := range names {
		s, err := NewSignal(name, 9)
		require.NoError(t, err)
		const step = 2 * time.Microsecond
		sum, worst := 0.0, 0.0
		edges := 0
		high := s.at(0) > threshold_V
		for at := time.Duration(0); at < 50*time.Millisecond; at += step {
			if now := s.at(at) > threshold_V; now != high {
				high = now
				edges++
			}
			sum += s.at(at+step/2) * step.Seconds()
			worst = max(worst, math.Abs(sum-s.integral(at+step)))
		}
		assert.Less(t, worst, 1.5e-4, name)
		found, after := 0, time.Duration(0)
		for {
			at, ok := s.edge(after, 50*time.Millisecond)
			if !ok {
				break
			}
			require.Greater(t, at, after)
			found, after = found+1, at
		}
		assert.InDelta(t, edges, found, 1+0.01*float64(edges), name)
	}
	_, err := NewSignal("nosuch", 1)
	assert.ErrorContains(t, err, "there are pwm, bad-contact")
}

// telling reports 75 Hz at a share that the test sets.
type telling struct {
	Resistor
	high float64
}

func (u *telling) Return() (float64, float64) { return 75, u.high }

func TestReturnPin(t *testing.T) {
	u := &telling{high: 0.42}
	b := NewBench(Options{Ideal: true, Unit: u})
	var at []time.Duration
	var high []bool
	b.OnReturn(func(t time.Duration, h bool) { at, high = append(at, t), append(high, h) })
	b.clock.Sleep(time.Second)
	b.World.settle(b.World.now)
	require.InDelta(t, 150, len(at), 2)
	for i := 2; i < len(at); i++ {
		want := 0.42 / 75
		if !high[i-1] {
			want = 0.58 / 75
		}
		require.NotEqual(t, high[i-1], high[i])
		require.InDelta(t, want, (at[i] - at[i-1]).Seconds(), 1e-6)
	}
	for _, share := range []float64{0, 1} { // a steady level
		u.high = share
		b.clock.Sleep(time.Second)
		b.World.settle(b.World.now)
		n := len(at)
		b.clock.Sleep(time.Second)
		b.World.settle(b.World.now)
		assert.Len(t, at, n)
		assert.Equal(t, share == 1, bool(b.Return.Read()))
	}
}
