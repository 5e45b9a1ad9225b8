package startup

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"dutybench/signal/trace"
)

// lawful holds what is true of the start in any trace.
func lawful(t require.TestingT, tr *trace.Trace, s Startup) {
	x := tr.Time()
	if math.IsNaN(s.Commanded_s) {
		require.Empty(t, s.Attempts)
		require.False(t, s.Ran)
		return
	}
	require.False(t, math.IsNaN(s.Rest_A))
	end := s.Commanded_s
	for i, a := range s.Attempts {
		require.GreaterOrEqual(t, a.Start_s, end, "attempts overlap")
		require.GreaterOrEqual(t, a.Length_s, 0.0)
		require.LessOrEqual(t, a.Start_s, x[len(x)-1])
		require.False(t, math.IsNaN(a.Mean_A) || a.Mean_A > a.Peak_A+1e-9)
		require.True(t, math.IsNaN(a.Empty) || a.Empty >= 0 && a.Empty <= 1)
		require.Equal(t, s.Ran && i == len(s.Attempts)-1, a.Running)
		end = a.Start_s
	}
	if s.Ran {
		require.NotEmpty(t, s.Attempts)
		require.GreaterOrEqual(t, s.Settled_s, s.Attempts[len(s.Attempts)-1].Start_s)
		require.LessOrEqual(t, s.Settled_s, x[len(x)-1])
	} else {
		require.True(t, math.IsNaN(s.Settled_s))
	}
}

// randomTrace is a small trace of any shape.
func randomTrace(r *rand.Rand) *trace.Trace {
	n := 1 + r.IntN(600)
	if r.IntN(8) == 0 {
		n = 1 + r.IntN(4)
	}
	x, duty, current := make([]float64, n), make([]float64, n), make([]float64, n)
	on, volts := make([]float64, n), make([]float64, n)
	dt := math.Pow(10, -1-3*r.Float64())
	now, level, height, live := 0.0, 50*r.Float64(), 0.0, 1.0
	for i := range x {
		switch r.IntN(20) {
		case 0:
		case 1:
			now += 30 * dt
		default:
			now += dt
		}
		switch r.IntN(60) {
		case 0:
			level = 100 * r.Float64()
		case 1:
			height = 5 * r.Float64()
		case 2:
			height = 0
		case 3:
			live = 1 - live
		}
		x[i], duty[i], on[i], volts[i] = now, level, live, 12*live
		current[i] = height + 0.01*r.NormFloat64()
		if r.IntN(3) == 0 {
			on[i] = math.NaN()
		}
		if r.IntN(3) == 0 {
			volts[i] = math.NaN()
		}
	}
	tr := &trace.Trace{Source: "made", Columns: []trace.Column{
		{Name: trace.ColTime, Values: x}, {Name: trace.ColDuty, Values: duty}, {Name: trace.ColCurrent, Values: current}}}
	if r.IntN(2) == 0 {
		tr.Columns = append(tr.Columns, trace.Column{Name: trace.ColSupplyOn, Values: on})
	}
	if r.IntN(2) == 0 {
		tr.Columns = append(tr.Columns, trace.Column{Name: trace.ColSupply, Values: volts})
	}
	return tr
}

func TestAnyTraceIsLawful(t *testing.T) {
	for seed := range uint64(3000) {
		tr := randomTrace(rand.New(rand.NewPCG(seed, 7)))
		for _, e := range []func(float64) float64{nil, expect, func(float64) float64 { return math.NaN() }} {
			require.NotPanics(t, func() { lawful(t, tr, Find(tr, 0, e)) }, "seed %d", seed)
			if t.Failed() {
				t.Fatalf("seed %d", seed)
			}
		}
	}
}

func TestConstantTraces(t *testing.T) {
	for _, n := range []int{1, 2, 5, 100, 5000} {
		x, duty, current := make([]float64, n), make([]float64, n), make([]float64, n)
		for i := range x {
			x[i], duty[i], current[i] = float64(i)/1000, 50, 1
		}
		tr := &trace.Trace{Columns: []trace.Column{
			{Name: trace.ColTime, Values: x}, {Name: trace.ColDuty, Values: duty}, {Name: trace.ColCurrent, Values: current}}}
		lawful(t, tr, Find(tr, 0, nil))
		for i := range x {
			x[i] = 0 // no time passes
		}
		lawful(t, tr, Find(tr, 0, expect))
	}
}

func FuzzFind(f *testing.F) {
	f.Add(uint64(1), []byte{0, 0, 0, 0, 0, 9, 9, 9, 200, 200, 200, 200, 200, 40, 40, 40, 40, 40, 40, 40})
	f.Fuzz(func(t *testing.T, seed uint64, b []byte) {
		if len(b) == 0 || len(b) > 3000 {
			return
		}
		r := rand.New(rand.NewPCG(seed, 8))
		x, duty, current := make([]float64, len(b)), make([]float64, len(b)), make([]float64, len(b))
		for i, c := range b {
			if i > 0 {
				x[i] = x[i-1] + float64(c&3)*0.005
			}
			if duty[i] = float64(i/64*20) + 10; c == 0 {
				duty[i] = 0
			}
			current[i] = float64(c>>2)/10 + 0.001*r.NormFloat64()
		}
		tr := &trace.Trace{Columns: []trace.Column{
			{Name: trace.ColTime, Values: x}, {Name: trace.ColDuty, Values: duty}, {Name: trace.ColCurrent, Values: current}}}
		lawful(t, tr, Find(tr, 0, nil))
		lawful(t, tr, Find(tr, 0, expect))
	})
}
