package step

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/signal/stat"
)

// energised is the rule sample by sample, as Energised states it.
func energised(on, volts, current []float64) []bool {
	rule, column := func(int) bool { return true }, current
	switch {
	case sampled(on):
		rule, column = func(i int) bool { return on[i] >= 0.5 }, on
	case sampled(volts):
		high, top, moves, n := 0.0, 0.0, 0.0, 0
		for i, v := range volts {
			if !math.IsNaN(v) {
				high = max(high, v)
			}
			top = max(top, current[i])
		}
		low := max(offShare*high, off_V)
		for i, v := range volts {
			if v <= low && i > 0 {
				moves += math.Abs(current[i] - current[i-1])
				n++
			}
		}
		pull := max(pullShare*top, pull_A, pullNoise*moves/float64(max(n, 1))/differenceSD)
		if n > 0 || hasNaN(volts) {
			rule, column = func(i int) bool { return volts[i] > low || current[i] > pull }, volts
		}
	}
	out := make([]bool, len(current))
	first := 0
	for first < len(out) && math.IsNaN(column[first]) {
		first++
	}
	last := first
	for i := range out {
		if !math.IsNaN(column[i]) {
			last = i
		}
		out[i] = rule(last)
	}
	return out
}

// Columns with gaps at the start, in between, throughout or nowhere, and with
// supply that comes and goes, give what the rule gives.
func TestEnergisedIsItsRule(t *testing.T) {
	r := rand.New(rand.NewPCG(12, 1))
	changed := 0
	for range 3000 {
		n := 1 + r.IntN(60)
		at, duty, current := make([]float64, n), flat(n, 50), make([]float64, n)
		on, volts := make([]float64, n), make([]float64, n)
		state, gaps, missing := true, 0.5*float64(r.IntN(3)), r.IntN(4)
		for i := range n {
			if r.IntN(8) == 0 {
				state = !state
			}
			at[i], current[i] = float64(i)/100, 0.02*r.NormFloat64()
			on[i], volts[i] = 0, 0.1*r.Float64()
			if state {
				current[i], on[i], volts[i] = 3+current[i], 1, 12-0.1*r.Float64()
			}
			if r.Float64() < gaps {
				on[i] = math.NaN()
			}
			if r.Float64() < gaps {
				volts[i] = math.NaN()
			}
		}
		if missing&1 != 0 {
			on = nil
		}
		if missing&2 != 0 {
			volts = nil
		}
		tr := columns(at, duty, current, on, volts)
		want, one, each := energised(on, volts, current), Energised(tr), SupplyOf(tr)
		for i, w := range want {
			require.Equal(t, w, one(i), "sample %d of %v, %v", i, on, volts)
			require.Equal(t, w, each.On(i))
			if i > 0 && w != want[i-1] {
				changed++
			}
		}
	}
	assert.Greater(t, changed, 1000, "supply comes and goes")
}

// The duty of a step is the mean of its samples to the last bit, whether it is
// looked at as a whole or taken from one of them.
func TestDutyIsTheMean(t *testing.T) {
	for _, duty := range []float64{0, math.Copysign(0, -1), 20, 33.3, 12.5, 0.1, 99.99999, 1.0 / 3, 100} {
		for _, n := range []int{400, 401, 30_000} {
			x, d, _ := stairs(1000, stair{duty, float64(n) / 1000})
			got := Find(columns(x, d, flat(n, 1), nil, nil))
			require.Len(t, got, 1)
			assert.Equal(t, math.Float64bits(stat.Mean(d)), math.Float64bits(got[0].Duty_pct), "%v, %d", duty, n)
		}
	}
}
