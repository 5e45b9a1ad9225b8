package learn

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/kind"
	"dutybench/bench/result"
	"dutybench/profiles"
	"dutybench/signal/stat"
)

// ruler is a kind that judges the lowest duty alone: it may lie a factor of
// standard deviations of the logarithm off, times √(1+1/n), on the sides given.
type ruler struct {
	kind.Kind
	factor    float64
	low, high bool
}

func (r ruler) Assess(m *kind.Measured, p *profiles.Profile, _ kind.Conditions) *kind.Assessment {
	var logs []float64
	for _, g := range p.Good {
		logs = append(logs, math.Log(g.Up[0]))
	}
	mean, sd := stat.MeanSD(logs)
	k := r.factor * math.Sqrt(1+1/float64(len(logs)))
	off := math.Log(m.Curve[0].Current.Value) - mean
	x, z, low, high := 100*math.Expm1(off), off/sd, 100*math.Expm1(-k*sd), 100*math.Expm1(k*sd)
	f := result.Finding{Name: "lowest", Unit: "%", Value: &x, Spread: &z}
	if r.low {
		f.Low = &low
	}
	if r.high {
		f.High = &high
	}
	return &kind.Assessment{Findings: []result.Finding{f, {Name: "not measured"}}, Refusal: 0.01}
}

// ruled is a profile of n good units and one of them, measured.
func ruled(n int) (*profiles.Profile, []measured) {
	p := &profiles.Profile{Grid: []float64{20, 60, 100}}
	for i, z := range scores(n, 0, 0.04) {
		p.Good = append(p.Good, profiles.GoodUnit{Unit: fmt.Sprint(i), Up: []float64{0.3 * math.Exp(z), math.Exp(z), 4 * math.Exp(z)}})
	}
	m := &kind.Measured{}
	for i, d := range p.Grid {
		m.Curve = append(m.Curve, kind.Point{Duty_pct: d, Up: true, Supply_V: math.NaN(), Current: stat.Exact(p.Good[0].Up[i])})
	}
	return p, []measured{{m: []*kind.Measured{m}}}
}

// What is refused in nine of ten lies the limit and 1.28 spreads out, for a
// unit about a mean that n units tell: worked by hand.
func TestSmallestChangeThatIsRefused(t *testing.T) {
	const n, factor = 16, 3.5
	p, units := ruled(n)
	_, sd := stat.MeanSD(scores(n, 0, 0.04))
	limit := factor * math.Sqrt(1+1.0/n)
	size := (limit + 1.2816*math.Sqrt(1+1.0/n)) * sd
	r := newProber(units, p, ruler{factor: factor, low: true, high: true})
	require.NotNil(t, r)
	for _, sign := range []float64{1, -1} {
		d, ok := r.find(shift{20, 100}, sign)
		require.True(t, ok)
		assert.InDelta(t, limit, d.limit, 1e-9)
		assert.InDelta(t, sign*size, d.size, 1e-5)
		// The spread of twice the same units is a hair less: √(30/31).
		assert.InDelta(t, factor*math.Sqrt(1+1.0/(2*n)), d.limitMore, 1e-9)
		assert.Less(t, math.Abs(d.sizeMore), math.Abs(d.size))
	}
	// A change that has faded to nothing where the kind looks is not refused.
	_, ok := r.find(shift{100, 20}, 1)
	require.False(t, ok)
	text := strings.Join(support(units, p, ruler{factor: factor, low: true, high: true}), "\n")
	assert.Contains(t, text, fmt.Sprintf("%.2g %% too high or %.2g %% too low at 20 %% duty, fading to nothing at 100 %%", 100*math.Expm1(size), -100*math.Expm1(-size)))
	assert.NotContains(t, text, "at 100 % duty, fading")
	assert.Contains(t, text, "Its limits there lie 3.6 standard deviations out. With 32 units of the same spread they would lie at 3.6")
}

func TestSupportOfOneSideAndOfNone(t *testing.T) {
	p, units := ruled(12)
	text := strings.Join(support(units, p, ruler{factor: 4, high: true}), "\n")
	require.Contains(t, text, "too high at 20 %")
	require.NotContains(t, text, "too low")
	require.Equal(t, []string{"No change of the curve alone is refused by this profile."}, support(units, p, ruler{factor: 4}))
	// A limit that no change reaches is none.
	require.Equal(t, []string{"No change of the curve alone is refused by this profile."}, support(units, p, ruler{factor: 60, high: true}))
	// A kind that does not look at the curve says nothing about it.
	require.Empty(t, support(units, p, blind{}))
	// Too few duties in common with the grid: nothing is said.
	units[0].m[0].Curve = units[0].m[0].Curve[:2]
	require.Empty(t, support(units, p, ruler{factor: 4, high: true}))
}

func TestScatterOfASpread(t *testing.T) {
	// χ² of 19 degrees of freedom: 8.907 at 2.5 %, 32.852 at 97.5 % (any table):
	// √(19/32.852) = 0.76, √(19/8.907) = 1.46.
	s := scatter(20, 0.005)
	require.Contains(t, s, "between 0.76 and 1.46 times")
	require.Contains(t, s, "(0.5 %) is a mean over many learnings")
	require.NotContains(t, scatter(20, 0), "(0")
}

// blind is a kind that has a curve and looks at none of it.
type blind struct{ ruler }

func (blind) Assess(*kind.Measured, *profiles.Profile, kind.Conditions) *kind.Assessment {
	x := 1.0
	return &kind.Assessment{Findings: []result.Finding{{Name: "colour", Value: &x, Result: result.Passed}}}
}
