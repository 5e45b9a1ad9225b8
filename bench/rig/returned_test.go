package rig_test

import (
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"

	"dutybench/bench/clock"
	"dutybench/bench/rig"
	"dutybench/bench/sim"
)

// reporter is a unit that reports 75 Hz at a duty that the test sets.
type reporter struct {
	sim.Resistor
	high float64
}

func (u *reporter) Return() (float64, float64) { return 75, u.high }

// TestReturnBesideSampling: edges of the return signal come in beside the
// sampling, and the sampling does not notice.
func TestReturnBesideSampling(t *testing.T) {
	samples := func(returned, activeLow bool) (n int, r *rig.Returned) {
		b := sim.NewBench(sim.Options{Ideal: true, Unit: &reporter{high: 0.9}})
		d := rig.Default()
		if returned {
			d.Return = &rig.Input{Pin: "RETURN", ActiveLow: activeLow, Pull: "up"}
		}
		bench, err := rig.New("sim", b, d, rig.Options{Stands: true})
		require.NoError(t, err)
		r, err = rig.OpenReturn(b, &d)
		require.NoError(t, err)
		require.NoError(t, bench.Sampler.Start())
		var s rig.Sample
		for bench.Clock.Now() < time.Second {
			require.NoError(t, bench.Sampler.Next(&s))
			require.Zero(t, s.Lost)
			n++
		}
		return n, r
	}
	without, none := samples(false, false)
	assert.Nil(t, none)
	for _, activeLow := range []bool{false, true} {
		n, r := samples(true, activeLow)
		assert.Equal(t, without, n)
		got := r.Heard()
		require.NoError(t, r.Close())
		require.NoError(t, r.Close(), "twice is no harm")
		assert.InDelta(t, 150*(got.End-got.Start).Seconds(), len(got.At), 2, "75 Hz")
		var high, low time.Duration
		for i := 1; i < len(got.At); i++ {
			if got.High[i-1] {
				high += got.At[i] - got.At[i-1]
			} else {
				low += got.At[i] - got.At[i-1]
			}
		}
		share := high.Seconds() / (high + low).Seconds()
		if activeLow {
			share = 1 - share
		}
		assert.InDelta(t, 0.9, share, 0.01)
	}
}

// edgePin is a pin that is told its edges.
type edgePin struct {
	gpio.PinIO // of a simulated bench, for the rest
	edges      chan gpio.Level
	mu         sync.Mutex
	level      gpio.Level
}

func (p *edgePin) In(gpio.Pull, gpio.Edge) error { return nil }

func (p *edgePin) Read() gpio.Level {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.level
}

func (p *edgePin) WaitForEdge(d time.Duration) bool {
	select {
	case l := <-p.edges:
		p.mu.Lock()
		defer p.mu.Unlock()
		p.level = l
		return true
	case <-time.After(d):
		return false
	}
}

// realBoard is a board whose time runs, with one pin.
type realBoard struct {
	*sim.Bench
	pin gpio.PinIO
	clk clock.Clock
}

func (b realBoard) Clock() clock.Clock                     { return b.clk }
func (b realBoard) Pin(string) (gpio.PinIO, error)         { return b.pin, nil }
func (b realBoard) OnReturn(struct{ notForThisBoard int }) {}

// TestReturnOnAMachine: on a board whose time runs, a goroutine waits.
func TestReturnOnAMachine(t *testing.T) {
	bench := sim.NewBench(sim.Options{})
	pin := &edgePin{PinIO: bench.Return, edges: make(chan gpio.Level)}
	d := rig.Default()
	d.Return = &rig.Input{Pin: "RETURN", Pull: "none"}
	r, err := rig.OpenReturn(realBoard{bench, pin, clock.NewReal()}, &d)
	require.NoError(t, err)
	for i := range 20 {
		pin.edges <- gpio.Level(i%2 == 0)
		time.Sleep(time.Millisecond)
	}
	require.Eventually(t, func() bool { return len(r.Heard().At) == 20 }, time.Second, time.Millisecond)
	var closing sync.WaitGroup
	closing.Go(func() { assert.NoError(t, r.Close()) })
	closing.Wait()
	got := r.Heard()
	for i, high := range got.High {
		assert.Equal(t, i%2 == 0, high, "edge %d", i)
	}
}
