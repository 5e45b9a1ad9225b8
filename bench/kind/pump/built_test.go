package pump

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"dutybench/bench/kind"
	"dutybench/profiles"
	"dutybench/signal/trace"
)

// sampled is a trace of given functions of time.
type sampled struct {
	rate_Hz, length_s float64
	duty, current     func(t float64) float64
	volts             func(t, amps float64) float64 // nil: not sampled
	on                func(t float64) bool          // nil: no such column
}

func (s sampled) trace() *trace.Trace {
	var t, d, x, v, on []float64
	for i := range int(s.length_s * s.rate_Hz) {
		at := float64(i) / s.rate_Hz
		a := s.current(at)
		t, d, x = append(t, at), append(d, s.duty(at)), append(x, a)
		if s.volts != nil {
			v = append(v, s.volts(at, a))
		}
		if s.on != nil {
			on = append(on, 0)
			if s.on(at) {
				on[i] = 1
			}
		}
	}
	tr := &trace.Trace{Source: "sampled.csv", Columns: []trace.Column{{Name: trace.ColTime, Values: t}, {Name: trace.ColDuty, Values: d}, {Name: trace.ColCurrent, Values: x}}}
	if v != nil {
		tr.Columns = append(tr.Columns, trace.Column{Name: trace.ColSupply, Values: v})
	}
	if on != nil {
		tr.Columns = append(tr.Columns, trace.Column{Name: trace.ColSupplyOn, Values: on})
	}
	return tr
}

func measured(tb testing.TB, tr *trace.Trace, p *profiles.Profile) (*kind.Measured, *detail) {
	tb.Helper()
	m, err := Kind{}.Measure(tr, p)
	require.NoError(tb, err)
	return m, m.Detail.(*detail)
}

// stairs is a second at rest, then 20 to 100 % and back, step_s a step.
func stairs(step_s float64) (duty func(t float64) float64, length_s float64) {
	return func(t float64) float64 {
		if t < 1 {
			return 0
		}
		k := int((t - 1) / step_s)
		if k > 8 {
			k = max(16-k, 0)
		}
		return 20 + 10*float64(k)
	}, 1 + 17*step_s
}

// follow draws quiet, a burst of 0.3 s and the law of the duty.
func follow(duty func(float64) float64, r *rand.Rand, more func(t, run float64) float64) func(t float64) float64 {
	return func(t float64) float64 {
		x := 0.03 + 0.002*r.NormFloat64()
		switch d := duty(t) / 100; {
		case d == 0:
			return x
		case t < 1.3:
			return x + 2
		default:
			run := 0.6*d + 4*math.Pow(d, 3)
			if more != nil {
				run += more(t, run)
			}
			return x + run
		}
	}
}

func value(tb testing.TB, m *kind.Measured, name string) kind.Value {
	tb.Helper()
	v := m.Get(name)
	require.NotNil(tb, v, "no %s", name)
	return *v
}
