package solenoid_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/judge"
	"dutybench/bench/kind/solenoid"
	"dutybench/bench/learn"
	"dutybench/bench/result"
	"dutybench/profiles"
	"dutybench/signal/trace"
)

// stranger is a valve by other equations than the simulator's: current is the
// state, inductance a hyperbola of the plunger's place without iron, dry friction
// smoothed, stops soft, integrated by Runge and Kutta's fourth order.
//
//	L(y)·i' = u − R·i − i·L'(y)·v     m·v' = ½·i²·L'(y) − spring − friction − stop
type stranger struct {
	ohm, joint            float64
	l0, reach             float64 // L = l0/(1 + (stroke − y)/reach)
	stroke, block         float64 // m; block: how far short it stops
	mass, preload, rate   float64
	dry, viscous          float64
	stuck, open, noReturn bool
}

func drawStranger(r *rand.Rand) stranger {
	v := func(x, sd float64) float64 { return x * (1 + sd*max(-3, min(3, r.NormFloat64()))) }
	return stranger{ohm: v(30, 0.015), l0: v(0.11, 0.03), reach: v(1.6e-3, 0.03), stroke: v(2e-3, 0.02),
		mass: v(0.008, 0.01), preload: v(2.0, 0.04), rate: v(500, 0.03), dry: v(0.15, 0.15), viscous: v(0.8, 0.1)}
}

func (s stranger) l(y float64) (l, slope float64) {
	q := 1 + (s.stroke-y)/s.reach
	return s.l0 / q, s.l0 / (q * q * s.reach)
}

func (s stranger) rates(z [3]float64, volt float64) [3]float64 {
	i, y, v := z[0], z[1], z[2]
	l, slope := s.l(y)
	end := s.stroke - s.block
	f := i*i*slope/2 - s.preload - s.rate*y - s.viscous*v - s.dry*math.Tanh(v/2e-3)
	switch { // stops: stiff springs with much damping
	case y < 0:
		f += -3e5*y - 60*v
	case y > end:
		f += -3e5*(y-end) - 60*v
	}
	if s.stuck || s.noReturn && y >= end && f < 0 {
		f, v = 0, 0
	}
	return [3]float64{(volt - (s.ohm+s.joint)*i - i*slope*v) / l, v, f / s.mass}
}

// test is a trace of pulses, sampled at 10 kHz by a converter of 1 mA with noise,
// voltage every 10 ms; current recirculates through a diode.
func (s stranger) test(name string, r *rand.Rand, volt, lead, limit float64) *trace.Trace {
	const step, sub = 1e-4, 4
	var t, duty, amp, on, supply []float64
	z := [3]float64{0, -s.preload / 3e5, 0}
	n := 0
	run := func(long, d, live float64) {
		for k := 0; k < int(long/step+0.5); k++ {
			seen := volt * live
			for range sub {
				h := step / sub
				u, i := volt, z[0]
				if d == 0 {
					u = -0.75
				} else {
					u -= lead * i
					if limit > 0 && i > limit {
						u = min(u, (s.ohm+s.joint)*i*0.98)
					}
					seen = u
				}
				if s.open {
					continue
				}
				f := func(z [3]float64) [3]float64 { return s.rates(z, u) }
				at := func(z, k [3]float64, h float64) [3]float64 {
					return [3]float64{z[0] + h*k[0], z[1] + h*k[1], z[2] + h*k[2]}
				}
				k1 := f(z)
				k2 := f(at(z, k1, h/2))
				k3 := f(at(z, k2, h/2))
				k4 := f(at(z, k3, h))
				for j := range z {
					z[j] += h / 6 * (k1[j] + 2*k2[j] + 2*k3[j] + k4[j])
				}
				z[0] = max(0, z[0])
			}
			t, duty, on = append(t, float64(n)*step), append(duty, d), append(on, live)
			amp = append(amp, math.Round(1e3*(z[0]+1e-3*r.NormFloat64()))/1e3)
			v := math.NaN()
			if n%100 == 37 || d > 0 && n%100 == 77 {
				v = math.Round((seen+0.003*r.NormFloat64())*100) / 100
			}
			supply = append(supply, v)
			n++
		}
	}
	run(0.2, 0, 0)
	run(0.2, 0, 1)
	for range 3 {
		run(0.2, 100, 1)
		run(0.2, 0, 1)
	}
	return &trace.Trace{Source: name, SHA256: fmt.Sprintf("%064x", r.Uint64()),
		Meta: []trace.Entry{{Key: trace.KeyUnit, Value: name}, {Key: trace.KeyKind, Value: "solenoid"}, {Key: trace.KeyRecirculation, Value: trace.RecirculationSeen}, {Key: trace.KeyNominal, Value: "24"}},
		Columns: []trace.Column{{Name: trace.ColTime, Values: t}, {Name: trace.ColDuty, Values: duty}, {Name: trace.ColCurrent, Values: amp, Resolution: 1e-3},
			{Name: trace.ColSupplyOn, Values: on}, {Name: trace.ColSupply, Values: supply, Resolution: 0.01}}}
}

func strangerProfile(t *testing.T, units int) *profiles.Profile {
	t.Helper()
	r := rand.New(rand.NewPCG(11, 12))
	like := &profiles.Profile{Format: 1, Name: "strange-valve", Kind: "solenoid", Revision: 1, Section: &solenoid.Section{Type: "on-off"},
		Command: profiles.Command{Type: profiles.Switched, Wake_pct: 100, Full_pct: 100},
		Supply:  profiles.Supply{Nominal_V: 24, Low_V: 18, High_V: 30},
		Limits:  profiles.Limits{Current_A: 1.2, Time: time.Second, Peak_A: 1.6}}
	var traces []*trace.Trace
	for i := range units {
		traces = append(traces, drawStranger(r).test(fmt.Sprintf("good-%d", i), r, 24, 0.05, 0))
	}
	p, rep, err := learn.Learn(traces, solenoid.Kind{}, learn.Options{Name: "strange-valve", Like: like})
	require.NoError(t, err)
	require.Empty(t, rep.LeftOut)
	return p
}

// Units of a model that shares nothing with the simulator: good ones pass, and what
// is wrong with the others is put to the right side.
func TestStrangers(t *testing.T) {
	p := strangerProfile(t, 20)
	r := rand.New(rand.NewPCG(21, 22))
	refused := 0
	const good = 8
	for i := range good {
		res, err := judge.Judge(drawStranger(r).test(fmt.Sprintf("new-%d", i), r, 24, 0.05, 0), p, solenoid.Kind{}, judge.Options{})
		require.NoError(t, err)
		if res.Verdict != result.Pass {
			refused++
			t.Log(res.Sentence)
		}
	}
	assert.LessOrEqual(t, refused, 1)
	for _, c := range []struct {
		name        string
		hurt        func(s *stranger)
		lead, limit float64
		verdict     result.Verdict
		cause       result.Cause
	}{
		{name: "open", hurt: func(s *stranger) { s.open = true }, verdict: result.Undecided, cause: result.Electrical},
		{name: "an eighth of the turns shorted", hurt: func(s *stranger) { s.ohm *= 0.875; s.l0 *= 0.875 * 0.875 }, verdict: result.Fail, cause: result.Electrical},
		{name: "a joint of 5 ohm", hurt: func(s *stranger) { s.joint = 5 }, verdict: result.Fail, cause: result.Electrical},
		{name: "stuck at rest", hurt: func(s *stranger) { s.stuck = true }, verdict: result.Fail, cause: result.Mechanical},
		{name: "does not return", hurt: func(s *stranger) { s.noReturn = true }, verdict: result.Fail, cause: result.Mechanical},
		{name: "60 % of the spring lost", hurt: func(s *stranger) { s.preload *= 0.4; s.rate *= 0.4 }, verdict: result.Fail, cause: result.Mechanical},
		{name: "drag", hurt: func(s *stranger) { s.viscous += 8; s.dry += 0.5 }, verdict: result.Fail, cause: result.Mechanical},
		{name: "half a millimetre short", hurt: func(s *stranger) { s.block = 0.5e-3 }, verdict: result.Fail, cause: result.Mechanical},
		{name: "0.8 mm long", hurt: func(s *stranger) { s.stroke += 0.8e-3 }, verdict: result.Fail, cause: result.Mechanical},
		{name: "2 ohm in the leads", hurt: func(*stranger) {}, lead: 2, verdict: result.Undecided, cause: result.Wiring},
		{name: "a supply of 0.6 A", hurt: func(*stranger) {}, limit: 0.6, verdict: result.Undecided, cause: result.Bench},
	} {
		for i := range 1 {
			s := drawStranger(r)
			c.hurt(&s)
			lead := max(c.lead, 0.05)
			res, err := judge.Judge(s.test(fmt.Sprintf("%s %d", c.name, i), r, 24, lead, c.limit), p, solenoid.Kind{}, judge.Options{})
			require.NoError(t, err)
			if !assert.Equal(t, c.verdict, res.Verdict, "%s: %s", c.name, res.Sentence) || res.Cause != nil && *res.Cause != c.cause {
				for _, f := range res.Findings {
					if f.Value != nil && f.Spread != nil {
						t.Logf("%s %.4g %s, %.1f sd: %s", f.Name, *f.Value, f.Unit, *f.Spread, f.Result)
					}
				}
			}
			if assert.NotNil(t, res.Cause, c.name) {
				// Where the voltage was sampled too seldom, leads and supply are named
				// together: that is right too.
				assert.Contains(t, append([]result.Cause{*res.Cause}, res.Inseparable...), c.cause, "%s: %s", c.name, res.Sentence)
			}
		}
	}
}
