package stat

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"gonum.org/v1/gonum/stat/distuv"
)

// Exact factors at 95 % confidence, coverage 90, 95 and 99 % (ISO 16269-6
// tables; two-sided ones also Table 21.1 of "Statistics for Environmental
// Engineers").
func TestToleranceTable(t *testing.T) {
	for _, c := range []struct {
		n     int
		k1    [3]float64
		howe  [3]float64
		exact [3]float64
	}{
		{3, [3]float64{6.1553, 7.6559, 10.5527}, [3]float64{8.3862, 9.9928, 13.1328}, [3]float64{8.3059, 9.7888, 12.6471}},
		{4, [3]float64{4.1619, 5.1439, 7.0424}, [3]float64{5.3699, 6.3986, 8.4092}, [3]float64{5.3681, 6.3411, 8.2207}},
		{5, [3]float64{3.4066, 4.2027, 5.7411}, [3]float64{4.2746, 5.0935, 6.6940}, [3]float64{4.2906, 5.0769, 6.5980}},
		{6, [3]float64{3.0063, 3.7077, 5.0620}, [3]float64{3.7119, 4.4230, 5.8128}, [3]float64{3.7326, 4.4222, 5.7577}},
		{10, [3]float64{2.3546, 2.9110, 3.9811}, [3]float64{2.8382, 3.3819, 4.4446}, [3]float64{2.8563, 3.3934, 4.4369}},
		{20, [3]float64{1.9260, 2.3960, 3.2952}, [3]float64{2.3098, 2.7523, 3.6171}, [3]float64{2.3188, 2.7603, 3.6210}},
		{50, [3]float64{1.6456, 2.0650, 2.8624}, [3]float64{1.9963, 2.3788, 3.1262}, [3]float64{1.9990, 2.3816, 3.1288}},
		{100, [3]float64{1.5267, 1.9265, 2.6840}, [3]float64{1.8738, 2.2328, 2.9344}, [3]float64{1.8748, 2.2339, 2.9355}},
	} {
		for i, p := range []float64{0.90, 0.95, 0.99} {
			assert.InDelta(t, c.k1[i], K1(c.n, p, 0.95), 6e-5, "k1 n %d p %g", c.n, p)
			assert.InDelta(t, c.howe[i], Howe(c.n, p, 0.95), 6e-5, "howe n %d p %g", c.n, p)
			assert.InDelta(t, c.exact[i], K2(c.n, p, 0.95), 6e-5, "k2 n %d p %g", c.n, p)
		}
	}
	for _, c := range []struct {
		n                        int
		p, confidence, one, both float64
	}{
		{5, 0.90, 0.90, 2.7423, 3.4993}, {10, 0.90, 0.90, 2.0657, 2.5459}, {30, 0.90, 0.90, 1.6571, 2.0289},
		{5, 0.95, 0.99, 6.5783, 7.8697}, {10, 0.95, 0.99, 3.7383, 4.2942}, {30, 0.95, 0.99, 2.5155, 2.8509},
		{10, 0.99, 0.99, 5.0737, 5.6102}, {30, 0.99, 0.99, 3.4465, 3.7425},
	} {
		assert.InDelta(t, c.one, K1(c.n, c.p, c.confidence), 6e-5, "%+v", c)
		assert.InDelta(t, c.both, K2(c.n, c.p, c.confidence), 6e-5, "%+v", c)
	}
}

// NIST/SEMATECH e-Handbook 7.2.6.3: 43 wafers, mean 97.07, s 0.0268, 90 %
// coverage, 99 % confidence. The exact factors are 1.8739536 and 2.2228252.
func TestToleranceHandbook(t *testing.T) {
	k := Howe(43, 0.90, 0.99)
	assert.InDelta(t, 2.2173158967, k, 1e-9)
	assert.InDelta(t, 97.010576, 97.07-k*0.0268, 1e-6)
	assert.InDelta(t, 97.12942, 97.07+k*0.0268, 1e-5)
	assert.InDelta(t, 1.8739536, K1(43, 0.90, 0.99), 5e-8)
	assert.InDelta(t, 2.2228252, K2(43, 0.90, 0.99), 5e-8)
	assert.InDelta(t, 2.4940629, Howe(25, 0.90, 0.99), 5e-8)
}

// gonum's noncentral t is the reference for K1, on both sides of 0.
func TestK1AgainstNoncentralT(t *testing.T) {
	for _, n := range []int{2, 3, 7, 25, 90} {
		for _, p := range []float64{0.05, 0.4, 0.5, 0.8, 0.99} {
			for _, c := range []float64{0.05, 0.5, 0.9, 0.99} {
				root := math.Sqrt(float64(n))
				d := distuv.NoncentralT{Nu: float64(n - 1), Mu: Normal(p) * root}
				assert.InDelta(t, c, d.CDF(K1(n, p, c)*root), 1e-8, "n %d p %g c %g", n, p, c)
			}
		}
	}
}

// Of many samples the stated share holds the stated coverage.
func TestToleranceBySimulation(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 8))
	const n, runs = 7, 4000
	k1, k2 := K1(n, 0.9, 0.9), K2(n, 0.9, 0.9)
	var one, both int
	for range runs {
		mean, sd := MeanSD(autoregressive(rng, n, 0))
		if NormalCDF(mean+k1*sd) >= 0.9 {
			one++
		}
		if NormalCDF(mean+k2*sd)-NormalCDF(mean-k2*sd) >= 0.9 {
			both++
		}
	}
	assert.InDelta(t, 0.9, float64(one)/runs, 0.015)
	assert.InDelta(t, 0.9, float64(both)/runs, 0.015)
}

func TestWilks(t *testing.T) {
	for _, c := range []struct {
		p, confidence float64
		both          bool
		n             int
	}{
		{0.95, 0.95, true, 93}, {0.90, 0.95, true, 46}, {0.99, 0.95, true, 473},
		{0.95, 0.95, false, 59}, {0.90, 0.95, false, 29}, {0.95, 0.90, false, 45}, {0.99, 0.95, false, 299},
	} {
		assert.Equal(t, c.n, Wilks(c.p, c.confidence, c.both), "%+v", c)
		if c.both {
			assert.GreaterOrEqual(t, RangeCoverage(c.n, c.confidence), c.p)
			assert.Less(t, RangeCoverage(c.n-1, c.confidence), c.p)
		}
	}
	assert.Zero(t, Wilks(1, 0.95, true))
	assert.Zero(t, Wilks(1-1e-12, 0.95, false))
	assert.True(t, math.IsNaN(RangeCoverage(1, 0.95)))
}

func TestPrediction(t *testing.T) {
	// t(0.975, 9)·√1.1, Student's table.
	assert.InDelta(t, 2.2622*math.Sqrt(1.1), Prediction(10, 0.95), 1e-4)
	assert.InDelta(t, 1.959964, Prediction(1_000_000_000, 0.95), 1e-5)
}

func TestToleranceRefuses(t *testing.T) {
	for _, v := range []float64{K1(1, 0.9, 0.9), K2(5, 1, 0.9), K2(5, 0.9, 0), Howe(1, 0.9, 0.9), K1(5, math.NaN(), 0.9), Prediction(1, 0.9)} {
		assert.True(t, math.IsNaN(v))
	}
	assert.Greater(t, K2(2, 0.9, 0.9), K2(3, 0.9, 0.9))
	assert.InDelta(t, 36.519, K2(2, 0.95, 0.95), 1e-3) // ISO 16269-6 (from memory)
}
