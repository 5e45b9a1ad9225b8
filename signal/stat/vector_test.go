package stat

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
	gstat "gonum.org/v1/gonum/stat"
)

// related draws n units with dim quantities that share a common part, each in
// its own unit of measure.
func related(rng *rand.Rand, n, dim int) [][]float64 {
	rows := make([][]float64, n)
	for i := range rows {
		common := rng.NormFloat64()
		for j := range dim {
			scale := math.Pow(10, float64(j-2))
			rows[i] = append(rows[i], scale*(5+0.7*common+0.7*rng.NormFloat64()))
		}
	}
	return rows
}

func TestSampledAgainstGonum(t *testing.T) {
	rows := related(rand.New(rand.NewPCG(1, 1)), 12, 4)
	p, err := Sampled(rows)
	require.NoError(t, err)
	m := mat.NewDense(12, 4, nil)
	for i, r := range rows {
		m.SetRow(i, r)
	}
	var want mat.SymDense
	gstat.CovarianceMatrix(&want, m, nil)
	assert.True(t, mat.EqualApprox(&want, p.Cov, 1e-9))
	var chol mat.Cholesky
	require.True(t, chol.Factorize(&want))
	d := gstat.Mahalanobis(mat.NewVecDense(4, rows[3]), mat.NewVecDense(4, p.Mean), &chol)
	assert.InEpsilon(t, d*d, p.Distance2(rows[3]), 1e-9)
	assert.Zero(t, p.Shrinkage)
}

// One quantity: T² is the square of the prediction interval's t.
func TestHotellingOneQuantity(t *testing.T) {
	xs := []float64{1, 2, 4, 7, 9, 9.5}
	rows := make([][]float64, len(xs))
	for i, x := range xs {
		rows[i] = []float64{x}
	}
	p, err := Sampled(rows)
	require.NoError(t, err)
	mean, sd := MeanSD(xs)
	edge := mean + Prediction(len(xs), 0.95)*sd
	assert.InEpsilon(t, HotellingLimit(len(xs), 1, 0.95), p.Hotelling([]float64{edge}), 1e-9)
}

// A further good unit stays below the limit as often as stated.
func TestHotellingHolds(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 2))
	const runs = 2000
	hit := 0
	limit := HotellingLimit(10, 3, 0.95)
	for range runs {
		rows := related(rng, 11, 3)
		p, err := Sampled(rows[:10])
		require.NoError(t, err)
		if p.Hotelling(rows[10]) <= limit {
			hit++
		}
	}
	assert.InDelta(t, 0.95, float64(hit)/runs, 0.015)
	assert.True(t, math.IsNaN(HotellingLimit(3, 3, 0.95)))
	// 3·9/7·F(0.95; 3, 7) = 3.857·4.347 (F table).
	assert.InDelta(t, 27.0/7*4.3468, limit, 1e-3)
}

// Shrunk is usable with fewer units than quantities, and nearer the truth.
func TestShrunk(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 3))
	few := related(rng, 6, 9)
	_, err := Sampled(few)
	assert.ErrorContains(t, err, "use Shrunk")
	p, err := Shrunk(few)
	require.NoError(t, err)
	assert.Greater(t, p.Shrinkage, 0.0)
	assert.LessOrEqual(t, p.Shrinkage, 1.0)
	assert.Greater(t, p.Distance2(few[0]), 0.0)
	odd := append([]float64(nil), p.Mean...)
	odd[0] += 20 * math.Sqrt(p.Cov.At(0, 0))
	assert.Greater(t, p.Distance2(odd), 300.0)

	// The true mean distance² of a further unit is 5 (and a little for the
	// uncertain mean); the plain covariance of 8 units makes it far too large.
	var plain, shrunk Running
	for range 400 {
		rows := related(rng, 9, 5)
		a, err := Sampled(rows[:8])
		require.NoError(t, err)
		b, err := Shrunk(rows[:8])
		require.NoError(t, err)
		plain.Add(a.Distance2(rows[8]))
		shrunk.Add(b.Distance2(rows[8]))
	}
	t.Logf("mean distance²: plain %.1f, shrunk %.1f", plain.Mean(), shrunk.Mean())
	assert.Less(t, math.Abs(math.Log(shrunk.Mean()/5)), math.Log(2))
	assert.Greater(t, plain.Mean(), 15.0)

	// Many units: hardly any shrinkage of a real correlation. Uncorrelated
	// quantities: nearly all.
	p, err = Shrunk(related(rng, 5000, 3))
	require.NoError(t, err)
	assert.Less(t, p.Shrinkage, 0.01)
	var loose [][]float64
	for range 30 {
		loose = append(loose, []float64{rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()})
	}
	p, err = Shrunk(loose)
	require.NoError(t, err)
	assert.Greater(t, p.Shrinkage, 0.3)
}

// Worked by hand: units (0,0), (1,1), (2,2), (3,1). r = 2/√(5·2) = 0.632456;
// standardised products 1.423025, 0, 0.474342, 0 with Σ(w-w̄)² = 1.35, so
// λ = n/(n-1)³·Σ(w-w̄)²/r² = 4/27·1.35/0.4 = 0.5.
func TestShrunkByHand(t *testing.T) {
	rows := [][]float64{{0, 0}, {1, 1}, {2, 2}, {3, 1}}
	w := []float64{-1.5 * -1, -0.5 * 0, 0.5 * 1, 1.5 * 0}
	norm := math.Sqrt(5.0/3) * math.Sqrt(2.0/3)
	var mean, ss float64
	for _, v := range w {
		mean += v / norm / 4
	}
	for _, v := range w {
		ss += (v/norm - mean) * (v/norm - mean)
	}
	p, err := Shrunk(rows)
	require.NoError(t, err)
	assert.InDelta(t, 4.0/27*ss/0.4, p.Shrinkage, 1e-12)
	assert.InDelta(t, 0.5, p.Shrinkage, 1e-12)
	assert.InDelta(t, (1-p.Shrinkage)*2.0/3, p.Cov.At(0, 1), 1e-12)
}

func TestPopulationRefuses(t *testing.T) {
	for _, rows := range [][][]float64{nil, {{1}, {2}}, {{1, 2}, {2}, {3, 4}}, {{1, 5}, {2, 5}, {3, 5}}, {{1}, {math.NaN()}, {2}}} {
		_, err := Shrunk(rows)
		assert.ErrorContains(t, err, "stat: ")
	}
	_, err := Sampled([][]float64{{1, 2}, {2, 4}, {3, 6}, {5, 10}})
	assert.ErrorContains(t, err, "say the same")
	p, err := Sampled([][]float64{{1}, {2}, {4}})
	require.NoError(t, err)
	assert.True(t, math.IsNaN(p.Distance2([]float64{1, 2})))
}
