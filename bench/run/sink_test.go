package run

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/rig"
	"dutybench/signal/trace"
)

// What the sink gets, one after the other, is the trace that comes out at the
// end, but for its last second and the zero of the current, misread codes
// that are taken out included.
func TestSink(t *testing.T) {
	b := newBench(t, steady, nil)
	sampler := b.rig.Sampler
	due := time.Duration(0)
	b.rig.Sampler = &flaky{Sampler: sampler, then: func(n int, s *rig.Sample) {
		if s.At < due { // when the sink is called is when it hurts most
			return
		}
		if due = s.At + sinkEvery; n > 100 {
			s.Current_A += 1024 * b.rig.Accuracy.CurrentStep_A
		}
	}}
	var sunk []Rows
	var pieces, early []*trace.Trace
	plan := short()
	plan.Steps[3].Min, plan.Steps[3].Max = 5*time.Second, 5*time.Second
	plan.Steps[0].Min, plan.Steps[0].Max = 2500*ms, 2500*ms // rows before the zero is known
	out := b.carry(t, plan, Options{Unit: "U", Sink: func(rows Rows) {
		sunk = append(sunk, rows)
		early = append(early, rows.Trace())
	}})
	for i := range sunk {
		pieces = append(pieces, sunk[i].Trace())
		for c, col := range pieces[i].Columns {
			require.Len(t, early[i].Columns[c].Values, len(col.Values))
			for j, v := range col.Values {
				require.Equal(t, math.Float64bits(early[i].Columns[c].Values[j]), math.Float64bits(v), "nothing changes it any more")
			}
		}
	}
	require.Greater(t, out.Trace.Len(), 1000)
	lost, _ := out.Trace.Get(trace.KeyLost)
	require.NotEqual(t, "0", lost, "codes were taken out")
	end := out.Trace.Time()[out.Trace.Len()-1]
	require.InDelta(t, end, float64(len(pieces)), 2, "about one a second")
	for c, col := range out.Trace.Columns {
		var all []float64
		for _, p := range pieces {
			require.Equal(t, col.Name, p.Columns[c].Name)
			all = append(all, p.Columns[c].Values...)
		}
		require.Greater(t, len(all), len(col.Values)*8/10)
		zero := 0.0
		if col.Name == trace.ColCurrent {
			zero = out.Zero.Value
		}
		for i, v := range all {
			if math.IsNaN(v) && math.IsNaN(col.Values[i]) {
				continue
			}
			require.InDelta(t, col.Values[i], v-zero, 2.1e-6, "%s, row %d", col.Name, i)
		}
	}
	last := pieces[len(pieces)-1]
	_, ended := last.Get(trace.KeyEnded)
	assert.False(t, ended, "nobody knows yet")
	_, taken := last.Get("x-zero-A")
	assert.False(t, taken)
	unit, _ := last.Get(trace.KeyUnit)
	assert.Equal(t, "U", unit)
}

// The sink changes nothing of the trace.
func TestSinkChangesNothing(t *testing.T) {
	plain := newBench(t, steady, nil).run(t, Options{})
	sunk := newBench(t, steady, nil).run(t, Options{Sink: func(Rows) {}})
	for i := range plain.Trace.Columns {
		a, b := plain.Trace.Columns[i].Values, sunk.Trace.Columns[i].Values
		require.Len(t, b, len(a))
		for j := range a {
			require.Equal(t, math.Float64bits(a[j]), math.Float64bits(b[j]))
		}
	}
	assert.Equal(t, plain.Trace.Meta, sunk.Trace.Meta)
}

// Between two calls of the sink a sample allocates nothing.
func TestNoAllocationPerSampleWithASink(t *testing.T) {
	b := newBench(t, steady, nil)
	x := newRunnerAt(t, b)
	calls := 0
	x.o.Sink = func(Rows) { calls++ }
	allocs := testing.AllocsPerRun(5000, func() {
		_, err := x.next()
		if err != nil {
			t.Fatal(err)
		}
	})
	assert.Zero(t, allocs)
	assert.Positive(t, calls)
	require.NoError(t, x.guard.Open())
}

// What the sink takes of the sampling goroutine's time once a second, at 20 kHz.
func BenchmarkSink(b *testing.B) {
	x := &runner{rig: &rig.Rig{Name: "sim", Sampler: still{}}, profile: profile(), o: Options{Sink: func(Rows) {}}, zeroKnown: true, zero_A: 0.01}
	for _, c := range x.ch.all() {
		*c = make([]float64, 20_001)
	}
	b.ReportAllocs()
	for b.Loop() {
		x.sunk.rows, x.sunk.next = 0, 0
		x.sink(0)
	}
}

// still is a sampler that is only asked for its interval.
type still struct{ rig.Sampler }

func (still) Interval() time.Duration { return 50 * time.Microsecond }
