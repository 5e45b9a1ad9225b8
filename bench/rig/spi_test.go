package rig_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/guard"
	"dutybench/bench/rig"
	"dutybench/bench/sim"
)

// A message that comes late loses what it missed, and no conversion that another
// channel had counts among that: samples, losses and others fill the time.
func TestLateMessagesAreLost(t *testing.T) {
	d, o := fast(false)
	o.Seed, o.TwoWire = 3, &sim.Coil{Ohm: 10, Henry: 0.01, Temp_C: 20}
	r, _ := openSwitched(t, d, o)
	require.NoError(t, r.Sampler.Start())
	interval := r.Sampler.Interval()
	var s rig.Sample
	require.NoError(t, r.Sampler.Next(&s))
	first, n, lost, other, due := s.At, 0, 0, 0, 0
	for i := range 4000 {
		if i%40 == 39 {
			r.Clock.Sleep(time.Duration(i/40%5) * interval)
			due += i / 40 % 5
		}
		require.NoError(t, r.Sampler.Next(&s))
		n, lost, other = n+1, lost+s.Lost, other+s.Other
	}
	assert.InDelta(t, due, lost, 0.03*float64(due), "what the waits cost")
	assert.InDelta(t, 0.028*4000, other, 0.1*0.028*4000)
	assert.InDelta(t, (s.At-first).Seconds()/interval.Seconds(), float64(n+lost+other), 0.005*float64(n))
}

// What the other channels take stands among the facts: 100 of the supply, 50 of
// the line, 200 of position and load switch each, two of the thermistor and its
// reference in 20,000 a second.
func TestOthersAreStated(t *testing.T) {
	d, o := fast(false)
	r, _ := openSwitched(t, d, o)
	facts := map[string]string{}
	for _, f := range r.Facts {
		facts[f.Key] = f.Value
	}
	assert.Contains(t, facts["other channels"], "2.8 % of the conversions: supply every 10ms")
	d, _ = slow(false)
	r, _ = openSwitched(t, d, sim.Options{PositionInput: 2, NodeInput: 3})
	for _, f := range r.Facts {
		assert.NotEqual(t, "other channels", f.Key)
	}
}

// At its rail the current is told to be clipped whatever the converter's own
// errors, and the range holds the peak that the shunt was chosen for.
func TestRailIsTold(t *testing.T) {
	d, o := fast(false)
	require.Greater(t, d.Range_A(), 3.06)
	for seed := range uint64(40) {
		for ohm, want := range map[float64]bool{1: true, 13.5/2.99 - 0.05: false} {
			o.Seed, o.TwoWire = seed, &sim.Coil{Ohm: ohm, Henry: 0.001, Temp_C: 20}
			r, _ := openSwitched(t, d, o)
			require.NoError(t, r.Switch.Set(guard.First, time.Minute))
			require.NoError(t, r.Load.Drive(100, 0))
			require.NoError(t, r.Sampler.Start())
			clipped := 0
			var s rig.Sample
			for begun := r.Clock.Now(); r.Clock.Now() < begun+10*time.Millisecond; {
				require.NoError(t, r.Sampler.Next(&s))
				if s.Clipped {
					clipped++
				}
			}
			assert.Equal(t, want, clipped > 50, "seed %d, %g ohm: %d clipped at %.3f A", seed, ohm, clipped, s.Current_A)
		}
	}
}
