package step

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/signal/trace"
)

func wired(cols map[string][]float64) *trace.Trace {
	tr := &trace.Trace{}
	for _, name := range []string{trace.ColTime, trace.ColDuty, trace.ColCurrent, trace.ColSupplyOn, trace.ColLineDuty, trace.ColLine} {
		if v, ok := cols[name]; ok {
			tr.Columns = append(tr.Columns, trace.Column{Name: name, Values: v})
		}
	}
	return tr
}

func TestLineLevelMovesWithDuty(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		name        string
		volts, duty []float64
		want        bool
	}{
		{"follows", []float64{1, 4, 8}, []float64{0, 50, 100}, true},
		{"follows downwards", []float64{11, 6, 1}, []float64{0, 50, 100}, true},
		{"stays, as a pull-up alone does", []float64{8.6, 8.65, 8.7}, []float64{0, 50, 100}, false}, // common practice, no source
		{"duty hardly moved", []float64{1, 8}, []float64{40, 48}, false},
		{"gaps", []float64{1, nan, 8}, []float64{0, 50, 100}, true},
		{"not read", []float64{nan, nan}, []float64{0, 100}, false},
		{"empty", nil, nil, false},
		{"noise round 0 V", []float64{0.001, -0.002, 0.004}, []float64{0, 50, 100}, false},
		{"hum on a line that nothing drives", []float64{-0.9, 0, 0.9, -0.9, 0, 0.9}, []float64{0, 0, 0, 100, 100, 100}, false},
		{"one wrong reading", []float64{1, 1, 1, 9, 1, 1}, []float64{0, 0, 0, 100, 100, 100}, false},
		// JEDEC JESD8-5, from memory: 2.5 V is the lowest common level of logic
		// that drives a line out of its case.
		{"2.5 V logic over 20 %", []float64{0.5, 1.0}, []float64{20, 40}, true},
	} {
		assert.Equal(t, c.want, LineMoves(wired(map[string][]float64{trace.ColTime: c.duty, trace.ColDuty: c.duty, trace.ColLine: c.volts})), c.name)
	}
	assert.False(t, LineMoves(wired(map[string][]float64{trace.ColDuty: {0, 100}})), "no such column")
}

// What is on the wire counts, where the trace holds it, and only with supply: the
// pull-up of a unit lifts a line at switch-on that nothing drives.
func TestLineLevelCountsWithSupplyAndByTheWire(t *testing.T) {
	cols := map[string][]float64{trace.ColTime: {0, 1, 2, 3}, trace.ColDuty: {0, 0, 50, 100}, trace.ColCurrent: {0, 0, 1, 2},
		trace.ColLine: {0, 11.9, 12, 12}, trace.ColSupplyOn: {0, 1, 1, 1}}
	assert.False(t, LineMoves(wired(cols)))
	cols[trace.ColSupplyOn] = []float64{1, 1, 1, 1}
	cols[trace.ColLine] = []float64{3, 3, 3, 0}
	cols[trace.ColLineDuty] = []float64{100, 100, 100, 0}
	assert.True(t, LineMoves(wired(cols)))
	cols[trace.ColLineDuty] = []float64{100, 100, 100, math.NaN()}
	assert.False(t, LineMoves(wired(cols)), "let go of, it shows nothing of the bench")
}

// The law says what is on the wire for a command: an inverted line at 0 % is the
// full command, not a line held low.
func TestLinesGoThroughTheLaw(t *testing.T) {
	tr := wired(map[string][]float64{trace.ColTime: {0, 1, 2, 3, 4}, trace.ColDuty: {100, 50, 0, 50, 50}, trace.ColLineDuty: {0, 50, 100, 0, math.NaN()}})
	inverted := LinesOf(tr, func(d float64) float64 { return 100 - d })
	for i, want := range []Line{Commanded, Commanded, Commanded, LineLow, LineOpen} {
		require.Equal(t, want, inverted(i), "sample %d", i)
	}
	plain := LinesOf(tr, nil)
	for i, want := range []Line{LineLow, Commanded, LineHigh, LineLow, LineOpen} {
		require.Equal(t, want, plain(i), "sample %d", i)
	}
	require.Equal(t, Commanded, LinesOf(wired(map[string][]float64{trace.ColDuty: {1}}), nil)(0), "no line column")
}
