package stat

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"gonum.org/v1/gonum/stat/distuv"
)

var inf = math.Inf(1)

// Student's t as in the usual tables and GUM Table G.2.
func TestStudentTTable(t *testing.T) {
	for _, c := range []struct{ dof, p90, p95, p975, p99, p995, p9995 float64 }{
		{1, 3.0777, 6.3138, 12.7062, 31.8205, 63.6567, 636.6192},
		{2, 1.8856, 2.9200, 4.3027, 6.9646, 9.9248, 31.5991},
		{3, 1.6377, 2.3534, 3.1824, 4.5407, 5.8409, 12.9240},
		{5, 1.4759, 2.0150, 2.5706, 3.3649, 4.0321, 6.8688},
		{10, 1.3722, 1.8125, 2.2281, 2.7638, 3.1693, 4.5869},
		{19, 1.3277, 1.7291, 2.0930, 2.5395, 2.8609, 3.8834},
		{30, 1.3104, 1.6973, 2.0423, 2.4573, 2.7500, 3.6460},
		{100, 1.2901, 1.6602, 1.9840, 2.3642, 2.6259, 3.3905},
		{inf, 1.2816, 1.6449, 1.9600, 2.3263, 2.5758, 3.2905},
	} {
		for p, want := range map[float64]float64{0.9: c.p90, 0.95: c.p95, 0.975: c.p975, 0.99: c.p99, 0.995: c.p995, 0.9995: c.p9995} {
			assert.InDelta(t, want, StudentT(p, c.dof), 6e-5, "p %g dof %g", p, c.dof)
			assert.InDelta(t, -want, StudentT(1-p, c.dof), 6e-5)
		}
	}
	// GUM Table G.2, 95.45 % and 99.73 %.
	for _, c := range [][3]float64{{1, 13.97, 235.78}, {2, 4.53, 19.21}, {10, 2.28, 3.96}, {50, 2.05, 3.16}, {inf, 2, 3}} {
		assert.InDelta(t, c[1], StudentT((1+0.9545)/2, c[0]), 0.0051)
		assert.InDelta(t, c[2], StudentT((1+0.9973)/2, c[0]), 0.0151, "table rounds the level")
	}
}

func TestStudentTFractionalAndLarge(t *testing.T) {
	for _, dof := range []float64{0.5, 1, 2.5, 16.75, 1e3, 2999, 3001, 1e5, 1e6, 9e7, 2e8} {
		for _, p := range []float64{0.001, 0.3, 0.6, 0.975, 0.9999} {
			q := StudentT(p, dof)
			if dof < 1e7 { // there gonum's own distribution is off by 2e-8
				assert.InDelta(t, p, distuv.StudentsT{Sigma: 1, Nu: dof}.CDF(q), 1e-8, "p %g dof %g", p, dof)
			}
		}
	}
	assert.InDelta(t, StudentT(0.975, 9.9e7), StudentT(0.975, 1.1e8), 1e-6)
	assert.Greater(t, StudentT(0.975, 16), StudentT(0.975, 16.5))
	assert.Equal(t, inf, StudentT(1, 3))
	assert.Equal(t, -inf, StudentT(0, 3))
	for _, bad := range []float64{StudentT(-1, 3), StudentT(0.5, 0), StudentT(math.NaN(), 3), StudentT(0.5, math.NaN()),
		Normal(2), ChiSquare(0.5, -1), ChiSquare(2, 1), FisherF(0.5, 0, 1), FisherF(-1, 1, 1)} {
		assert.True(t, math.IsNaN(bad))
	}
}

func TestChiSquareTable(t *testing.T) {
	for _, c := range []struct{ dof, p01, p025, p05, p95, p975, p99 float64 }{
		{1, 0.0002, 0.0010, 0.0039, 3.8415, 5.0239, 6.6349},
		{2, 0.0201, 0.0506, 0.1026, 5.9915, 7.3778, 9.2103},
		{9, 2.0879, 2.7004, 3.3251, 16.9190, 19.0228, 21.6660},
		{42, 23.6501, 25.9987, 28.1440, 58.1240, 61.7768, 66.2062},
		{99, 69.2299, 73.3611, 77.0463, 123.2252, 128.4220, 134.6416},
	} {
		for p, want := range map[float64]float64{0.01: c.p01, 0.025: c.p025, 0.05: c.p05, 0.95: c.p95, 0.975: c.p975, 0.99: c.p99} {
			assert.InDelta(t, want, ChiSquare(p, c.dof), 6e-5, "p %g dof %g", p, c.dof)
		}
	}
}

// F with one degree of freedom is the square of t; with many below, chi-square.
func TestFisherF(t *testing.T) {
	for _, dof := range []float64{2, 7, 30.5} {
		x := StudentT(0.975, dof)
		assert.InEpsilon(t, x*x, FisherF(0.95, 1, dof), 1e-9)
	}
	assert.InEpsilon(t, ChiSquare(0.95, 5)/5, FisherF(0.95, 5, 1e7), 1e-5)
}

func TestClopperPearson(t *testing.T) {
	for _, c := range []struct {
		x, n             int
		level, low, high float64
		within           float64
	}{
		{5, 10, 0.95, 0.1870860284, 0.8129139716, 1e-10},
		{0, 10, 0.95, 0, 0.3084971078, 1e-10},
		{10, 10, 0.95, 0.6915028922, 1, 1e-10},
		{0, 6, 0.95, 0, 0.459258, 1e-6},
		{81, 263, 0.95, 0.252737, 0.367622, 1e-6}, // Newcombe 1998: 0.2527, 0.3676 (from memory)
		{15, 148, 0.95, 0.057844, 0.161650, 1e-6},
		{1, 29, 0.95, 0.000873, 0.177644, 1e-6},
		{4, 20, 0.90, 0.071354, 0.401029, 2e-6}, // e-Handbook 7.2.4.1 (from memory)
	} {
		low, high := ClopperPearson(c.x, c.n, c.level)
		assert.InDelta(t, c.low, low, c.within, "%d of %d", c.x, c.n)
		assert.InDelta(t, c.high, high, c.within, "%d of %d", c.x, c.n)
	}
	for _, c := range [][3]float64{{-1, 3, 0.95}, {4, 3, 0.95}, {0, 0, 0.95}, {1, 3, 1}, {1, 3, math.NaN()}} {
		low, high := ClopperPearson(int(c[0]), int(c[1]), c[2])
		assert.True(t, math.IsNaN(low) && math.IsNaN(high))
	}
}

// The bounds are where the binomial tails are half of what the level leaves.
func TestClopperPearsonTails(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for range 200 {
		n := 1 + rng.IntN(400)
		x := rng.IntN(n + 1)
		low, high := ClopperPearson(x, n, 0.9)
		if x > 0 {
			assert.InDelta(t, 0.05, 1-distuv.Binomial{N: float64(n), P: low}.CDF(float64(x-1)), 1e-8)
		}
		if x < n {
			assert.InDelta(t, 0.05, distuv.Binomial{N: float64(n), P: high}.CDF(float64(x)), 1e-8)
		}
	}
}
