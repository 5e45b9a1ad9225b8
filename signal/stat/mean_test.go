package stat

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// autoregressive is a stationary first-order series of unit variance.
func autoregressive(rng *rand.Rand, n int, phi float64) []float64 {
	xs := make([]float64, n)
	x := rng.NormFloat64()
	for i := range xs {
		xs[i] = x
		x = phi*x + math.Sqrt(1-phi*phi)*rng.NormFloat64()
	}
	return xs
}

func holds(t *testing.T, q Quantity, truth float64) bool {
	t.Helper()
	return math.Abs(q.Value-truth) <= StudentT(0.975, q.DoF())*q.U()
}

func TestMeanOfCoverage(t *testing.T) {
	for _, c := range []struct {
		n   int
		phi float64
	}{{8, 0}, {30, 0}, {200, 0.5}, {500, 0.9}, {2000, 0}, {2000, 0.5}, {2000, 0.9}, {2000, 0.98}, {2000, 0.99}, {20000, 0.99}} {
		t.Run(fmt.Sprintf("n %d phi %g", c.n, c.phi), func(t *testing.T) {
			rng := rand.New(rand.NewPCG(7, uint64(c.n)))
			runs, hit := 1500, 0
			if c.n > 2000 {
				runs = 500
			}
			for range runs {
				q := MeanOf(autoregressive(rng, c.n, c.phi))
				if holds(t, q, 0) {
					hit++
				}
			}
			cover := float64(hit) / float64(runs)
			t.Logf("coverage %.3f", cover)
			assert.InDelta(t, 0.95, cover, 0.03)
		})
	}
}

func TestMeanOfNaiveWouldFail(t *testing.T) {
	xs := autoregressive(rand.New(rand.NewPCG(1, 1)), 2000, 0.98)
	q := MeanOf(xs)
	// The true factor is √((1+φ)/(1-φ)) = 9.95.
	assert.InDelta(t, 9.95, q.U()/(SD(xs)/math.Sqrt(2000)), 5)
	assert.Less(t, q.DoF(), 30.0)
}

func TestMeanOverUnevenCoverage(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 3))
	const runs, n, tau = 1500, 1500, 0.02
	hit, plain := 0, 0
	for range runs {
		// Steps of 0.2 to 1.8 ms, now and then a gap; an exponentially
		// correlated series with a time constant of 20 ms.
		ts, xs := make([]float64, n), make([]float64, n)
		at, x := 0.0, rng.NormFloat64()
		for i := range xs {
			ts[i], xs[i] = at, x
			step := 0.0002 + 0.0016*rng.Float64()
			if rng.Float64() < 0.002 {
				step = 0.03
			}
			at += step
			phi := math.Exp(-step / tau)
			x = phi*x + math.Sqrt(1-phi*phi)*rng.NormFloat64()
		}
		q := MeanOver(ts, xs)
		if holds(t, q, 0) {
			hit++
		}
		if math.Abs(Mean(xs)) < 1.96*SD(xs)/math.Sqrt(n) {
			plain++
		}
	}
	t.Logf("coverage %.3f, without correlation %.3f", float64(hit)/runs, float64(plain)/runs)
	assert.InDelta(t, 0.95, float64(hit)/runs, 0.03)
	assert.Less(t, float64(plain)/runs, 0.5)
}

func TestMeanOverWeighsByTime(t *testing.T) {
	// 1 A for one second at 1 kHz, then 3 A for one second at 100 Hz: the mean
	// over time is 2 A, the plain mean 1.18 A.
	var ts, xs []float64
	for i := range 1000 {
		ts, xs = append(ts, float64(i)/1000), append(xs, 1)
	}
	for i := range 100 {
		ts, xs = append(ts, 1+float64(i)/100), append(xs, 3)
	}
	q := MeanOver(ts, xs)
	assert.InDelta(t, 2, q.Value, 0.01)
	even := make([]float64, len(xs))
	for i := range even {
		even[i] = float64(i)
	}
	a := MeanOf(xs[:1000])
	b := MeanOver(even[:1000], xs[:1000])
	assert.InDelta(t, a.Value, b.Value, 1e-12)
}

func TestMeanOfEdges(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for name, q := range map[string]Quantity{
		"empty":      MeanOf(nil),
		"one":        MeanOf([]float64{1}),
		"NaN":        MeanOf([]float64{1, nan, 2}),
		"Inf":        MeanOf([]float64{1, inf}),
		"time back":  MeanOver([]float64{0, 2, 1}, []float64{1, 2, 3}),
		"time short": MeanOver([]float64{0, 1}, []float64{1, 2, 3}),
		"time NaN":   MeanOver([]float64{0, 1, 2}, []float64{1, nan, 3}),
		"repeated":   Repeated("reading", []float64{1}),
	} {
		assert.True(t, math.IsInf(q.U(), 1), name)
		assert.Equal(t, 1.0, q.DoF(), name)
	}
	assert.Equal(t, 1.0, MeanOf([]float64{1}).Value)
	q := MeanOver([]float64{1, 1, 1}, []float64{2, 4, 6})
	assert.Equal(t, 4.0, q.Value)
	q = MeanOf([]float64{5, 5, 5, 5})
	assert.Equal(t, 5.0, q.Value)
	assert.Zero(t, q.U())
	q = MeanOver([]float64{0, 0, 0, 5}, []float64{1, 2, 1, 2})
	assert.True(t, finite(q.U()) && q.DoF() >= 1)
}

func TestMeanOfScalesAndShifts(t *testing.T) {
	xs := autoregressive(rand.New(rand.NewPCG(5, 5)), 777, 0.7)
	q := MeanOf(xs)
	ys := make([]float64, len(xs))
	for i, x := range xs {
		ys[i] = 1000 - 3*x
	}
	p := MeanOf(ys)
	assert.InDelta(t, 1000-3*q.Value, p.Value, 1e-9)
	assert.InEpsilon(t, 3*q.U(), p.U(), 1e-9)
	assert.InEpsilon(t, q.DoF(), p.DoF(), 1e-9)
}

func TestMeanOfAllocates(t *testing.T) {
	xs := autoregressive(rand.New(rand.NewPCG(5, 5)), 5000, 0.7)
	assert.LessOrEqual(t, testing.AllocsPerRun(20, func() { _ = MeanOf(xs) }), 1.0)
}

// FuzzMeanOver looks for panics and for uncertainties that are no number.
func FuzzMeanOver(f *testing.F) {
	f.Add([]byte{1, 2, 3, 4, 5, 6})
	f.Fuzz(func(t *testing.T, data []byte) {
		var ts, xs []float64
		at := 0.0
		for i := 0; i+1 < len(data); i += 2 {
			at += float64(data[i] % 16)
			ts, xs = append(ts, at), append(xs, float64(data[i+1]))
		}
		q := MeanOver(ts, xs)
		if len(xs) > 1 {
			require.True(t, finite(q.Value) && finite(q.U()) && q.U() >= 0 && q.DoF() >= 1, "%v", q)
		}
	})
}

func BenchmarkMeanOf(b *testing.B) {
	xs := autoregressive(rand.New(rand.NewPCG(5, 5)), 20000, 0.7)
	b.ReportAllocs()
	for b.Loop() {
		_ = MeanOf(xs)
	}
}

// A sample beside a gap does not speak for all of it: of 101 samples a step
// apart, the last but one lies 100 steps before the last.
func TestMeanOverBesideGap(t *testing.T) {
	var ts, xs []float64
	for i := range 100 {
		ts, xs = append(ts, float64(i)), append(xs, 0)
	}
	ts, xs = append(ts, 199), append(xs, 0)
	xs[99] = 1
	// Left half step, right at most 3 mean steps of 1.99: (1+5.97)/2 of about
	// 106; without the limit it would be a quarter.
	assert.InDelta(t, 0.033, MeanOver(ts, xs).Value, 0.003)
}

// Joining batches brings the uncertainty of a strongly linked series to its
// true size: √((1+φ)/(1-φ)/n) for φ 0.98 and 4000 samples.
func TestMeanOfIsNotTooSmall(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 11))
	var u Running
	for range 400 {
		u.Add(MeanOf(autoregressive(rng, 4000, 0.98)).U())
	}
	ratio := u.Mean() / math.Sqrt(99.0/4000)
	t.Logf("stated over true uncertainty %.3f", ratio)
	assert.InDelta(t, 1.17, ratio, 0.08)
}
