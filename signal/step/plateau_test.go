package step

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/signal/stat"
	"dutybench/signal/trace"
)

// settling is one step of a current that approaches level from above or below
// with a time constant, plus first-order noise.
type settling struct {
	rate, long_s, level, jump, tau_s, sd, phi float64
}

func (p settling) trace(r *rand.Rand) *trace.Trace {
	x, duty, _ := stairs(p.rate, stair{50, p.long_s})
	current := make([]float64, len(x))
	noise := p.sd * r.NormFloat64()
	for i := range x {
		current[i] = p.level + p.jump*math.Exp(-x[i]/p.tau_s) + noise
		noise = p.phi*noise + p.sd*math.Sqrt(1-p.phi*p.phi)*r.NormFloat64()
	}
	return columns(x, duty, current, nil, nil)
}

func budget(q stat.Quantity, source string) float64 {
	for _, c := range q.Budget {
		if c.Source == source {
			return c.U
		}
	}
	return math.NaN()
}

// The error of the mean lies within its expanded uncertainty (95 %) in at
// least 93 % of steps that settle and then stay, and the settling part is cut.
func TestMeanIsWithinItsUncertainty(t *testing.T) {
	for _, p := range []settling{
		{rate: 2000, long_s: 3, level: 2, jump: 1, tau_s: 0.2, sd: 0.02},
		{rate: 2000, long_s: 3, level: 2, jump: -1, tau_s: 0.1, sd: 0.05, phi: 0.9},
		{rate: 2000, long_s: 3, level: 2, jump: 2, tau_s: 0.05, sd: 0.05, phi: 0.95},
		{rate: 2000, long_s: 1.5, level: 2, jump: 0.5, tau_s: 0.15, sd: 0.02, phi: 0.5},
		{rate: 100, long_s: 4, level: 2, jump: 1, tau_s: 0.2, sd: 0.03, phi: 0.5},
		{rate: 2000, long_s: 3, level: 2, jump: 0, tau_s: 1, sd: 0.05, phi: 0.9},
		{rate: 2000, long_s: 3, level: 2, jump: 1, tau_s: 0.5, sd: 0.02},
	} {
		t.Run(fmt.Sprintf("%+v", p), func(t *testing.T) {
			const seeds = 300
			within, cut := 0, 0.0
			for seed := range uint64(seeds) {
				ps := Plateaus(p.trace(rand.New(rand.NewPCG(seed, 3))))
				require.Len(t, ps, 1)
				q := ps[0]
				half, _ := q.Current.Expanded(0.95)
				if math.Abs(q.Current.Value-p.level) <= half {
					within++
				}
				cut += float64(q.Start-q.From) / p.rate / seeds
			}
			t.Logf("within %.1f %%, cut %.2f s on average", 100*float64(within)/seeds, cut)
			assert.GreaterOrEqual(t, float64(within)/seeds, 0.93)
			if p.jump != 0 {
				left := math.Abs(p.jump) * math.Exp(-cut/p.tau_s)
				assert.Less(t, left, 0.25*math.Abs(p.jump))
			}
		})
	}
}

// Samples that come ten times as densely while the current is high do not
// pull the mean up.
func TestUnevenTimeDoesNotWeigh(t *testing.T) {
	var x, current []float64
	for now := 0.0; now < 4; {
		high := math.Mod(now, 0.1) < 0.05
		v, dt := 1.0, 0.005
		if high {
			v, dt = 3, 0.0005
		}
		x, current = append(x, now), append(current, v)
		now += dt
	}
	p := Plateaus(columns(x, flat(len(x), 50), current, nil, nil))
	require.Len(t, p, 1)
	assert.InDelta(t, 2, p[0].Current.Value, 0.05)
}

func TestDropOutLateInAStepIsNoSettling(t *testing.T) {
	for seed := range uint64(50) {
		p := settling{rate: 2000, long_s: 3, level: 2, jump: 1, tau_s: 0.1, sd: 0.03, phi: 0.5}
		tr := p.trace(rand.New(rand.NewPCG(seed, 4)))
		for i := 4800; i < 5000; i++ { // 0.1 s at 2.4 s
			tr.Current()[i] = 0.02
		}
		q := Plateaus(tr)[0]
		assert.True(t, q.Settled, "seed %d", seed)
		assert.Less(t, float64(q.Start)/p.rate, 1.0, "seed %d", seed)
		assert.Greater(t, float64(q.Start)/p.rate, 0.2, "the settling itself is still cut, seed %d", seed)
		assert.InDelta(t, 2, q.Median_A, 0.01)
	}
}

// What still moves shows in the budget, and what moves throughout is not
// settled.
func TestDriftShows(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	p := settling{rate: 2000, long_s: 3, level: 2, sd: 0.01, tau_s: 1}
	still := Plateaus(p.trace(r))[0]
	tr := p.trace(r)
	for i := range tr.Current() {
		tr.Current()[i] += 0.1 * tr.Time()[i] // 0.3 A over the step
	}
	q := Plateaus(tr)[0]
	long := float64(q.End-q.Start) / p.rate
	assert.InDelta(t, 0.1*long*2/3, q.Drift_A, 0.005)
	assert.InDelta(t, 1.5*math.Abs(q.Drift_A)/math.Sqrt(12), budget(q.Current, "settling left over"), 1e-12)
	assert.Greater(t, q.Current.U(), 10*still.Current.U())
	assert.False(t, q.Settled)
	assert.True(t, still.Settled)
}

// Half a step of a converter's resolution enters once (JCGM 100:2008, F.2.2.1:
// δ/√12), however many samples there are.
func TestResolutionEntersOnce(t *testing.T) {
	x, duty, _ := stairs(1000, stair{50, 5})
	tr := columns(x, duty, flat(len(x), 1.5), nil, nil)
	tr.Column(trace.ColCurrent).Resolution = 0.01
	q := Plateaus(tr)[0].Current
	assert.Equal(t, 1.5, q.Value)
	assert.InDelta(t, 0.01/math.Sqrt(12), q.U(), 1e-9)
}

func TestSupplyAtThePlateau(t *testing.T) {
	x, duty, _ := stairs(1000, stair{50, 1}, stair{20, 1})
	volts := flat(len(x), math.NaN())
	for i := 0; i < 1000; i += 7 {
		volts[i] = 11.8
	}
	p := Plateaus(columns(x, duty, flat(len(x), 1), flat(len(x), 1), volts))
	require.Len(t, p, 2)
	assert.InDelta(t, 11.8, p[0].Supply_V, 1e-9)
	assert.True(t, math.IsNaN(p[1].Supply_V), "not sampled")
}

// A step too short for blocks is taken whole.
func TestShortStepIsTakenWhole(t *testing.T) {
	x, duty, _ := stairs(50, stair{50, 0.24})
	p := Plateaus(columns(x, duty, duty, nil, nil))
	require.Len(t, p, 1)
	assert.Equal(t, 0, p[0].Start)
	assert.True(t, p[0].Settled)
}
