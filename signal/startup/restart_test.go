package startup

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/signal/trace"
)

// joined puts traces one after another.
func joined(parts ...*trace.Trace) *trace.Trace {
	out := &trace.Trace{Source: "joined"}
	for _, c := range parts[0].Columns {
		out.Columns = append(out.Columns, trace.Column{Name: c.Name})
	}
	at := 0.0
	for _, p := range parts {
		for i := range out.Columns {
			for _, v := range p.Columns[i].Values {
				if i == 0 {
					v += at
				}
				out.Columns[i].Values = append(out.Columns[i].Values, v)
			}
		}
		at = out.Columns[0].Values[len(out.Columns[0].Values)-1] + 1/p.Rate()
	}
	return out
}

// same compares two starts; NaN equals NaN.
func same(t require.TestingT, want, got Startup) {
	require.Equal(t, fmt.Sprintf("%+v", want), fmt.Sprintf("%+v", got))
}

// A soak: a unit that runs, one that sticks, one that is stuck and one that
// does nothing, each as found alone, whether a stop command or a supply that
// was off lies between.
func TestFindAll(t *testing.T) {
	for _, rate := range []float64{100, 500, 2000} {
		for _, supply := range []bool{false, true} {
			var parts []*trace.Trace
			for i, c := range []struct {
				tries  []try
				runs_s float64
			}{{nil, 2}, {tries(2, 1, 3, 1), 6}, {tries(4, 1, 3, 1), math.Inf(1)}, {nil, math.Inf(1)}, {nil, 1.9}} {
				u := stuck(rate, c.tries)
				u.runs_s = c.runs_s
				tr := u.trace(uint64(i))
				if supply {
					on := make([]float64, tr.Len())
					for k, at := range tr.Time() {
						if at >= 0.5 && at < 19 {
							on[k] = 1
						}
						if tr.Duty()[k] = 40; at < 1.5 && i != 1 { // the second is commanded as the supply comes
							tr.Duty()[k] = 0
						}
					}
					tr.Columns = append(tr.Columns, trace.Column{Name: trace.ColSupplyOn, Values: on})
				}
				parts = append(parts, tr)
			}
			tr := joined(parts...)
			all := FindAll(tr, 0, nil)
			require.Len(t, all, len(parts))
			same(t, Find(tr, 0, nil), all[0])
			for i, p := range parts {
				alone, got := Find(p, 0, nil), all[i]
				shift := 20 * float64(i)
				assert.InDelta(t, alone.Commanded_s+shift, got.Commanded_s, 1/rate)
				assert.InDelta(t, alone.Rest_A, got.Rest_A, 0.01)
				assert.Equal(t, alone.Ran, got.Ran)
				require.Len(t, got.Attempts, len(alone.Attempts), "run %d", i)
				for k, a := range alone.Attempts {
					assert.InDelta(t, a.Start_s+shift, got.Attempts[k].Start_s, window(rate))
					assert.InDelta(t, a.Length_s, got.Attempts[k].Length_s, window(rate))
					assert.InDelta(t, a.Mean_A, got.Attempts[k].Mean_A, 0.05)
				}
			}
			patterns := DescribeAll(tr, all)
			for i, s := range all {
				require.Equal(t, fmt.Sprint(Describe(tr, s)), fmt.Sprint(patterns[i]))
			}
			assert.True(t, patterns[1].Sticky && patterns[2].Latched)
			assert.InDelta(t, 17.5, patterns[3].Run_s, 3/rate)
		}
	}
}

// What the bounds of runs are: strays of a measured duty make no run and end
// none, and the supply always does.
func TestRunsOfATrace(t *testing.T) {
	for _, c := range []struct {
		name, duty, supply string
		want               [][2]int // from, to of the later runs
	}{
		{"none", "00000", "11111", nil},
		{"one", "00999", "11111", nil},
		{"stop", "0099000000999", "1111111111111", [][2]int{{7, 13}}},
		{"stray stop", "0099000099909900", "1111111111111111", [][2]int{{6, 11}}},
		{"stray run", "009900000900000999", "111111111111111111", [][2]int{{10, 18}}},
		{"supply off", "009999999999", "111110011111", [][2]int{{5, 12}}},
		{"off for a sample", "009999999", "111110111", [][2]int{{5, 9}}},
		{"cut at once", "00999999990", "11111001101", [][2]int{{5, 9}}},
		{"stop, off, on, run", "009900000000099", "111110001111111", nil},
		{"stop, off, on, run for longer", "0099000000000999", "1111100011111111", [][2]int{{5, 16}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			duty := []float64{}
			for _, d := range c.duty {
				duty = append(duty, float64(d-'0')*10)
			}
			r := runs{duty: duty, live: func(i int) bool { return c.supply[i] == '1' }, above: margin}
			var got [][2]int
			end := 0
			for end < len(duty) && !r.commands(end) {
				end++
			}
			for end < len(duty) && r.commands(end) {
				end++
			}
			for r.after(end); r.next(); {
				got = append(got, [2]int{r.from, r.to})
			}
			assert.Equal(t, c.want, got)
		})
	}
}

// The part that each later start is read from ends with its run and begins in
// the rest before it, whatever the trace.
func TestFindAllOfAnyTrace(t *testing.T) {
	for seed := range uint64(1500) {
		r := rand.New(rand.NewPCG(seed, 12))
		tr := randomTrace(r)
		for i := range tr.Duty() { // many stops
			if i/25%3 == 0 {
				tr.Duty()[i] = 0
			}
		}
		all := FindAll(tr, 0, nil)
		first := Find(tr, 0, nil)
		if math.IsNaN(first.Commanded_s) {
			require.Empty(t, all)
			continue
		}
		same(t, first, all[0])
		end := math.Inf(-1)
		for _, s := range all {
			lawful(t, tr, s)
			require.GreaterOrEqual(t, s.Commanded_s, end, "seed %d", seed)
			end = s.Commanded_s
			described(t, Describe(tr, s))
		}
	}
}

// A million samples of a soak with a hundred restarts, and a stop that noise of
// a measured duty lifts over the margin again and again: time in proportion.
func TestFindAllOfALongTrace(t *testing.T) {
	if testing.Short() {
		t.Skip("long")
	}
	u := stuck(500, tries(3, 1, 3, 1))
	one := u.trace(1)
	tr := joined(slices.Repeat([]*trace.Trace{one}, 40)...) // 400,000 samples
	for i := range tr.Duty() {
		if i%5 == 0 && tr.Duty()[i] == 0 {
			tr.Duty()[i] = 1
		}
	}
	begin := time.Now()
	all := FindAll(tr, 0.7, nil)
	patterns := DescribeAll(tr, all)
	t.Logf("%d runs of %d samples in %v", len(all), tr.Len(), time.Since(begin))
	require.Len(t, all, 40)
	for _, p := range patterns {
		require.True(t, p.Equal && p.N == 3 && p.Latched)
	}
}
