package coil_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/signal/coil"
)

// rises are edges of a plain coil on clocks of their own; dip lowers the current
// of one of them for 2 ms, steps of time come out at jitter.
func rises(r *rand.Rand, n int, noise, dip float64, odd int) (list []coil.Samples, at []float64) {
	for k := range n {
		begin := 10 * r.Float64()
		var s coil.Samples
		for j := range 3000 {
			t := float64(j)/20e3 - 0.01
			i := -math.Expm1(-max(0, t)/8e-3) * (1 - 1e-3*float64(k))
			if k == odd && t > 0.012 && t < 0.014 {
				i -= dip
			}
			s.Time_s, s.Current_A = append(s.Time_s, begin+t), append(s.Current_A, i+noise*r.NormFloat64())
		}
		list, at = append(list, s), append(at, begin)
	}
	return list, at
}

// Edges that repeat are one group, warming or not, and averaging them takes noise
// down by the root of their number; one that differs stands apart.
func TestAlikeAndAverage(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	for _, noise := range []float64{1e-3, 0.03} {
		list, at := rises(r, 5, noise, 0, -1)
		require.Equal(t, [][]int{{0, 1, 2, 3, 4}}, coil.Alike(list, at))
		one, err := coil.Rise(list[0], coil.Known{Switched: true, Switched_s: at[0]})
		require.NoError(t, err)
		mean, err := coil.Rise(coil.Average(list, at), coil.Known{Switched: true})
		require.NoError(t, err)
		assert.InEpsilon(t, one.Noise_A/math.Sqrt(5), mean.Noise_A, 0.1)
		assert.InDelta(t, 8e-3, mean.Tau_s.Value, 4*mean.Tau_s.U()+1e-5)
		assert.Equal(t, coil.Still, mean.Motion.Found)
	}
	list, at := rises(r, 5, 0.01, 0.05, 3)
	assert.Equal(t, [][]int{{0, 1, 2, 4}, {3}}, coil.Alike(list, at))
	list, at = rises(r, 3, 0.01, 0, -1)
	list[1].Time_s, list[1].Current_A = list[1].Time_s[:900], list[1].Current_A[:900]
	assert.Equal(t, [][]int{{0, 2}, {1}}, coil.Alike(list, at), "one that was cut short stands apart")
	assert.Empty(t, coil.Alike(nil, nil))
	assert.Empty(t, coil.Average(nil, nil).Time_s)
	assert.Len(t, coil.Alike(make([]coil.Samples, 2), []float64{0, 0}), 2, "of nothing, nothing is alike")
}
