package stat

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	gstat "gonum.org/v1/gonum/stat"
)

// alternating is NumAcc2 to NumAcc4 of StRD: one value, then pairs 0.1 below
// and above it, 1001 in all.
func alternating(centre, low, high float64) []float64 {
	xs := []float64{centre}
	for range 500 {
		xs = append(xs, low, high)
	}
	return xs
}

func TestStRDUnivariate(t *testing.T) {
	// Certified mean, standard deviation and autocorrelation of lag 1, and
	// the digits reached. The input of NumAcc3 and 4 itself holds about 9 and
	// 8 digits of the deviation.
	for _, c := range []struct {
		name          string
		data          []float64
		mean, sd, r   float64
		digits, rDigs float64
	}{
		{"NumAcc1", []float64{10000001, 10000003, 10000002}, 10000002, 1, -0.5, 15, 15},
		{"NumAcc2", alternating(1.2, 1.1, 1.3), 1.2, 0.1, -0.999, 14, 13},
		{"NumAcc3", alternating(1000000.2, 1000000.1, 1000000.3), 1000000.2, 0.1, -0.999, 9, 9},
		{"NumAcc4", alternating(10000000.2, 10000000.1, 10000000.3), 10000000.2, 0.1, -0.999, 8, 8},
		{"PiDigits", nil, 4.5348, 2.86733906028871, -0.00355099287237972, 14, 11},
		{"Lottery", nil, 518.958715596330, 291.699727470969, -0.120948622967393, 14, 13},
		{"Lew", nil, -177.435, 277.332168044316, -0.307304800605679, 14, 13},
		{"Mavro", nil, 2.001856, 0.000429123454003053, 0.937989183438248, 12, 12},
		{"Michelso", nil, 299.8524, 0.0790105478190518, 0.535199668621283, 13, 13},
	} {
		t.Run(c.name, func(t *testing.T) {
			xs := c.data
			if xs == nil {
				for _, row := range strd(t, c.name) {
					xs = append(xs, row[0])
				}
			}
			mean, sd := MeanSD(xs)
			var run Running
			for _, x := range xs {
				run.Add(x)
			}
			t.Logf("digits: mean %.1f sd %.1f r1 %.1f, running %.1f %.1f", digits(mean, c.mean), digits(sd, c.sd),
				digits(Autocorrelation(xs, 1), c.r), digits(run.Mean(), c.mean), digits(run.SD(), c.sd))
			assert.GreaterOrEqual(t, digits(mean, c.mean), 14.5)
			assert.GreaterOrEqual(t, digits(sd, c.sd), c.digits)
			assert.GreaterOrEqual(t, digits(Autocorrelation(xs, 1), c.r), c.rDigs)
			assert.GreaterOrEqual(t, digits(run.Mean(), c.mean), 13.5)
			assert.GreaterOrEqual(t, digits(run.SD(), c.sd), min(c.digits, 12))
			assert.Equal(t, len(xs), run.N())
		})
	}
}

func TestMomentsAgainstGonum(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 4))
	for n := 2; n < 60; n += 7 {
		xs := autoregressive(rng, n, 0.3)
		assert.InDelta(t, gstat.Mean(xs, nil), Mean(xs), 1e-14)
		assert.InEpsilon(t, gstat.StdDev(xs, nil), SD(xs), 1e-13)
	}
}

func TestMedianAndMAD(t *testing.T) {
	xs := []float64{3, 1, 2}
	assert.Equal(t, 2.0, Median(xs))
	assert.Equal(t, []float64{3, 1, 2}, xs)
	assert.Equal(t, 2.5, Median([]float64{4, 1, 2, 3}))
	assert.Equal(t, 1.0, MAD([]float64{1, 1, 2, 2, 4, 6, 9})) // median 2, distances 1 1 0 0 2 4 7
	assert.InDelta(t, 1.4826022185, RobustSD([]float64{1, 1, 2, 2, 4, 6, 9}), 1e-10)
	assert.InDelta(t, 1/Normal(0.75), RobustSD([]float64{-1, 0, 1}), 1e-12)
	for _, f := range []func([]float64) float64{Mean, SD, Median, MAD} {
		assert.True(t, math.IsNaN(f(nil)))
	}
	assert.True(t, math.IsNaN(SD([]float64{1})))
	assert.True(t, math.IsNaN(Autocorrelation([]float64{1, 2}, 2)))
	assert.True(t, math.IsNaN(Autocorrelation([]float64{2, 2}, 1)))
	assert.True(t, math.IsNaN(Autocorrelation([]float64{1, 2}, -1)))
	assert.InDelta(t, 1.0, Autocorrelation([]float64{1, 2, 4}, 0), 1e-15)
	var r Running
	assert.True(t, math.IsNaN(r.Mean()) && math.IsNaN(r.SD()))
}

func TestRunningAllocatesNothing(t *testing.T) {
	var r Running
	assert.Zero(t, testing.AllocsPerRun(100, func() { r.Add(1.5); _ = r.SD() }))
}

func FuzzRunning(f *testing.F) {
	f.Add([]byte{1, 2, 3, 250})
	f.Fuzz(func(t *testing.T, data []byte) {
		var r Running
		xs := make([]float64, len(data))
		for i, b := range data {
			xs[i] = 1e6 + float64(b)
			r.Add(xs[i])
		}
		if len(xs) > 1 {
			mean, sd := MeanSD(xs)
			assert.InDelta(t, mean, r.Mean(), 1e-8)
			assert.InDelta(t, sd, r.SD(), 1e-6)
		}
	})
}
