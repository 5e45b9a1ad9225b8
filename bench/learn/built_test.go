package learn_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"dutybench/bench/kind/pump"
	"dutybench/bench/learn"
	"dutybench/profiles"
	"dutybench/signal/trace"
)

// unit draws quiet + friction·w + water·w³, w the share of full duty.
type unit struct {
	name                   string
	quiet, friction, water float64
}

func (u unit) at(duty float64) float64 {
	w := duty / 100
	return u.quiet + u.friction*w + u.water*w*w*w
}

// drawn is a good unit: 4 % of spread in friction, 2 % in water.
func drawn(n int) unit {
	r := rand.New(rand.NewPCG(uint64(n), 5))
	return unit{fmt.Sprintf("U-%02d", n), 0.03 * (1 + 0.03*r.NormFloat64()), 0.6 * (1 + 0.04*r.NormFloat64()), 4 * (1 + 0.02*r.NormFloat64())}
}

// sweep is the duties of a recording, in their order.
var sweep = []float64{20, 40, 60, 80, 100, 80, 60, 40, 20}

const (
	rate_Hz = 250
	step_s  = 1.0
	noise_A = 0.002
	open_V  = 12.5
	lead    = 0.04 // ohm
)

// recorded is a second of rest, a start burst of 0.3 s, and a second at each
// duty.
func recorded(u unit, duties []float64, seed uint64) *trace.Trace {
	r := rand.New(rand.NewPCG(seed, 6))
	var t, d, x, v []float64
	for i := range int(rate_Hz * step_s * float64(1+len(duties))) {
		at := float64(i) / rate_Hz
		duty, amps := 0.0, u.quiet
		if k := int(at/step_s) - 1; k >= 0 {
			duty = duties[k]
			amps = u.at(duty)
			if at < step_s+0.3 {
				amps += 2
			}
		}
		amps += noise_A * r.NormFloat64()
		t, d, x, v = append(t, at), append(d, duty), append(x, amps), append(v, open_V-lead*amps)
	}
	return &trace.Trace{Source: fmt.Sprintf("%s-%d.csv", u.name, seed), SHA256: fmt.Sprintf("%064x", seed),
		Meta:    []trace.Entry{{Key: trace.KeyUnit, Value: u.name}, {Key: trace.KeyKind, Value: "pump"}},
		Columns: []trace.Column{{Name: trace.ColTime, Values: t}, {Name: trace.ColDuty, Values: d}, {Name: trace.ColCurrent, Values: x}, {Name: trace.ColSupply, Values: v}}}
}

// good is one recording each of n good units.
func good(n int) []*trace.Trace {
	var out []*trace.Trace
	for i := range n {
		out = append(out, recorded(drawn(i+1), sweep, uint64(i+1)))
	}
	return out
}

func learned(tb testing.TB, traces []*trace.Trace) (*profiles.Profile, *learn.Report) {
	tb.Helper()
	p, rep, err := learn.Learn(traces, pump.Kind{}, options)
	require.NoError(tb, err)
	return p, rep
}

func refused(tb testing.TB, traces []*trace.Trace) string {
	tb.Helper()
	p, _, err := learn.Learn(traces, pump.Kind{}, options)
	require.Error(tb, err)
	require.Nil(tb, p)
	return err.Error()
}

var options = learn.Options{Name: "learned", On: "2025-01-01", Program: "test"}

func valueOf(tb testing.TB, g profiles.GoodUnit, name string) float64 {
	tb.Helper()
	x, ok := g.Get(name)
	require.True(tb, ok, "%s has no %s", g.Unit, name)
	require.False(tb, math.IsNaN(x))
	return x
}
