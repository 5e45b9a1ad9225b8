package judge_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"dutybench/signal/trace"
)

// noise is a trace without sense: uneven time, duty in random steps, any
// current, a voltage with holes.
func noise(seed uint64, n int, scale float64) *trace.Trace {
	r := rand.New(rand.NewPCG(seed, 9))
	cols := [5][]float64{}
	t, duty, on := 0.0, 0.0, 1.0
	for range n {
		t += r.ExpFloat64() * 0.01
		if r.IntN(40) == 0 {
			duty = float64(r.IntN(11)) * 10
		}
		if r.IntN(200) == 0 {
			on = 1 - on
		}
		v := 12 * r.Float64()
		if r.IntN(3) == 0 {
			v = trace.NotSampled()
		}
		for i, x := range []float64{t, duty, scale * r.NormFloat64(), v, on} {
			cols[i] = append(cols[i], x)
		}
	}
	tr := &trace.Trace{Source: "noise"}
	for i, name := range []string{trace.ColTime, trace.ColDuty, trace.ColCurrent, trace.ColSupply, trace.ColSupplyOn} {
		tr.Columns = append(tr.Columns, trace.Column{Name: name, Values: cols[i]})
	}
	return tr
}

// A result is sound whatever the trace: finite, whole, its causes summing to 1.
func FuzzJudge(f *testing.F) {
	p := ordinary(f)
	f.Add(uint64(1), 200, 0.1)
	f.Add(uint64(2), 3, 100.0)
	f.Fuzz(func(t *testing.T, seed uint64, n int, scale float64) {
		if math.IsNaN(scale) || math.Abs(scale) > 1e6 {
			return
		}
		sound(t, judged(t, noise(seed, min(max(n, 1), 3000), scale), p))
	})
}
