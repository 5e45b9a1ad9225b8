package step

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/signal/trace"
)

// columns makes a trace; nil columns are left out.
func columns(t, duty, current, on, volts []float64) *trace.Trace {
	tr := &trace.Trace{Source: "made", Columns: []trace.Column{
		{Name: trace.ColTime, Values: t}, {Name: trace.ColDuty, Values: duty}, {Name: trace.ColCurrent, Values: current}}}
	for _, c := range []trace.Column{{Name: trace.ColSupplyOn, Values: on}, {Name: trace.ColSupply, Values: volts}} {
		if c.Values != nil {
			tr.Columns = append(tr.Columns, c)
		}
	}
	return tr
}

// lawful holds what is true of the steps and plateaus of any trace.
func lawful(t require.TestingT, tr *trace.Trace) {
	x, duty, on := tr.Time(), tr.Duty(), Energised(tr)
	_, measured := tolerance(duty)
	end := 0
	for i, s := range Find(tr) {
		require.GreaterOrEqual(t, s.From, end, "steps overlap")
		require.LessOrEqual(t, s.To, len(duty))
		require.GreaterOrEqual(t, s.To-s.From, shortestSamples)
		require.GreaterOrEqual(t, x[s.To-1]-x[s.From], Shortest_s)
		if i == 0 {
			require.True(t, s.Up)
		}
		lo, hi := math.Inf(1), math.Inf(-1)
		for k := s.From; k < s.To; k++ {
			require.Equal(t, s.Supply, on(k))
			lo, hi = min(lo, duty[k]), max(hi, duty[k])
		}
		require.True(t, lo-1e-9 <= s.Duty_pct && s.Duty_pct <= hi+1e-9)
		if !measured {
			require.LessOrEqual(t, hi-lo, duty_pct, "a commanded step is constant")
		}
		end = s.To
	}
	for _, p := range Plateaus(tr) {
		require.True(t, p.From <= p.Start && p.Start < p.End && p.End <= p.To)
		require.GreaterOrEqual(t, p.End-p.Start, leastBlocks/2)
		require.False(t, math.IsNaN(p.Current.Value) || math.IsNaN(p.Current.U()) || math.IsNaN(p.Median_A) || math.IsNaN(p.Drift_A))
	}
}

// randomTrace is a small trace of any shape: times that bunch and leap, duty
// of stairs, ramps and noise, optional columns with gaps.
func randomTrace(r *rand.Rand) *trace.Trace {
	n := 1 + r.IntN(400)
	if r.IntN(8) == 0 {
		n = 1 + r.IntN(4)
	}
	time, duty, current := make([]float64, n), make([]float64, n), make([]float64, n)
	dt := math.Pow(10, -1-3*r.Float64())
	shape, level, slope := r.IntN(4), 100*r.Float64(), 20*r.NormFloat64()*dt
	now := 0.0
	for i := range n {
		switch r.IntN(20) {
		case 0:
		case 1:
			now += 30 * dt
		default:
			now += dt * (1 + 0.3*r.Float64())
		}
		if r.IntN(60) == 0 {
			level, slope = 100*r.Float64(), 20*r.NormFloat64()*dt
		}
		d := level
		switch shape {
		case 1:
			level += slope
		case 2:
			d += r.NormFloat64()
		case 3:
			d = math.Round(d) + float64(r.IntN(2))/2
		}
		time[i], duty[i] = now, min(max(d, 0), 100)
		current[i] = level/20 + 0.01*r.NormFloat64()
	}
	optional := func(value func() float64) []float64 {
		kind := r.IntN(4)
		if kind == 0 {
			return nil
		}
		c := make([]float64, n)
		for i := range c {
			if c[i] = value(); kind == 1 || kind == 2 && r.IntN(3) > 0 {
				c[i] = math.NaN()
			}
		}
		return c
	}
	on := 1.0
	return columns(time, duty, current,
		optional(func() float64 {
			if r.IntN(50) == 0 {
				on = 1 - on
			}
			return on
		}), optional(func() float64 { return 12 * r.Float64() }))
}

func TestAnyTraceIsLawful(t *testing.T) {
	for seed := range uint64(3000) {
		tr := randomTrace(rand.New(rand.NewPCG(seed, 5)))
		require.NotPanics(t, func() { lawful(t, tr) }, "seed %d", seed)
		if t.Failed() {
			t.Fatalf("seed %d", seed)
		}
	}
}

func TestNearlyNothing(t *testing.T) {
	assert.Empty(t, Find(&trace.Trace{}))
	assert.Empty(t, Plateaus(&trace.Trace{}))
	assert.Empty(t, Find(columns([]float64{0}, []float64{50}, []float64{1}, nil, nil)))
	still := make([]float64, 50)
	assert.Empty(t, Find(columns(still, still, still, nil, nil)), "no time passes")
	lawful(t, columns([]float64{3}, []float64{50}, []float64{1}, []float64{math.NaN()}, []float64{math.NaN()}))
}

func FuzzFind(f *testing.F) {
	f.Add(uint64(1), []byte{0, 0, 1, 2, 250, 250, 9, 80, 80, 80, 80, 80, 80, 81, 255, 0})
	f.Fuzz(func(t *testing.T, seed uint64, b []byte) {
		if len(b) == 0 || len(b) > 2000 {
			return
		}
		r := rand.New(rand.NewPCG(seed, 6))
		n := len(b)
		time, duty, x, volts := make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
		for i, c := range b {
			if i > 0 {
				time[i] = time[i-1] + float64(c&3)*0.02
			}
			duty[i], x[i], volts[i] = float64(c>>2)*100/63, r.NormFloat64(), float64(c%13)
			if c == 77 {
				volts[i] = math.NaN()
			}
		}
		lawful(t, columns(time, duty, x, nil, volts))
	})
}
