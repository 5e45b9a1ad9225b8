package run

import (
	"context"
	"errors"
	"fmt"
	"math"
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

// For each rule: the supply is off within one sample of the rule being met,
// in the rig's time. One sample is, at most, the wait for the next conversion
// and that conversion's own time with its reading: two intervals.
func TestSupplyIsOffWithinOneSample(t *testing.T) {
	from := func(at time.Duration, amps float64) func(time.Duration, sim.Line) float64 {
		return func(since time.Duration, line sim.Line) float64 {
			if since >= at {
				return amps
			}
			return steady(since, line)
		}
	}
	at := func(b *bench, d time.Duration, f func()) { b.World.At(b.rig.Clock.Now()+d, f) }
	cases := []struct {
		name string
		amps func(time.Duration, sim.Line) float64
		do   func(b *bench, cancel func())
		o    Options
		rule guard.Rule
		// met is when the cause came, in rig time; the rule is met then or
		// at the end of its time. Zero: not looked at.
		after     time.Duration // from switch-on
		cause     result.Cause
		cancelled bool
	}{
		{name: "over-current", amps: from(500*ms, 12), rule: guard.OverCurrent, after: 700 * ms},
		{name: "peak", amps: from(500*ms, 35), rule: guard.OverPeak, after: 500 * ms},
		{name: "peak beyond the range", amps: from(500*ms, 55), rule: guard.OverPeak, after: 500 * ms},
		{name: "short at switch-on", amps: from(0, 38), rule: guard.Short, after: 1300 * time.Microsecond},
		{name: "short at the supply's limit", amps: from(0, 25), rule: guard.Short, after: 3200 * time.Microsecond},
		{name: "breaks down under the unit", amps: from(500*ms, 12), rule: guard.SupplyLow,
			do: func(b *bench, _ func()) { at(b, 750*ms, func() { b.World.Supply.Open_V = 8 }) }},
		{name: "supply breaks down", amps: steady, rule: guard.SupplyLow, cause: result.Wiring,
			do: func(b *bench, _ func()) { at(b, 500*ms, func() { b.World.Supply.Open_V = 8 }) }},
		{name: "supply too high", amps: steady, rule: guard.SupplyHigh, cause: result.Bench,
			do: func(b *bench, _ func()) { at(b, 600*ms, func() { b.World.Supply.Open_V = 16 }) }},
		{name: "stop input", amps: steady, rule: guard.StopPressed,
			do: func(b *bench, _ func()) { at(b, 600*ms, func() { b.Stop.Pressed = true }) }},
		{name: "dry run", amps: steady, rule: guard.DryRun, o: Options{Dry: true}, after: 500 * ms},
		{name: "cancelled", amps: steady, rule: guard.Cancelled, cancelled: true,
			do: func(b *bench, cancel func()) { at(b, 600*ms, cancel) }},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			b := newBench(t, c.amps, nil)
			ctx, cancel := context.WithCancel(context.Background())
			defer cancel()
			if c.do != nil {
				c.do(b, cancel)
			}
			out, err := Run(ctx, b.rig, short(), profile(), c.o)
			assert.Equal(t, c.cancelled, errors.Is(err, context.Canceled), "%v", err)
			b.isOff(t)
			require.NotNil(t, out)
			require.NotNil(t, out.Trip)
			assert.Equal(t, c.rule, out.Trip.Rule, out.Trip.Reason)
			require.Len(t, b.spy.moves, 2)
			sample := 2*b.rig.Sampler.Interval() + 50*time.Microsecond
			assert.LessOrEqual(t, b.spy.moves[1]-out.Trip.Met, sample)
			assert.GreaterOrEqual(t, b.spy.moves[1], out.Trip.Met)
			assert.InDelta(t, float64(b.spy.moves[1]), float64(out.Trip.Off), float64(10*time.Microsecond))
			if c.after > 0 {
				met := b.spy.moves[1] - b.spy.moves[0]
				assert.InDelta(t, c.after.Seconds(), met.Seconds(), 1.5e-3)
			}

			// The trace is kept and marked, with the supply seen to go off.
			tr := out.Trace
			ended, ok := tr.Get(trace.KeyEnded)
			assert.True(t, ok)
			assert.Equal(t, string(out.Trip.Rule)+": "+out.Trip.Reason, ended)
			on := tr.Values(trace.ColSupplyOn)
			assert.Zero(t, on[len(on)-1])
			assert.True(t, out.Off.Verified)
			assert.Equal(t, c.cause != "", len(out.Faults) == 1)
			for _, f := range out.Faults {
				assert.Equal(t, c.cause, f.Cause)
				assert.NotEmpty(t, f.Next)
			}
		})
	}
}

// Without a command some units run at full: released and held lines count as
// running.
func TestDryRunCountsMissingCommands(t *testing.T) {
	for _, line := range []kind.Action{kind.Release, kind.HoldLow, kind.HoldHigh} {
		b := newBench(t, steady, nil)
		plan := short()
		plan.Steps = append(plan.Steps[:2:2], kind.Step{Name: "missing", Supply: true, Line: line, Command_pct: 5, Max: time.Second})
		out, err := Run(context.Background(), b.rig, plan, profile(), Options{Dry: true})
		require.NoError(t, err)
		require.NotNil(t, out.Trip)
		assert.Equal(t, guard.DryRun, out.Trip.Rule)
		assert.InDelta(t, 0.5, (b.spy.moves[1] - b.spy.moves[0]).Seconds(), 2e-3)
	}
}

func TestChargingPeakIsNoShort(t *testing.T) {
	b := newBench(t, func(since time.Duration, line sim.Line) float64 {
		if since <= 600*time.Microsecond {
			return 38
		}
		return steady(since, line)
	}, nil)
	out := b.run(t, Options{})
	require.Nil(t, out.Trip)
	top := 0.0
	for _, x := range out.Trace.Current() {
		top = math.Max(top, x)
	}
	assert.Greater(t, top, 30.0, "the capture was running when the supply came")
}

func TestLostBus(t *testing.T) {
	b := newBench(t, steady, nil)
	gone := errors.New("bus gone")
	var at time.Duration
	b.World.At(600*ms, func() { b.I2C.Err, at = gone, b.rig.Clock.Now() })
	out, err := Run(context.Background(), b.rig, short(), profile(), Options{})
	require.ErrorIs(t, err, gone)
	b.isOff(t)
	require.Len(t, b.spy.moves, 2)
	// The bus is tried again for 10 ms before it is given up.
	assert.Less(t, b.spy.moves[1]-at, 10*ms+b.rig.Sampler.Interval())
	assert.Equal(t, guard.RigFailed, out.Trip.Rule)
	assert.Greater(t, out.Trace.Len(), 1500)
	ended, _ := out.Trace.Get(trace.KeyEnded)
	assert.Contains(t, ended, "bus gone")
	assert.False(t, out.Off.Verified, "there was nothing to measure it with")
	assert.True(t, math.IsNaN(out.Off.Current_A))
	require.Len(t, out.Faults, 1)
	assert.Equal(t, result.Bench, out.Faults[0].Cause)
	b.I2C.Err = nil
}

func TestHungReader(t *testing.T) {
	b := newBench(t, steady, nil)
	at := 600 * ms
	b.World.At(at, func() { b.I2C.Hang = 10 * time.Second })
	b.World.At(at+time.Second, func() { b.I2C.Hang = 0 })
	out, err := Run(context.Background(), b.rig, short(), profile(), Options{})
	require.NoError(t, err)
	b.isOff(t)
	require.Len(t, b.spy.moves, 2)
	assert.LessOrEqual(t, b.spy.moves[1], at+silence, "the lease ended while the reader hung")
	assert.Greater(t, b.spy.moves[1], at+silence-3*ms)
	require.NotNil(t, out.Trip)
	assert.Equal(t, guard.Silence, out.Trip.Rule)
	assert.Equal(t, b.spy.moves[1], out.Trip.Off)
	require.Len(t, out.Faults, 1)
	on, when := out.Trace.Values(trace.ColSupplyOn), out.Trace.Time()
	for i := range on {
		if when[i] > (out.Off.At + 10*ms).Seconds() {
			require.Zero(t, on[i], "what came after the lease had no supply")
		}
	}
}

func TestPanic(t *testing.T) {
	for name, o := range map[string]Options{
		"in progress": {Progress: func(p Progress) {
			if p.Step == "up" {
				panic("boom")
			}
		}},
		"in the decider": {Decider: panics{}},
	} {
		t.Run(name, func(t *testing.T) {
			b := newBench(t, steady, nil)
			var saved *Outcome
			o.Salvage = func(out *Outcome) {
				b.isOff(t)
				saved = out
			}
			require.PanicsWithValue(t, "boom", func() {
				_, _ = Run(context.Background(), b.rig, asking(), profile(), o)
			})
			b.isOff(t)
			require.NotNil(t, saved)
			assert.Equal(t, guard.Panicked, saved.Trip.Rule)
			ended, _ := saved.Trace.Get(trace.KeyEnded)
			assert.Equal(t, string(saved.Trip.Rule)+": "+saved.Trip.Reason, ended)
			assert.Greater(t, saved.Trace.Len(), 500)
			on := saved.Trace.Values(trace.ColSupplyOn)
			if len(b.spy.moves) > 0 {
				assert.Equal(t, 1.0, on[len(on)-1], "it ended with the supply on")
			}
		})
	}
}

type panics struct{}

func (panics) GoOn(tr *trace.Trace, next kind.Step) bool {
	if next.Name == "hold" {
		panic("boom")
	}
	return true
}

func TestPanicInTheSampler(t *testing.T) {
	b := newBench(t, steady, nil)
	b.rig.Sampler = &flaky{Sampler: b.rig.Sampler, then: func(n int, _ *rig.Sample) {
		if n == 1000 {
			panic("boom")
		}
	}}
	require.PanicsWithValue(t, "boom", func() {
		_, _ = Run(context.Background(), b.rig, short(), profile(), Options{})
	})
	b.isOff(t)
	require.Len(t, b.spy.moves, 2)
}

func TestBenchFaults(t *testing.T) {
	for _, c := range []struct {
		name  string
		do    func(b *bench)
		cause result.Cause
		says  string
		never bool // the supply was never switched on
	}{
		{"stop pressed before", func(b *bench) { b.Stop.Pressed = true }, result.Bench, "nothing was switched on", true},
		{"welded switch", func(b *bench) { b.Switch.SetFault(sim.SwitchWelded) }, result.Bench, "welded", true},
		{"switch that does not close", func(b *bench) { b.Switch.SetFault(sim.SwitchNotClosing) }, result.Bench, "no supply at the unit's plug", false},
		{"supply off", func(b *bench) { b.World.Supply.Open_V = 0 }, result.Bench, "no supply at the unit's plug", false},
		{"24 V supply", func(b *bench) { b.World.Supply.Open_V = 27 }, result.Bench, "at most 15 V", false},
		{"supply set too low", func(b *bench) { b.World.Supply.Open_V = 9 }, result.Bench, "at least 11 V", false},
		{"switch that leaks", func(b *bench) {
			b.World.Supply.Leak_A = 3
			b.World.Plug(&sim.Resistor{Ohm: 0.5})
		}, result.Bench, "reads 3", true},
		{"converter that is off", func(b *bench) {
			b.rig.Sampler = &flaky{Sampler: b.rig.Sampler, then: func(_ int, s *rig.Sample) { s.Current_A += 2 }}
		}, result.Bench, "reads 2", true},
		{"switch that welds during the test", func(b *bench) {
			b.World.At(600*ms, func() { b.Switch.SetFault(sim.SwitchWelded) })
		}, result.Bench, "still flow", false},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := newBench(t, steady, nil)
			c.do(b)
			out := b.run(t, Options{})
			require.NotEmpty(t, out.Faults, "%+v", out.Trip)
			f := out.Faults[0]
			assert.Equal(t, c.cause, f.Cause)
			assert.Contains(t, f.Sentence, c.says)
			assert.NotEmpty(t, f.Next)
			assert.NotEmpty(t, out.Ended)
			assert.Equal(t, c.never, len(b.spy.moves) == 0)
			assert.False(t, b.spy.on)
		})
	}
}

func TestSwitchThatDoesNotTakeCommands(t *testing.T) {
	b := newBench(t, steady, nil)
	stuck := errors.New("no such line")
	b.World.At(600*ms, func() { b.Switch.Err = stuck })
	out, err := Run(context.Background(), b.rig, short(), profile(), Options{})
	require.ErrorIs(t, err, stuck)
	require.ErrorContains(t, err, "by hand")
	assert.Contains(t, out.Trip.Next, "switch the supply off by hand")
	b.Switch.Err = nil
}

func TestNothingButNaN(t *testing.T) {
	b := newBench(t, steady, nil)
	b.rig.Sampler = &flaky{Sampler: b.rig.Sampler, then: func(_ int, s *rig.Sample) { s.Current_A = math.NaN() }}
	out, err := Run(context.Background(), b.rig, short(), profile(), Options{})
	require.ErrorContains(t, err, "hold no current")
	assert.Empty(t, b.spy.moves)
	assert.Zero(t, out.Trace.Len())
}

func TestTimeThatStands(t *testing.T) {
	b := newBench(t, steady, nil)
	b.rig.Sampler = &flaky{Sampler: b.rig.Sampler, then: func(n int, s *rig.Sample) {
		if n > 1000 {
			s.At = 0
		}
	}}
	_, err := Run(context.Background(), b.rig, short(), profile(), Options{})
	require.ErrorContains(t, err, "does not advance")
	b.isOff(t)
}

func TestCancelledBefore(t *testing.T) {
	b := newBench(t, steady, nil)
	ctx, cancel := context.WithCancelCause(context.Background())
	cancel(fmt.Errorf("power off: %w", context.Canceled))
	out, err := Run(ctx, b.rig, short(), profile(), Options{})
	require.ErrorContains(t, err, "power off")
	assert.Empty(t, b.spy.moves)
	assert.NotNil(t, out.Trip)
}
