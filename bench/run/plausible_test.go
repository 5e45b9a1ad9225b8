package run

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/guard"
	"dutybench/bench/kind"
	"dutybench/bench/result"
	"dutybench/bench/rig"
	"dutybench/bench/sim"
	"dutybench/signal/trace"
)

// sweep is a test with steps long enough to learn the bench from.
func sweep() kind.Plan {
	step := func(name string, duty float64) kind.Step {
		return kind.Step{Name: name, Supply: true, Command_pct: duty, Min: 600 * ms, Max: 600 * ms}
	}
	return kind.Plan{Steps: []kind.Step{
		{Name: "zero", Command_pct: 5, Min: 300 * ms, Max: 300 * ms},
		step("quiet", 5), step("up", 40), step("up", 70), step("full", 95), step("down", 40), step("stop", 5),
	}}
}

// The bench's own faults are found by what they do to its readings: those that
// blind the guard end the test, within a sample of being found; the others
// leave a doubt; and none is put on the unit.
func TestPlausible(t *testing.T) {
	const at = 1800 * ms // in the third step with supply
	for _, c := range []struct {
		name  string
		fault sim.Armed
		ends  bool // the supply is cut
		after time.Duration
		says  string
		cause result.Cause
		// either side of the bench will do: the code that the voltages stick at
		// may be one of the line's.
		either bool
	}{
		{name: "whole"},
		{name: "current-stuck", fault: sim.Armed{Severity: 1}, ends: true, after: 50 * ms, says: "current converter has given the same value", cause: result.Bench},
		{name: "shunt-wire", fault: sim.Armed{Severity: 1}, ends: true, after: 700 * ms, says: "did not see the current", cause: result.Bench},
		{name: "shunt-wire", fault: sim.Armed{Severity: 1, For: 15 * ms}, says: "did not see the current", cause: result.Bench},
		{name: "shunt-wire", fault: sim.Armed{Severity: 1, For: 2 * ms}, says: "too short for the voltage|fell below what the unit draws at rest", cause: result.Bench},
		{name: "voltage-stuck", fault: sim.Armed{Severity: 1}, ends: true, after: time.Second, says: "voltage converter has given the same value|supply at the unit", either: true},
		{name: "supply-sense", fault: sim.Armed{Severity: 1}, ends: true, after: 40 * ms, says: "sense wires of the supply", cause: result.Wiring},
		{name: "supply-low", fault: sim.Armed{Severity: 0.6}, says: "gave way", cause: result.Bench},
		{name: "supply-high", fault: sim.Armed{Severity: 0.5}, says: "has changed", cause: result.Bench},
		{name: "supply-dips", fault: sim.Armed{Severity: 0.6}, says: "gave way|below the range", cause: result.Bench},
		{name: "pwm-stuck", fault: sim.Armed{Severity: 1}, says: "does not carry", cause: result.Wiring},
		{name: "pwm-low", fault: sim.Armed{Severity: 1}, says: "does not carry", cause: result.Wiring},
		{name: "pwm-high", fault: sim.Armed{Severity: 1}, says: "does not carry", cause: result.Wiring},
		{name: "bus-slow", fault: sim.Armed{Severity: 0.6}, says: "samples were lost", cause: result.Bench},
		{name: "shunt-open", fault: sim.Armed{Severity: 1}, ends: true, after: 2 * ms, says: "burnt open", cause: result.Bench},
		{name: "switch-welded", fault: sim.Armed{Severity: 1}, says: "welded", cause: result.Bench},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := newBench(t, steady, nil)
			if c.fault.Name = c.name; c.name == "whole" {
				c.fault = sim.Armed{}
			}
			c.fault.At = b.rig.Clock.Now() + at
			if c.says != "" {
				require.NoError(t, b.Arm(c.fault))
			}
			out, err := Run(context.Background(), b.rig, sweep(), profile(), Options{})
			require.NoError(t, err)
			require.False(t, b.spy.on)
			all := append(append([]Fault{}, out.Faults...), out.Doubts...)
			if c.says == "" {
				assert.Empty(t, all)
				return
			}
			require.NotEmpty(t, all)
			assert.Regexp(t, c.says, all[0].Sentence)
			if !c.either {
				assert.Equal(t, c.cause, all[0].Cause)
			}
			assert.NotEmpty(t, all[0].Next)
			assert.Equal(t, c.ends, out.Trip != nil)
			if c.ends {
				assert.LessOrEqual(t, out.Trip.Off-out.Trip.Met, 2*b.rig.Sampler.Interval()+50*time.Microsecond)
				assert.LessOrEqual(t, out.Trip.Off-c.fault.At, c.after)
				assert.GreaterOrEqual(t, out.Trip.Off, c.fault.At)
				assert.Greater(t, out.Trace.Len(), 4000, "the trace so far")
				ended, _ := out.Trace.Get(trace.KeyEnded)
				assert.NotEmpty(t, ended)
			}
			// Whatever the trace made of it, the unit is not blamed.
			board := result.ControlBoard
			r := Merge(result.Result{Verdict: result.Fail, Cause: &board, Causes: []result.CauseProbability{{Cause: board, Probability: 1}}}, out)
			assert.Equal(t, 5, r.Exit())
			assert.NotEmpty(t, r.NextStep)
		})
	}
}

// A peak of one reading alone, whose successor shows no current, came wrong
// over the bus: the supply is off for it all the same, and the unit is not
// blamed. One that flowed is the unit's.
func TestPeakOfOneReading(t *testing.T) {
	b := newBench(t, steady, nil)
	n := 0
	b.rig.Sampler = &flaky{Sampler: b.rig.Sampler, then: func(_ int, s *rig.Sample) {
		if b.spy.on {
			if n++; n == 3000 {
				s.Current_A += 32.768 * 0.00125 * 1000 * 0.8 // any value beyond the limit
			}
		}
	}}
	out := b.carry(t, sweep(), Options{})
	require.NotNil(t, out.Trip)
	assert.Equal(t, guard.OverPeak, out.Trip.Rule)
	require.Len(t, out.Doubts, 1)
	assert.Contains(t, out.Doubts[0].Sentence, "stood alone")

	b = newBench(t, func(since time.Duration, line sim.Line) float64 {
		if since > 1500*ms {
			return 35
		}
		return steady(since, line)
	}, nil)
	out = b.carry(t, sweep(), Options{})
	require.NotNil(t, out.Trip)
	assert.Equal(t, guard.OverPeak, out.Trip.Rule)
	assert.Empty(t, out.Doubts, "it flowed")
}

// A wrong bit is taken out of the trace and told; a swing of the unit's own is
// left in.
func TestWrongBits(t *testing.T) {
	b := newBench(t, func(since time.Duration, line sim.Line) float64 {
		i := steady(since, line)
		return i * (1 + 0.2*math.Sin(2*math.Pi*180*since.Seconds()))
	}, nil)
	plain := b.carry(t, sweep(), Options{})
	assert.Empty(t, plain.Doubts)

	b = newBench(t, steady, nil)
	n := 0
	b.rig.Sampler = &flaky{Sampler: b.rig.Sampler, then: func(_ int, s *rig.Sample) {
		if b.spy.on {
			if n++; n%500 == 0 {
				s.Current_A += 4096 * 0.00125
			}
		}
	}}
	out := b.carry(t, sweep(), Options{})
	require.Len(t, out.Doubts, 1)
	assert.Contains(t, out.Doubts[0].Sentence, "one bit wrong")
	for _, i := range out.Trace.Current() {
		require.Less(t, i, 4.0)
	}
}

// The noise behind codes is found whatever the offset, and not where there is
// too little of it.
func TestFrozenKnowsItsNoise(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for _, σ := range []float64{0.5, 1, 2, 4} {
		for _, offset := range []float64{0, 0.25, 0.5} {
			f := frozen{step: 0.01}
			for range 1000 {
				f.learn(0.01 * math.Round(offset+σ*rng.NormFloat64()))
			}
			assert.InEpsilon(t, σ, f.noise(), 0.15, "%g at %g", σ, offset)
			f.ready()
			assert.GreaterOrEqual(t, f.most, leastRepeats)
			same := false
			for range 200_000 { // a living converter
				same = same || f.repeats(0.01*math.Round(offset+σ*rng.NormFloat64()))
			}
			assert.False(t, same)
			for range f.most + 1 {
				same = f.repeats(7)
			}
			assert.True(t, same)
		}
	}
	for name, code := range map[string]func() float64{
		"one code":  func() float64 { return 3 },
		"two codes": func() float64 { return float64(rng.IntN(2)) },
		"none":      math.NaN,
	} {
		f := frozen{step: 1}
		for range 1000 {
			f.learn(code())
		}
		f.ready()
		assert.Zero(t, f.most, name)
		for range 10_000 {
			require.False(t, f.repeats(1), name)
		}
	}
}

// Looking does not allocate.
func TestLookingDoesNotAllocate(t *testing.T) {
	b := newBench(t, steady, nil)
	x := newRunnerAt(t, b)
	x.ch.make(time.Minute, b.rig.Sampler.Interval())
	s := rig.Sample{Supply_V: 13.5, Line_V: 6, Temperature_C: 20}
	i := 0
	assert.Zero(t, testing.AllocsPerRun(2000, func() {
		i++
		s.At = b.rig.Clock.Now() + time.Duration(i)*332*time.Microsecond
		s.Current_A = 0.00125 * float64(40+i%3)
		x.clean(&s)
		x.keep(s.At.Seconds(), &x.now, s.Current_A, &s)
		x.despike()
		x.look(&s, s.Current_A)
	}))
}
