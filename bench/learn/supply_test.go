package learn_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"dutybench/bench/kind"
	"dutybench/bench/kind/pump"
	"dutybench/bench/learn"
	"dutybench/profiles"
	"dutybench/signal/trace"
)

// regulated is a pump kind that says how current goes with supply: I·V is one
// value at a given duty, by whatever profile.
type regulated struct{ pump.Kind }

func (regulated) Ratio(name string) bool { return name == pump.Full }

func (regulated) AtSupply(m *kind.Measured, _ *profiles.Profile, volt func(float64, bool) float64) (*kind.Measured, bool) {
	c := *m
	c.Curve = slices.Clone(m.Curve)
	for i, q := range c.Curve {
		if v := volt(q.Duty_pct, q.Up); v > 0 && q.Supply_V > 0 {
			c.Curve[i].Current = q.Current.Scale(q.Supply_V / v)
		}
	}
	return &c, true
}

// at turns a recording into one at another supply, with constant power.
func at(tr *trace.Trace, factor float64) *trace.Trace {
	x, v := tr.Values(trace.ColCurrent), tr.Values(trace.ColSupply)
	for i := range x {
		x[i] /= factor
		v[i] *= factor
	}
	return tr
}

// Units at supplies of their own come to the rows that they would have had at
// one supply, and their spread is that of the units alone.
func TestRowsAreBroughtToOneSupply(t *testing.T) {
	like, _ := learned(t, good(5))
	factors := []float64{0.92, 1.08, 1, 0.95, 1.05, 1.02, 0.98, 1}
	learnAs := func(k kind.Kind, traces []*trace.Trace) (*profiles.Profile, string) {
		o := options
		o.Like = like
		p, _, err := learn.Learn(traces, k, o)
		require.NoError(t, err)
		return p, strings.Join(p.Learned.Statement, "\n")
	}
	scattered := good(len(factors))
	for i, f := range factors {
		at(scattered[i], f)
	}
	want, said := learnAs(regulated{}, good(len(factors)))
	require.Contains(t, said, "brought to one supply")
	got, said := learnAs(regulated{}, scattered)
	require.Contains(t, said, "brought to one supply")
	require.Regexp(t, `Units ran at 11\.\d+ to 13\.\d+ V`, said)
	for i := range want.Good {
		for j := range want.Grid {
			require.InEpsilon(t, want.Good[i].Up[j], got.Good[i].Up[j], 0.004, "unit %d at %g %%", i, want.Grid[j])
		}
	}
	// A kind that does not know leaves them as they were, and says so.
	raw, said := learnAs(pumpOnly{pump.Kind{}}, scattered)
	require.Contains(t, said, "that difference is in their spread")
	require.NotContains(t, said, "brought to one supply")
	require.Greater(t, math.Abs(raw.Good[0].Up[2]/want.Good[0].Up[2]-1), 0.05)
}

// pumpOnly hides what a kind may say beyond kind.Kind.
type pumpOnly struct{ kind.Kind }

func TestSupplyThatWasNotMeasuredIsSaid(t *testing.T) {
	like, _ := learned(t, good(5))
	o := options
	o.Like = like
	without := func(traces []*trace.Trace) []*trace.Trace {
		for _, tr := range traces {
			tr.Columns = slices.DeleteFunc(tr.Columns, func(c trace.Column) bool { return c.Name == trace.ColSupply })
		}
		return traces
	}
	p, _, err := learn.Learn(without(good(6)), regulated{}, o)
	require.NoError(t, err)
	require.Contains(t, strings.Join(p.Learned.Statement, "\n"), "The supply at the units was not measured")
	some := good(6)
	without(some[2:3])
	p, _, err = learn.Learn(some, regulated{}, o)
	require.NoError(t, err)
	require.Contains(t, strings.Join(p.Learned.Statement, "\n"), "not measured, in 1 of 6 units")
}

// Units that all ran at one supply need no word about it.
func TestOneSupplyNeedsNoWord(t *testing.T) {
	p, _ := learned(t, good(6))
	require.NotContains(t, strings.Join(p.Learned.Statement, "\n"), "ran at")
}
