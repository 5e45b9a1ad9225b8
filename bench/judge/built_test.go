package judge_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"dutybench/bench/judge"
	"dutybench/bench/kind"
	"dutybench/bench/kind/pump"
	"dutybench/bench/learn"
	"dutybench/bench/result"
	"dutybench/profiles"
	"dutybench/signal/trace"
)

// unit is one pump as its supply sees it. With w the share of full speed,
//
//	I = quiet + scale·(c·w + v·w² + h·w³), at most limit_A
//
// and w follows the duty with a time constant of 60 ms. Nothing of a motor is
// in here: the point is a trace whose every part is known beforehand.
type unit struct {
	quiet, c, v, h float64 // A
	scale          float64
	limit_A        float64 // of the board, above quiet; 0 none
	charge_C       float64 // taken at switch-on
	delay_s        float64 // from the command to the first attempt
	burst_A        float64 // height of an attempt, above quiet
	burst_s        float64
	// tries fail before the start; a negative count is a unit that tries for
	// ever. A failed try stands try_A high for try_s, with a share of it empty,
	// and is followed by a rest.
	tries               int
	try_A, try_s, empty float64
	rises_A             float64 // by which a failed try ends higher than it began
	rest_s              float64
	asleep              bool    // never tries
	awake_A             float64 // above quiet while commanded
	deaf                bool    // runs at full from the command on, whatever it is
	hears               float64 // share of the way to full by which it hears more than was commanded
	warmAt_s            float64 // bench time from which warm is what it is like
	warm                func(u *unit)
}

// bench is what the unit lies on.
type bench struct {
	rate_Hz, noise_A     float64
	open_V, ohm, limit_A float64
	unplugged            bool
	plan                 []stage
}

// stage is one stretch of a recording.
type stage struct {
	on   bool
	duty float64
	s    float64
	name string
}

// whole is off, rest, start, sweep up, hold, sweep down, stop.
func whole() []stage {
	p := []stage{{false, 0, 0.3, "zero"}, {true, 0, 1.2, "quiet"}, {true, 20, 2, "start"}}
	for d := 30.0; d < 100; d += 10 {
		p = append(p, stage{true, d, 0.8, "up"})
	}
	p = append(p, stage{true, 100, 1.5, "hold"})
	for d := 90.0; d > 15; d -= 10 {
		p = append(p, stage{true, d, 0.8, "down"})
	}
	return append(p, stage{true, 0, 0.5, "stop"})
}

func onBench() bench {
	return bench{rate_Hz: 1024, noise_A: 0.004, open_V: 12.6, ohm: 0.03, plan: whole()}
}

// good draws a good unit: 1 % of spread in scale, 4 % in friction, 2 % in
// water, 3 to 5 % in what it does at rest and at the start.
func good(seed uint64) unit {
	r := rand.New(rand.NewPCG(seed, 0x676f6f64))
	about := func(x, share float64) float64 { return x * math.Exp(share*r.NormFloat64()) }
	return unit{
		quiet: about(0.030, 0.03), c: about(0.6, 0.04), v: 0.1, h: about(4.0, 0.02), scale: about(1, 0.01),
		charge_C: about(0.012, 0.03), delay_s: about(0.15, 0.05), burst_A: about(2.5, 0.03), burst_s: about(0.35, 0.03),
		awake_A: 0.02,
	}
}

// changed is a good unit with something wrong.
func changed(seed uint64, change func(u *unit)) unit {
	u := good(seed)
	change(&u)
	return u
}

// start is the current above quiet that a commanded unit draws t seconds
// after the command, and whether it has begun to run.
func (u unit) start(t float64) (amp float64, runs bool) {
	t -= u.delay_s
	if u.asleep || t < 0 {
		return u.awake_A, false
	}
	if period := u.try_s + u.rest_s; u.tries != 0 {
		if k := int(t / period); u.tries < 0 || k < u.tries {
			into := t - float64(k)*period
			switch {
			case into >= u.try_s:
				return u.awake_A, false
			case math.Mod(into, 0.03) < 0.03*u.empty: // gaps of an electrical turn
				return 0, false
			}
			return u.try_A + u.rises_A*into/u.try_s, false
		}
		t -= float64(u.tries) * period
	}
	if t < u.burst_s {
		return u.burst_A, false
	}
	return 0, true
}

// recorder is a recording in the making.
type recorder struct {
	bench
	u            unit
	at, w        float64
	commanded_s  float64
	live         bool
	amps, volts  float64
	noise        *rand.Rand
	t, d, on     []float64
	x, v         []float64
	stepComments []trace.Entry
}

// record runs the plan.
func (b bench) record(u unit, seed uint64) *trace.Trace {
	r := recorder{bench: b, u: u, commanded_s: math.NaN(), noise: rand.New(rand.NewPCG(seed, 0x6e6f6973))}
	for _, s := range b.plan {
		r.stepComments = append(r.stepComments, trace.Entry{Key: "step", Value: fmt.Sprintf("%s %.4f %.4f", s.name, r.at, r.at+s.s)})
		for range int(math.Round(s.s * b.rate_Hz)) {
			r.sample(s)
		}
	}
	return &trace.Trace{Source: fmt.Sprintf("unit-%d.csv", seed), Meta: append([]trace.Entry{
		{Key: trace.KeyTrace, Value: trace.Format}, {Key: trace.KeyUnit, Value: fmt.Sprintf("U-%03d", seed)},
		{Key: trace.KeyKind, Value: "pump"}, {Key: trace.KeyNominal, Value: "12"}}, r.stepComments...),
		Columns: []trace.Column{{Name: trace.ColTime, Values: r.t}, {Name: trace.ColDuty, Values: r.d}, {Name: trace.ColCurrent, Values: r.x, Resolution: 1e-4},
			{Name: trace.ColSupplyOn, Values: r.on, Resolution: 1}, {Name: trace.ColSupply, Values: r.v, Resolution: 1e-3}}}
}

// sample takes one sample.
func (r *recorder) sample(s stage) {
	r.amps, r.volts = 0, 0
	dt, on := 1/r.rate_Hz, 0.0
	if s.on {
		r.supplied(s, dt)
		on = 1
	}
	if r.unplugged {
		r.amps, r.volts = 0, r.open_V
	}
	r.live = s.on
	r.t, r.d, r.on = append(r.t, r.at), append(r.d, s.duty), append(r.on, on)
	r.x = append(r.x, round(r.amps+r.noise_A*r.noise.NormFloat64(), 1e-4))
	r.v = append(r.v, round(r.volts+0.002*r.noise.NormFloat64(), 1e-3))
	r.at = round(r.at+dt, 1e-9)
}

// supplied is current and voltage with the supply on.
func (r *recorder) supplied(s stage, dt float64) {
	if u := &r.u; u.warm != nil && r.at >= u.warmAt_s {
		u.warm(u)
		u.warm = nil
	}
	u, amps, aim := r.u, r.u.quiet, 0.0
	if !r.live {
		amps += u.charge_C / dt
	}
	if s.duty > 0 {
		if math.IsNaN(r.commanded_s) {
			r.commanded_s = r.at
		}
		extra, runs := u.start(r.at - r.commanded_s)
		amps += extra
		if runs {
			aim = s.duty/100 + u.hears*(1-s.duty/100)
			if u.deaf {
				aim = 1
			}
		}
	} else {
		r.commanded_s = math.NaN()
	}
	r.w += (aim - r.w) * (1 - math.Exp(-dt/0.06))
	run := u.scale * (u.c*r.w + u.v*r.w*r.w + u.h*r.w*r.w*r.w)
	if u.limit_A > 0 {
		run = min(run, u.limit_A)
	}
	amps += run
	r.amps, r.volts = amps, r.open_V-r.ohm*amps
	if r.limit_A > 0 && amps > r.limit_A && r.live {
		// A supply at its limit: the current stands, and the voltage falls the
		// more the unit asks for.
		r.amps, r.volts = r.limit_A, (r.open_V-r.ohm*r.limit_A)*r.limit_A/amps
	}
}

func round(x, step float64) float64 { return math.Round(x/step) * step }

// without is a copy of a trace that lacks a column.
func without(tr *trace.Trace, name string) *trace.Trace {
	c := *tr
	c.Columns = slices.DeleteFunc(slices.Clone(tr.Columns), func(col trace.Column) bool { return col.Name == name })
	return &c
}

// profileOf learns from n good units.
func profileOf(tb testing.TB, b bench, n int) *profiles.Profile {
	tb.Helper()
	var traces []*trace.Trace
	for i := range n {
		traces = append(traces, b.record(good(uint64(1000+i)), uint64(1000+i)))
	}
	p, rep, err := learn.Learn(traces, pump.Kind{}, learn.Options{Name: "built", On: "2025-01-01"})
	require.NoError(tb, err)
	require.Empty(tb, rep.LeftOut)
	return p
}

// ordinaryFile is the profile of fifteen good units on the ordinary bench,
// learned once, by the first test that asks.
var ordinaryFile []byte

// ordinary reads ordinaryFile anew, so that each test may change what it gets.
func ordinary(tb testing.TB) *profiles.Profile {
	tb.Helper()
	if ordinaryFile == nil {
		data, err := profiles.Encode(profileOf(tb, onBench(), 15))
		require.NoError(tb, err)
		ordinaryFile = data
	}
	p, err := profiles.Parse(ordinaryFile, "built.toml", section)
	require.NoError(tb, err)
	return p
}

func section(string) (any, error) { return pump.Kind{}.Section(), nil }

func judged(tb testing.TB, tr *trace.Trace, p *profiles.Profile) *result.Result {
	tb.Helper()
	return judgedAs(tb, tr, p, kind.Conditions{})
}

func judgedAs(tb testing.TB, tr *trace.Trace, p *profiles.Profile, c kind.Conditions) *result.Result {
	tb.Helper()
	r, err := judge.Judge(tr, p, pump.Kind{}, judge.Options{Conditions: c})
	require.NoError(tb, err)
	sound(tb, r)
	return r
}

// find is a finding by its name.
func find(tb testing.TB, r *result.Result, name string) result.Finding {
	tb.Helper()
	i := slices.IndexFunc(r.Findings, func(f result.Finding) bool { return f.Name == name })
	require.GreaterOrEqual(tb, i, 0, "no finding %s", name)
	return r.Findings[i]
}

// ordinaryAt learns from twenty good units whose seeds begin at from.
func ordinaryAt(tb testing.TB, b bench, from uint64) *profiles.Profile {
	tb.Helper()
	var traces []*trace.Trace
	for i := range uint64(20) {
		traces = append(traces, b.record(good(from+i), from+i))
	}
	p, _, err := learn.Learn(traces, pump.Kind{}, learn.Options{Name: "built", On: "2025-01-01"})
	require.NoError(tb, err)
	return p
}
