package solenoid

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/kind"
	"dutybench/profiles"
	"dutybench/signal/trace"
)

func columns(duty, on []float64) *trace.Trace {
	t := make([]float64, len(duty))
	for i := range t {
		t[i] = 0.01 * float64(i)
	}
	return &trace.Trace{Columns: []trace.Column{{Name: trace.ColTime, Values: t}, {Name: trace.ColDuty, Values: duty},
		{Name: trace.ColCurrent, Values: make([]float64, len(duty))}, {Name: trace.ColSupplyOn, Values: on}}}
}

// A trace is cut by its columns: by duty, by supply alone, and by a duty that was
// measured.
func TestCut(t *testing.T) {
	for name, c := range map[string]struct {
		duty, on []float64
		pwm      float64
		want     []switching
		edges    int
	}{
		"by duty":       {[]float64{0, 0, 100, 100, 0, 0}, []float64{0, 1, 1, 1, 1, 1}, 0, []switching{open, closed, open}, 2},
		"by supply":     {[]float64{100, 100, 100, 100, 100, 100}, []float64{0, 0, 1, 1, 0, 0}, 0, []switching{open, closed, open}, 2},
		"measured duty": {[]float64{0.4, 0.1, 99.1, 98.7, 0.2, 0}, []float64{1, 1, 1, 1, 1, 1}, 0, []switching{open, closed, open}, 2},
		"chopped":       {[]float64{0, 40, 40, 60, 100, 60}, []float64{1, 1, 1, 1, 1, 1}, 200, []switching{open, chopped, chopped, closed, chopped}, 0},
		"not chopped":   {[]float64{0, 40, 40, 60, 100, 0}, []float64{1, 1, 1, 1, 1, 1}, 0, []switching{open, closed, open}, 2},
		"never on":      {[]float64{0, 0, 0, 0, 0, 0}, []float64{1, 1, 1, 1, 1, 1}, 0, []switching{open}, 0},
	} {
		tr := columns(c.duty, c.on)
		cuts := cut(tr, &profiles.Profile{Command: profiles.Command{Frequency_Hz: c.pwm}})
		var got []switching
		at := 0
		for _, s := range cuts {
			got = append(got, s.how)
			require.Equal(t, at, s.from, name)
			at = s.to
		}
		assert.Equal(t, c.want, got, name)
		assert.Equal(t, len(c.duty), at, name)
		assert.Len(t, edges(tr, cuts), c.edges, name)
	}
}

// A trace that holds nothing, or next to nothing, is measured as far as it goes.
func TestHollowTraces(t *testing.T) {
	_, err := Kind{}.Measure(columns(nil, nil), nil)
	assert.Error(t, err)
	for _, tr := range []*trace.Trace{columns([]float64{0}, []float64{0}), columns([]float64{0, 100}, []float64{1, 1}), columns([]float64{100, 100, 100}, []float64{1, 1, 1}), columns([]float64{0, 100, 0, 100, 0}, []float64{1, 1, 1, 1, 1})} {
		m, err := Kind{}.Measure(tr, nil)
		require.NoError(t, err)
		for _, v := range m.Values {
			if v.Name != Temperature && v.Name != Leakage {
				assert.NotEmpty(t, v.Missing, v.Name)
			}
		}
		a := Kind{}.Assess(m, &profiles.Profile{}, kind.Conditions{})
		assert.NotNil(t, a)
	}
}
