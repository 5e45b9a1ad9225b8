package pump

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/signal/stat"
)

// The resistance of known supplies comes back.
func TestSupplyLineComesBack(t *testing.T) {
	for _, c := range []struct{ open, ohm float64 }{{12.6, 0.03}, {13.5, 0.15}, {24, 0.4}, {12, 0}} {
		r := rand.New(rand.NewPCG(30, 1))
		duty, length := stairs(0.5)
		m, d := measured(t, sampled{rate_Hz: 1000, length_s: length, duty: duty, current: follow(duty, r, nil),
			volts: func(_, x float64) float64 { return c.open - c.ohm*x + 0.003*r.NormFloat64() }}.trace(), nil)
		require.True(t, d.supplyKnown)
		q := value(t, m, SupplyDrop).Q
		assert.InDelta(t, c.ohm, q.Value, 0.001+0.005*c.ohm)
		assert.InDelta(t, c.ohm, q.Value, 4*q.U(), "%v: the uncertainty holds", c)
		assert.Less(t, math.Abs(value(t, m, SupplyFold).Q.Value), 0.02, "%v: no fold", c)
	}
}

// A supply that folds back at a known depth shows that depth.
func TestSupplyFoldComesBack(t *testing.T) {
	for _, depth := range []float64{0.5, 2, 5} {
		r := rand.New(rand.NewPCG(31, 1))
		duty, length := stairs(0.5)
		free := follow(duty, r, nil)
		const limit = 3.0
		m, _ := measured(t, sampled{rate_Hz: 1000, length_s: length, duty: duty,
			current: func(t float64) float64 { return min(free(t), limit) },
			volts: func(at, x float64) float64 {
				v := 12.6 - 0.05*x
				if duty(at) >= 90 {
					v -= depth
				}
				return v + 0.003*r.NormFloat64()
			}}.trace(), nil)
		assert.InDelta(t, depth, value(t, m, SupplyFold).Q.Value, 0.05+0.05*depth)
		assert.InDelta(t, 0.05, value(t, m, SupplyDrop).Q.Value, 0.01, "what folds does not bend the line")
	}
}

func TestSupplyThatCannotBeFitted(t *testing.T) {
	duty, length := stairs(0.5)
	for name, s := range map[string]sampled{
		"voltage not sampled": {rate_Hz: 500, length_s: length, duty: duty, current: follow(duty, rand.New(rand.NewPCG(1, 1)), nil)},
		"current too even":    {rate_Hz: 500, length_s: length, duty: duty, current: func(float64) float64 { return 0.1 }, volts: func(float64, float64) float64 { return 12 }},
		"too short":           {rate_Hz: 500, length_s: 0.1, duty: duty, current: func(at float64) float64 { return 9 * at }, volts: func(float64, float64) float64 { return 12 }},
	} {
		m, d := measured(t, s.trace(), nil)
		require.False(t, d.supplyKnown, name)
		for _, n := range []string{SupplyDrop, SupplyFold} {
			require.NotEmpty(t, value(t, m, n).Missing, name)
		}
	}
}

func TestSpanLeavesOutTheRare(t *testing.T) {
	lo, hi := span(nil)
	require.Zero(t, lo+hi)
	xs := make([]float64, 1000)
	for i := range xs {
		xs[i] = float64(i)
	}
	xs[7], xs[8] = 1e6, -1e6
	lo, hi = span(xs)
	require.InDelta(t, 4, lo, 1)
	require.InDelta(t, 995, hi, 1)
}

// Classes hold medians: one collapse in ten does not bend the line.
func TestClassesOutliveCollapses(t *testing.T) {
	var xs, ys []float64
	for i := range 2000 {
		x := float64(i) / 400
		y := 12 - 0.1*x
		if i%10 == 0 {
			y -= 6
		}
		xs, ys = append(xs, x), append(ys, y)
	}
	bx, by := bins(xs, ys, 0, 5)
	require.Len(t, bx, 20)
	fit, err := stat.Line(bx, by, nil)
	require.NoError(t, err)
	require.InDelta(t, 12, fit.Coef[0], 0.02)
	require.InDelta(t, -0.1, fit.Coef[1], 0.01)
	require.Greater(t, stat.SD(ys), 1.0)
}

// Where all but a few blocks lie in one class of current there is no line to
// be fitted, and no uncertainty that could be written down.
func TestSupplyInOneClassOnlyIsNotMeasured(t *testing.T) {
	s := sampled{rate_Hz: 1000, length_s: 0.5, duty: func(float64) float64 { return 50 }, current: func(at float64) float64 {
		if at > 0.475 {
			return 0.1
		}
		return 1
	}, volts: func(_, x float64) float64 { return 12 - 0.1*x }}
	m, _ := measured(t, s.trace(), nil)
	for _, n := range []string{SupplyDrop, SupplyFold} {
		v := value(t, m, n)
		if v.Missing == "" {
			require.False(t, math.IsNaN(v.Q.Value) || math.IsInf(v.Q.Value, 0), n)
			require.False(t, math.IsNaN(v.Q.U()) || math.IsInf(v.Q.U(), 0), "%s: its uncertainty is %g", n, v.Q.U())
		}
	}
}
