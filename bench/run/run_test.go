package run

import (
	"bytes"
	"context"
	"io"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/kind"
	"dutybench/bench/rig"
	"dutybench/bench/sim"
	"dutybench/profiles"
	"dutybench/signal/stat"
	"dutybench/signal/trace"
)

func TestWholePlan(t *testing.T) {
	b := newBench(t, steady, nil)
	out := b.run(t, Options{Unit: "A1", Program: "dutybench test"})
	require.Nil(t, out.Trip)
	assert.Empty(t, out.Ended)
	assert.Empty(t, out.Faults)
	assert.Empty(t, out.Warnings)
	assert.Equal(t, b.rig.Facts, out.Facts)
	assert.True(t, out.Off.Verified)
	assert.InDelta(t, 0, out.Off.Current_A, math.Abs(out.Zero.Value)/2, "the zero has been taken off")

	require.Len(t, b.spy.moves, 2, "on once, off once")
	require.Len(t, b.load.felt, 1)
	assert.Equal(t, sim.LinePWM, b.load.felt[0].State, "the stop command lies on the line when the supply comes")
	assert.InDelta(t, 0.05, b.load.felt[0].High, 1e-6)

	tr := out.Trace
	n := tr.Len()
	assert.Greater(t, n, 4000)
	for _, c := range tr.Columns {
		assert.Len(t, c.Values, n, c.Name)
	}
	at, duty, current, on, line := tr.Time(), tr.Duty(), tr.Current(), tr.Values(trace.ColSupplyOn), tr.Values(trace.ColLineDuty)
	sum, count := map[float64]float64{}, map[float64]float64{}
	rose, fell := 0.0, 0.0
	for i := range at {
		if i > 0 {
			require.Greater(t, at[i], at[i-1])
			if on[i] > on[i-1] {
				rose = at[i]
			} else if on[i] < on[i-1] {
				fell = at[i]
			}
		}
		if edge := i > 0 && on[i-1] != on[i] || i+1 < n && on[i+1] != on[i]; edge {
			continue // the conversion in which the switch moved
		}
		if on[i] == 0 {
			require.InDelta(t, 0, current[i], 0.03)
		} else if !math.IsNaN(line[i]) {
			require.Equal(t, duty[i], line[i])
			sum[duty[i]] += current[i]
			count[duty[i]]++
		} else {
			require.Equal(t, 5.0, duty[i])
			require.InDelta(t, 0.05, current[i], 0.16)
		}
	}
	for d, want := range map[float64]float64{5: 0.2, 50: 1.55, 100: 0.05} { // full line duty is a level, not PWM
		assert.InDelta(t, want, sum[d]/count[d], 0.02*want+0.01, "%g %%", d)
	}
	start := out.Off.At - b.spy.moves[1]
	for i := range at {
		// A sample belongs to the state at the middle of its conversion.
		since := at[i] - (b.spy.moves[0] + start).Seconds()
		until := at[i] - out.Off.At.Seconds()
		if math.Abs(since) > 30e-6 && math.Abs(until) > 30e-6 {
			require.Equal(t, since > 0 && until < 0, on[i] == 1, "at %g s", at[i])
		}
	}
	assert.InDelta(t, (b.spy.moves[0] + start).Seconds(), rose, 0.0005)
	assert.InDelta(t, (b.spy.moves[1] + start).Seconds(), fell, 0.0005)
	assert.Equal(t, b.spy.moves[1], out.LastOff)

	get := func(key string) string { v, _ := tr.Get(key); return v }
	assert.Equal(t, "1", get("trace"))
	assert.Equal(t, "A1", get("unit"))
	assert.Equal(t, "pump", get("kind"))
	assert.Equal(t, "13.5", get("supply_nominal_V"))
	assert.Equal(t, "500", get("pwm_frequency_Hz"))
	assert.Equal(t, "3012.0482", get("sample_rate_Hz"))
	assert.Equal(t, "0", get("lost_samples"))
	assert.Equal(t, "sim", get("rig"))
	assert.Equal(t, "dutybench test", get("program"))
	_, early := tr.Get("ended")
	assert.False(t, early)
	zero, ok := tr.Number("x-zero-A")
	require.True(t, ok)
	assert.Equal(t, out.Zero.Value, zero)
	assert.NotZero(t, zero, "the simulated converter has an offset")
	u, _ := tr.Number("current_offset_u_A")
	assert.Equal(t, out.Zero.U(), u)
	assert.Less(t, u, 0.001)

	var steps []string
	for _, e := range tr.Meta {
		if e.Key == "step" {
			steps = append(steps, e.Value)
		}
	}
	require.Len(t, steps, 6)
	assert.Regexp(t, `^zero 0\.0000 0\.2\d* 5$`, steps[0])
	assert.Regexp(t, `^hold \S+ \S+ 100$`, steps[3])
	assert.Regexp(t, `^missing-open \S+ \S+ released$`, steps[4])

	// A good step ends before its limit.
	assert.Less(t, at[n-1], 2.2)

	// What is written is what was measured.
	var csv bytes.Buffer
	require.NoError(t, trace.Write(&csv, tr))
	back, err := trace.Read(&csv, "t.csv")
	require.NoError(t, err)
	assert.Empty(t, back.Warnings)
	assert.Equal(t, current, back.Current())
}

func TestRepeatsExactly(t *testing.T) {
	var first *trace.Trace
	for range 2 {
		out := newBench(t, steady, nil).run(t, Options{})
		if first == nil {
			first = out.Trace
			continue
		}
		assert.Equal(t, first.Current(), out.Trace.Current())
		assert.Equal(t, first.Meta, out.Trace.Meta)
	}
}

func TestPlanWithoutZeroGetsOne(t *testing.T) {
	b := newBench(t, steady, nil)
	plan := kind.Plan{Steps: short().Steps[1:2]}
	out, err := Run(context.Background(), b.rig, plan, profile(), Options{})
	require.NoError(t, err)
	b.isOff(t)
	assert.Zero(t, out.Trace.Values(trace.ColSupplyOn)[0])
	assert.Len(t, plan.Steps, 1, "the caller's plan is not touched")
}

// cycled is a plan that takes the supply away in between.
func cycled() kind.Plan {
	off := kind.Step{Name: "off", Command_pct: 5, Min: 200 * ms, Max: 200 * ms}
	p := short()
	again := p.Steps[2]
	again.Command_pct = 80
	p.Steps = append(p.Steps[:4:4], off, again)
	return p
}

func TestSupplyTakenAwayInBetween(t *testing.T) {
	b := newBench(t, steady, nil)
	out, err := Run(context.Background(), b.rig, cycled(), profile(), Options{})
	require.NoError(t, err)
	assert.Empty(t, out.Faults)
	require.Len(t, b.spy.moves, 4)
	assert.InDelta(t, 0.2, (b.spy.moves[2] - b.spy.moves[1]).Seconds(), 0.002)
	require.Len(t, b.load.felt, 2)
	assert.InDelta(t, 0.8, b.load.felt[1].High, 1e-6, "the command lies on the line before the supply comes")
	assert.Equal(t, b.spy.moves[3], out.LastOff)

	b = newBench(t, steady, nil)
	b.World.At(600*ms, func() { b.Switch.SetFault(sim.SwitchWelded) })
	out, err = Run(context.Background(), b.rig, cycled(), profile(), Options{})
	require.NoError(t, err)
	require.NotEmpty(t, out.Faults)
	assert.Contains(t, out.Faults[0].Sentence, "still flow")
	assert.Len(t, b.spy.moves, 2, "not switched on again")
}

func TestRestIsKept(t *testing.T) {
	b := newBench(t, steady, nil)
	out := b.run(t, Options{NotBefore: 3 * time.Second})
	assert.GreaterOrEqual(t, b.spy.moves[0], 3*time.Second)
	assert.Less(t, b.spy.moves[0], 3*time.Second+5*ms)
	again, err := Run(context.Background(), b.rig, short(), profile(), Options{NotBefore: out.LastOff + 2*time.Second})
	require.NoError(t, err)
	assert.Empty(t, again.Faults)
	assert.GreaterOrEqual(t, b.spy.moves[2]-b.spy.moves[1], 2*time.Second)
	assert.Less(t, again.Trace.Time()[0], 0.001, "each trace begins at nought")
}

func TestCoastingRotorIsNoWeldedSwitch(t *testing.T) {
	b := newBench(t, steady, nil)
	b.load.tau_s = 1
	b.run(t, Options{})
	before := b.spy.moves[1]
	out := b.run(t, Options{})
	assert.Empty(t, out.Faults)
	// 13.5 V down to a fifth takes 1.6 time constants.
	assert.Greater(t, b.spy.moves[2]-before, 1500*ms)
}

func TestProgressAndPace(t *testing.T) {
	b := newBench(t, steady, nil)
	var calls []Progress
	var paced []time.Duration
	out := b.run(t, Options{Progress: func(p Progress) { calls = append(calls, p) },
		Pace: func(d time.Duration) { paced = append(paced, d) }})
	end := out.Trace.Time()[out.Trace.Len()-1]
	assert.InDelta(t, end/0.1, float64(len(calls)), 2)
	assert.InDelta(t, end/0.02, float64(len(paced)), 4)
	for i, p := range calls {
		if i > 0 {
			assert.GreaterOrEqual(t, p.Elapsed-calls[i-1].Elapsed, 100*ms)
		}
		assert.Equal(t, 6, p.Of)
		assert.LessOrEqual(t, p.Elapsed, p.Expected)
	}
	assert.Equal(t, "zero", calls[0].Step)
	assert.Equal(t, 1, calls[0].Index)
	last := calls[len(calls)-1]
	assert.Equal(t, "stop", last.Step)
	for _, p := range calls {
		if p.Step == "up" && p.Elapsed > 550*ms {
			assert.InDelta(t, 1.55, p.Current_A, 0.05)
			assert.InDelta(t, 13.4, p.Supply_V, 0.2)
			assert.Equal(t, 50.0, p.Duty_pct)
		}
	}
}

func TestRealTime(t *testing.T) {
	now := time.Unix(0, 0)
	var slept []time.Duration
	pace := RealTime(func() time.Time { return now }, func(d time.Duration) {
		slept = append(slept, d)
		now = now.Add(d)
	})
	pace(time.Second)
	now = now.Add(5 * ms)
	pace(time.Second + 20*ms)
	now = now.Add(time.Second)
	pace(time.Second + 40*ms) // behind: no sleep
	assert.Equal(t, []time.Duration{15 * ms}, slept)
}

func TestNoAllocationPerSample(t *testing.T) {
	b := newBench(t, steady, nil)
	x := newRunnerAt(t, b)
	settled := newSettling(x.now.from, b.rig.Sampler.Interval(), 2*ms, 0.001, 0.001)
	allocs := testing.AllocsPerRun(5000, func() {
		_, err := x.next()
		if err != nil || x.guard.Tripped() != nil {
			t.Fatal(err, x.guard.Tripped())
		}
		settled.add(x.sample.At, x.ch.current[x.ch.len()-1])
	})
	assert.Zero(t, allocs)
	require.NoError(t, x.guard.Open())
}

// flaky is a sampler of which some samples fail in a harmless way.
type flaky struct {
	rig.Sampler
	n    int
	then func(n int, s *rig.Sample)
}

func (f *flaky) Next(s *rig.Sample) error {
	f.n++
	err := f.Sampler.Next(s)
	f.then(f.n, s)
	return err
}

func TestLostAndLateSamplesAreCounted(t *testing.T) {
	b := newBench(t, steady, nil)
	clean := b.rig.Sampler
	b.rig.Sampler = &flaky{Sampler: clean, then: func(n int, s *rig.Sample) {
		switch n {
		case 700:
			s.Lost = 3
		case 800:
			s.Current_A = math.NaN()
		case 900, 901:
			s.Clipped = n == 901
		}
	}}
	out := b.run(t, Options{})
	// A clipped sample beyond the charging peak counts as the peak.
	require.NotNil(t, out.Trip)
	assert.Contains(t, strings.Join(out.Warnings, "\n"), "4 of ")
	assert.Contains(t, strings.Join(out.Warnings, "\n"), "1 current samples stand at the end of the range")
	lost, _ := out.Trace.Get("lost_samples")
	assert.Equal(t, "4", lost)

	b = newBench(t, steady, nil)
	b.rig.Sampler = &flaky{Sampler: b.rig.Sampler, then: func(n int, s *rig.Sample) {
		if n == 1000 {
			b.rig.Clock.Sleep(200 * time.Microsecond)
			s.At += 200 * time.Microsecond
		}
	}}
	out = b.run(t, Options{})
	assert.Nil(t, out.Trip)
	assert.Contains(t, strings.Join(out.Warnings, "\n"), "1 of ")
	assert.Contains(t, strings.Join(out.Warnings, "\n"), "came late")
}

func TestRefused(t *testing.T) {
	b := newBench(t, steady, nil)
	for name, change := range map[string]func(r *rig.Rig, plan *kind.Plan, p *profiles.Profile, o *Options){
		"no switch":        func(r *rig.Rig, _ *kind.Plan, _ *profiles.Profile, _ *Options) { r.Switch = nil },
		"no steps":         func(_ *rig.Rig, plan *kind.Plan, _ *profiles.Profile, _ *Options) { plan.Steps = nil },
		"no time":          func(_ *rig.Rig, plan *kind.Plan, _ *profiles.Profile, _ *Options) { plan.Steps[1].Max = 0 },
		"endless":          func(_ *rig.Rig, plan *kind.Plan, _ *profiles.Profile, _ *Options) { plan.Steps[1].Max = 2 * time.Hour },
		"least above most": func(_ *rig.Rig, plan *kind.Plan, _ *profiles.Profile, _ *Options) { plan.Steps[1].Min = time.Second },
		"command beyond":   func(_ *rig.Rig, plan *kind.Plan, _ *profiles.Profile, _ *Options) { plan.Steps[2].Command_pct = 101 },
		"command NaN": func(_ *rig.Rig, plan *kind.Plan, _ *profiles.Profile, _ *Options) {
			plan.Steps[2].Command_pct = math.NaN()
		},
		"good NaN":           func(_ *rig.Rig, plan *kind.Plan, _ *profiles.Profile, _ *Options) { plan.Steps[2].Good = math.NaN() },
		"starts at full":     func(_ *rig.Rig, plan *kind.Plan, _ *profiles.Profile, _ *Options) { plan.Steps[1].Command_pct = 100 },
		"starts released":    func(_ *rig.Rig, plan *kind.Plan, _ *profiles.Profile, _ *Options) { plan.Steps[1].Line = kind.Release },
		"other command":      func(_ *rig.Rig, _ *kind.Plan, p *profiles.Profile, _ *Options) { p.Command.Type = "lin" },
		"no current limit":   func(_ *rig.Rig, _ *kind.Plan, p *profiles.Profile, _ *Options) { p.Limits.Current_A = 0 },
		"no supply range":    func(_ *rig.Rig, _ *kind.Plan, p *profiles.Profile, _ *Options) { p.Supply.High_V = 0 },
		"dry, none allowed":  func(_ *rig.Rig, _ *kind.Plan, p *profiles.Profile, o *Options) { p.Limits.DryRun, o.Dry = 0, true },
		"mains":              func(_ *rig.Rig, _ *kind.Plan, p *profiles.Profile, _ *Options) { p.Supply.High_V = 250 },
		"no sampler":         func(r *rig.Rig, _ *kind.Plan, _ *profiles.Profile, _ *Options) { r.Sampler = nil },
		"minimum below zero": func(_ *rig.Rig, plan *kind.Plan, _ *profiles.Profile, _ *Options) { plan.Steps[1].Min = -1 },
	} {
		r, plan, p, o := *b.rig, short(), profile(), Options{}
		change(&r, &plan, p, &o)
		out, err := Run(context.Background(), &r, plan, p, o)
		assert.Error(t, err, name)
		assert.Nil(t, out, name)
	}
	_, err := Run(context.Background(), b.rig, short(), nil, Options{})
	assert.ErrorContains(t, err, "choose one")
	assert.Empty(t, b.spy.moves, "nothing was switched")
}

func TestMeanOfZeroIsThatOfItsSamples(t *testing.T) {
	b := newBench(t, steady, nil)
	out := b.run(t, Options{})
	on := out.Trace.Values(trace.ColSupplyOn)
	n := 0
	for n < len(on) && on[n] == 0 {
		n++
	}
	assert.InDelta(t, 0, stat.Mean(out.Trace.Current()[:n-1]), 2e-5)
}

// A comment line that a trace cannot hold is left out and told, in the rows that
// are kept meanwhile as well: the samples are never given up for it.
func TestRefusedCommentCostsNoSample(t *testing.T) {
	var rows []*trace.Trace
	out := newBench(t, steady, nil).run(t, Options{Unit: "\xff", Circumstances: []trace.Entry{{Key: "x-gauge-study", Value: " x ab"}, {Key: "fluid", Value: "water"}},
		Sink: func(r Rows) { rows = append(rows, r.Trace()) }})
	require.NotEmpty(t, rows)
	for _, tr := range append(rows, out.Trace) {
		require.NoError(t, trace.Write(io.Discard, tr))
		got, _ := tr.Get("fluid")
		assert.Equal(t, "water", got)
		_, has := tr.Get("x-gauge-study")
		assert.False(t, has)
	}
	assert.Contains(t, strings.Join(out.Warnings, "\n"), `the comment key "x-gauge-study"`)
	assert.Equal(t, out.Warnings, out.Trace.Warnings)
}
