package weigh

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/kind"
	"dutybench/bench/result"
	"dutybench/profiles"
	"dutybench/signal/stat"
	"dutybench/signal/trace"
)

// curveProfile has twenty good units of three duties, 2 % apart.
func curveProfile() *profiles.Profile {
	r := rand.New(rand.NewPCG(1, 2))
	p := &profiles.Profile{Name: "p", Grid: []float64{20, 60, 100}}
	for range 20 {
		z := 1 + 0.02*r.NormFloat64()
		p.Good = append(p.Good, profiles.GoodUnit{Up: []float64{1 * z, 3 * z, 9 * z}, Down: []float64{1.1 * z, 3.3 * z, 9 * z}})
	}
	return p
}

func curveTable(p *profiles.Profile, points ...kind.Point) *Table {
	return Hold(&kind.Measured{Trace: &trace.Trace{}, Curve: points}, p, kind.Conditions{}, nil, 1)
}

func at(duty, current_A float64, up bool) kind.Point {
	return kind.Point{Duty_pct: duty, Up: up, Current: stat.Exact(current_A), Supply_V: math.NaN()}
}

func TestRowsOfTheirDirection(t *testing.T) {
	p := curveProfile()
	assert.InDelta(t, 1.1, Row(p, 20.4, false)[3]/Row(p, 20, true)[3], 1e-12, "near enough is the same duty")
	assert.InDelta(t, 2, Row(p, 40, true)[0]/Row(p, 20, true)[0], 1e-9, "straight between")
	assert.Empty(t, Row(p, 10, true))
	p.Good[0].Down = nil
	assert.InDelta(t, Row(p, 20, true)[0], Row(p, 20, false)[0], 1e-12, "never swept down")
}

func TestHoldCurve(t *testing.T) {
	p := curveProfile()
	r := Rule{Name: "curve_up", About: "current", Share: 0.005, Core: true}
	for _, c := range []struct {
		name   string
		points []kind.Point
		want   result.Outcome
		pct    float64
	}{
		{"as good units", []kind.Point{at(20, 1, true), at(60, 3, true), at(100, 9, true)}, result.Passed, 0},
		{"one high", []kind.Point{at(20, 1, true), at(60, 3.9, true), at(100, 9, true)}, result.Failed, 30},
		{"one low", []kind.Point{at(20, 1, true), at(60, 3, true), at(100, 4.5, true)}, result.Failed, -50},
		{"only the other direction", []kind.Point{at(20, 2, false)}, result.NotMeasured, 0},
		{"only beyond the grid", []kind.Point{at(10, 2, true)}, result.NotMeasured, 0},
		{"one is no number", []kind.Point{at(20, math.NaN(), true), at(60, 3.9, true)}, result.Failed, 30},
		{"nothing but no number", []kind.Point{at(20, math.NaN(), true)}, result.NotMeasured, 0},
		// The nearer one is known well and fails; the farther one hides behind
		// what is not known of it.
		{"the one that fails counts", []kind.Point{at(20, 1.15, true), {Duty_pct: 60, Up: true, Current: stat.Exact(4).With("noise", 0.6, 0)}}, result.Failed, 15},
	} {
		k, points := curveTable(p, c.points...).HoldCurve(r, true, nil, 4)
		assert.Equal(t, c.want, k.Result, c.name)
		if c.want != result.NotMeasured {
			require.NotNil(t, k.Value, c.name)
			assert.InDelta(t, c.pct, *k.Value, 2, c.name)
			assert.False(t, math.IsNaN(k.Z))
		}
		for _, q := range points {
			assert.True(t, *q.Low < *q.High, c.name)
			assert.False(t, math.IsNaN(q.Current), c.name)
		}
	}
	k, _ := curveTable(p, at(60, 6, true)).HoldCurve(r, true, func(q kind.Point, good []float64) stat.Quantity {
		return q.Current.Scale(stat.Mean(good) / 6)
	}, 4)
	assert.InDelta(t, 0, *k.Value, 1e-9, "brought to where good units are")
}
