package startup

import (
	"math"
	"math/rand/v2"
	"reflect"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/signal/trace"
)

// described holds what is true of any pattern: no infinity, and NaN just where
// nothing was measured.
func described(t require.TestingT, p Pattern) {
	noInf(t, reflect.ValueOf(p))
	require.True(t, p.Failed >= p.Full && p.Full >= 0 && p.Resets >= p.Failed-p.Full, "%+v", p)
	ran := 0
	if p.Ran {
		ran = 1
	}
	require.Equal(t, p.N, p.Failed+ran)
	require.Equal(t, max(0, p.N-1), len(p.Rests_s))
	require.Equal(t, math.IsNaN(p.Latched_s), !p.Latched)
	require.Equal(t, p.Ran || p.Cut || p.N == 0, math.IsNaN(p.Silent_s), "%+v", p)
	require.Equal(t, p.Full == 0, math.IsNaN(p.Height_A))
	require.False(t, p.Equal && !(p.Length_s > 0))
	require.False(t, p.Growing && !(p.RestGrowth > 1))
	b := p.Balance
	require.Equal(t, b.Why == "", !math.IsNaN(b.Depth) && !math.IsNaN(b.Share) && b.UpTo_Hz > 0, "%+v", b)
	require.False(t, b.Why != "" && (b.Rhythm || b.Even()))
	if b.Why == "" {
		require.True(t, b.Depth >= 0 && b.Depth <= 1 && b.Share >= 0 && b.Share <= 1, "%+v", b)
	}
	require.NotEmpty(t, p.Words())
	require.NotContains(t, p.Words(), "NaN")
	require.NotContains(t, p.Words(), "Inf")
}

func noInf(t require.TestingT, v reflect.Value) {
	switch v.Kind() {
	case reflect.Float64:
		require.False(t, math.IsInf(v.Float(), 0))
	case reflect.Struct:
		for i := range v.NumField() {
			noInf(t, v.Field(i))
		}
	case reflect.Slice:
		for i := range v.Len() {
			noInf(t, v.Index(i))
		}
	}
}

func TestAnyPatternIsLawful(t *testing.T) {
	for seed := range uint64(1500) {
		r := rand.New(rand.NewPCG(seed, 13))
		tr := randomTrace(r)
		s := Find(tr, 0, nil)
		described(t, Describe(tr, s))
		// A start that is not of this trace.
		other := Startup{Commanded_s: 3 * r.Float64(), Settled_s: 5 * r.NormFloat64(), Rest_A: r.NormFloat64()}
		for at := other.Commanded_s; r.IntN(3) > 0; at += 3 * r.Float64() {
			other.Attempts = append(other.Attempts, Attempt{Start_s: at, Length_s: 3 * r.Float64(), Mean_A: r.NormFloat64(), Peak_A: 3})
		}
		if n := len(other.Attempts); n > 0 && r.IntN(2) == 0 {
			other.Ran, other.Attempts[n-1].Running = true, true
		}
		described(t, Describe(tr, other))
	}
}

func FuzzDescribe(f *testing.F) {
	f.Add(uint64(1), 0.0, []byte{0, 0, 0, 0, 0, 9, 9, 9, 200, 200, 200, 200, 200, 40, 40, 40, 40, 40, 40, 40})
	f.Fuzz(func(t *testing.T, seed uint64, stop_pct float64, b []byte) {
		if len(b) == 0 || len(b) > 3000 {
			return
		}
		r := rand.New(rand.NewPCG(seed, 14))
		step_s := math.Pow(10, -1-3*r.Float64())
		x, duty, current := make([]float64, len(b)), make([]float64, len(b)), make([]float64, len(b))
		for i, c := range b {
			if i > 0 {
				x[i] = x[i-1] + float64(c&3)*step_s
			}
			if duty[i] = float64(i/64*20) + 10; c == 0 {
				duty[i] = 0
			}
			current[i] = float64(c>>2)/10 + 0.001*r.NormFloat64()
		}
		tr := &trace.Trace{Columns: []trace.Column{
			{Name: trace.ColTime, Values: x}, {Name: trace.ColDuty, Values: duty}, {Name: trace.ColCurrent, Values: current}}}
		for _, e := range []func(float64) float64{nil, expect} {
			all := FindAll(tr, stop_pct, e)
			for i, p := range DescribeAll(tr, all) {
				lawful(t, tr, all[i])
				described(t, p)
			}
		}
	})
}

// scaled multiplies the current, shifted moves the time.
func changed(tr *trace.Trace, factor, shift_s float64) *trace.Trace {
	out := &trace.Trace{Source: tr.Source}
	for _, c := range tr.Columns {
		v := make([]float64, len(c.Values))
		for i, a := range c.Values {
			switch c.Name {
			case trace.ColTime:
				a += shift_s
			case trace.ColCurrent:
				a *= factor
			}
			v[i] = a
		}
		out.Columns = append(out.Columns, trace.Column{Name: c.Name, Values: v})
	}
	return out
}

// Current that is twice as high makes heights twice as high and nothing else;
// later makes nothing but later.
func TestScaleAndShift(t *testing.T) {
	sticky := stuck(500, tries(2, 1, 3, 1))
	sticky.runs_s = 6
	for i, u := range []board{
		stuck(500, tries(4, 0.8, 3, 0.5, 1, 2)), sticky,
		gapped(500, openPhase, 5, 30, 1, 0.001), gapped(2000, deadSwitch, 10, 20, 0.5, 0),
	} {
		tr := u.trace(uint64(i))
		want := Describe(tr, Find(tr, 0, nil))
		for _, c := range []struct{ factor, shift_s float64 }{{0.25, 0}, {4, 0}, {1, 64}, {1, -8}} {
			other := changed(tr, c.factor, c.shift_s)
			got := Describe(other, Find(other, 0, nil))
			assert.InDelta(t, want.Height_A*c.factor, got.Height_A, 1e-9*want.Height_A*c.factor)
			if c.shift_s == 0 {
				assert.Equal(t, want.Words(), got.Words())
			}
			got.Height_A = want.Height_A
			near(t, reflect.ValueOf(want), reflect.ValueOf(got), "")
		}
	}
}

// near compares two structs, floats with a tolerance: rounding of the time may
// take a sample at either end of an attempt.
func near(t *testing.T, want, got reflect.Value, name string) {
	t.Helper()
	switch want.Kind() {
	case reflect.Float64:
		if w, g := want.Float(), got.Float(); !(math.IsNaN(w) && math.IsNaN(g)) {
			assert.InDelta(t, w, g, 0.005*(1+math.Abs(w)), name)
		}
	case reflect.Struct:
		for i := range want.NumField() {
			near(t, want.Field(i), got.Field(i), want.Type().Field(i).Name)
		}
	case reflect.Slice:
		require.Equal(t, want.Len(), got.Len(), name)
		for i := range want.Len() {
			near(t, want.Index(i), got.Index(i), name)
		}
	default:
		assert.Equal(t, want.Interface(), got.Interface(), name)
	}
}

// What one call needs does not grow with what it has looked at: no more than
// a few slices for a trace of any length.
func TestDescribeHardlyAllocates(t *testing.T) {
	few := func(rate float64) float64 {
		tr := stuck(rate, tries(3, 1, 3, 1)).trace(1)
		s := Find(tr, 0, nil)
		return testing.AllocsPerRun(3, func() { Describe(tr, s) })
	}
	assert.Less(t, few(20000), few(500)+60, "slices grow by doubling")
}
