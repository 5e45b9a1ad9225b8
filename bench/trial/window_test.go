package trial

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/kinds"
	"dutybench/bench/result"
	"dutybench/signal/trace"
)

func traced(rows ...[4]float64) *trace.Trace {
	cols := []trace.Column{{Name: trace.ColTime}, {Name: trace.ColDuty}, {Name: trace.ColCurrent}, {Name: trace.ColSupplyOn}}
	for _, r := range rows {
		for i := range cols {
			cols[i].Values = append(cols[i].Values, r[i])
		}
	}
	return &trace.Trace{Columns: cols}
}

func TestFullCurrent(t *testing.T) {
	sweep := traced([4]float64{0, 0, 0, 0}, [4]float64{1, 50, 2, 1}, [4]float64{2, 95, 9, 1}, [4]float64{3.5, 95, 5, 1},
		[4]float64{4, 95, 6, 1}, [4]float64{4.4, 95, 7, 1}, [4]float64{5, 50, 2, 1}, [4]float64{6, 95, 1, 1})
	assert.InDelta(t, 6, fullCurrent(sweep, 95), 1e-12, "the last second of the first stretch")
	assert.True(t, math.IsNaN(fullCurrent(sweep, 0)), "full is 100 when the profile says nothing")
	off := traced([4]float64{0, 95, 3, 0}, [4]float64{1, 95, 3, 0})
	assert.True(t, math.IsNaN(fullCurrent(off, 95)), "the supply was off")
	assert.True(t, math.IsNaN(fullCurrent(traced(), 95)))
}

// The window refuses the share of a normal population that the test refused.
func TestWindow(t *testing.T) {
	table := &Table{}
	add := func(fault string, v result.Verdict, amps float64) {
		table.Trials = append(table.Trials, Trial{Profile: "p", Simulated: kinds.Simulated{Fault: fault, Severity: 1},
			Result: &result.Result{Verdict: v}, Full_A: amps})
	}
	for i := range 9 {
		add("", result.Pass, 4+0.1*float64(i)) // 4.0 to 4.8: mean 4.4, sd 0.274
	}
	add("", result.Fail, math.NaN())
	w := table.windows()
	require.Len(t, w, 1)
	assert.InDelta(t, 4.4, w[0].Mean_A, 1e-12)
	assert.InDelta(t, 0.15, w[0].Rate, 1e-12, "(1 + 0.5)/(9 + 1)")
	assert.InDelta(t, 1.4395, w[0].Factor, 1e-4, "the normal quantile of 0.925, any table")
	assert.InDelta(t, 4.4-1.4395*0.27386, w[0].Low_A, 1e-4)
	assert.True(t, w[0].refuses(math.NaN()), "never got there")
	assert.True(t, w[0].refuses(5))
	assert.False(t, w[0].refuses(4.5))
	add("drag", result.Fail, 4.5)
	add("drag", result.Fail, 5)
	r := table.Report()
	assert.Equal(t, 1, r.Faulty.Window.Count)
	assert.Equal(t, 2, r.Faulty.Window.Of)
	table.Trials = table.Trials[:3]
	assert.Empty(t, table.windows(), "too few to set one on")
	assert.Nil(t, table.Report().Good.Window.Share)
}
