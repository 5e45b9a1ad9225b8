package run

import (
	"context"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/kind"
	"dutybench/bench/rig"
	"dutybench/bench/sim"
	"dutybench/profiles"
	"dutybench/signal/trace"
)

// switched is a profile of a coil that the bench switches.
func switched(frequency_Hz float64) *profiles.Profile {
	return &profiles.Profile{Format: 1, Name: "coil", Kind: "solenoid", Revision: 1,
		Command: profiles.Command{Type: profiles.Switched, Frequency_Hz: frequency_Hz, Tolerance: 0.01, Wake_pct: 1, Full_pct: 100},
		Supply:  profiles.Supply{Nominal_V: 12, Low_V: 9, High_V: 16},
		Limits:  profiles.Limits{Current_A: 2.5, Time: time.Second, Peak_A: 3}}
}

// A coil of 10 ohm and 40 mH rises with L/R and, seen in the free-wheel loop,
// falls so; under PWM its mean is the duty's share.
func TestCoilIsSwitched(t *testing.T) {
	p := switched(1000)
	o := sim.Options{Seed: 1, Ideal: true, TwoWire: &sim.Coil{Ohm: 10, Henry: 0.04, Temp_C: 20},
		Supply: sim.Supply{Open_V: 12, Ohm: 0.04, Limit_A: 10}, Wire: sim.DefaultWire(), Current: sim.CurrentMCP3208}
	d := rig.DefaultFast(p.Limits.Peak_A)
	o.Shunt_Ohm = d.Current.Shunt_Ohm
	b := sim.NewBench(o)
	r, err := rig.New(rig.Sim, b, d, rig.Options{Stands: true})
	require.NoError(t, err)
	hold := func(name string, duty float64, d time.Duration) kind.Step {
		return kind.Step{Name: name, Supply: true, Command_pct: duty, Min: d, Max: d}
	}
	plan := kind.Plan{Steps: []kind.Step{{Name: "zero", Min: 300 * ms, Max: 300 * ms}, hold("quiet", 0, 50*ms),
		hold("on", 100, 100*ms), hold("off", 0, 100*ms), hold("half", 50, 200*ms)}}
	out, err := Run(context.Background(), r, plan, p, Options{})
	require.NoError(t, err)
	require.Nil(t, out.Trip)
	require.Empty(t, out.Faults)
	assert.Empty(t, out.Doubts)
	seen, _ := out.Trace.Get(trace.KeyRecirculation)
	assert.Equal(t, trace.RecirculationSeen, seen)
	from := func(duty float64, on int) (at float64) { // when a step of this duty begins, on the way through
		for i, x := range out.Trace.Duty() {
			if x == duty && (i == 0 || out.Trace.Duty()[i-1] != duty) {
				if on--; on < 0 {
					return out.Trace.Time()[i]
				}
			}
		}
		return math.NaN()
	}
	at := func(t_s float64) (x float64) {
		for i, u := range out.Trace.Time() {
			if u <= t_s {
				x = out.Trace.Current()[i]
			}
		}
		return x
	}
	on := from(100, 0)
	end := 12 / 10.05
	for _, ms := range []float64{2, 4, 8, 20} {
		assert.InDelta(t, end*(1-math.Exp(-ms/1000*10.05/0.04)), at(on+ms/1000), 0.03, "%g ms after it closes", ms)
	}
	off := from(0, 1)
	for _, ms := range []float64{1, 4, 8} { // toward -0.7 V over the loop's resistance
		to := -0.7 / 10.02
		assert.InDelta(t, to+(end-to)*math.Exp(-ms/1000*10.02/0.04), at(off+ms/1000), 0.03, "%g ms after it opens", ms)
	}
	half := from(50, 0)
	var sum float64
	n := 0
	for i, u := range out.Trace.Time() {
		if u > half+0.1 && u < half+0.2 {
			sum += out.Trace.Current()[i]
			n++
		}
	}
	// Mean over a period: half of the time 12 V, half of it the diode's 0.7 V.
	assert.InDelta(t, (0.5*12-0.5*0.7)/10.035, sum/float64(n), 0.01)
}
