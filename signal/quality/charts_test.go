package quality

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// flow is the flow rate of ten batches, e-Handbook 6.3.2.2.
var flow = []float64{49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1}

func TestIndividualsHandbook(t *testing.T) {
	c, err := NewIndividuals(flow, Usual())
	require.NoError(t, err)
	assert.InDelta(t, 50.81, c.Mean, 1e-12)
	assert.InDelta(t, 1.8778, c.MeanRange, 5e-5)
	assert.InDelta(t, 55.8041, c.High, 5e-5, "upper limit as printed")
	assert.InDelta(t, 45.8159, c.Low, 5e-5, "lower limit as printed")
	assert.InDelta(t, 6.1347, c.RangeHigh, 5e-5, "3.267 times the mean range")
	for i, x := range flow {
		assert.False(t, c.Out(x), "no point out")
		assert.False(t, i > 0 && c.RangeOut(flow[i-1], x))
	}
	assert.True(t, c.Out(55.81) && c.Out(45.81) && !c.Out(math.NaN()))
	assert.True(t, c.RangeOut(46, 52.2) && !c.RangeOut(46, 52.1) && !c.RangeOut(math.NaN(), 1))
}

// The printed constants are the exact ones, rounded.
func TestConstants(t *testing.T) {
	d2, d3 := 2/math.Sqrt(math.Pi), math.Sqrt(2-4/math.Pi)
	assert.InDelta(t, d2, D2, 5e-4)
	assert.InDelta(t, d3, D3, 5e-4+1e-6)
	assert.InDelta(t, 1+3*d3/d2, D4, 6e-4)
	assert.InDelta(t, 3.0, Rate(0.0026997960632601866).Sigmas, 1e-9)
	// Ranges lie beyond just as often as values: √2·3 standard deviations.
	assert.InDelta(t, 3*math.Sqrt2, Rate(0.0026997960632601866).Ranges*D2, 1e-9)
}

// With endless values nothing is left to allow for; with few, values lie further
// out than ranges do for the error of the mean alone.
func TestNext(t *testing.T) {
	endless := Next(0.001, 1e6)
	assert.InDelta(t, Rate(0.001).Sigmas, endless.Sigmas, 1e-4)
	assert.InDelta(t, Rate(0.001).Ranges, endless.Ranges, 1e-4)
	for _, n := range []int{5, 20, 100} {
		r := Next(0.001, n)
		assert.InDelta(t, math.Sqrt(1+1/float64(n)), r.Sigmas*math.Sqrt2/(r.Ranges*D2), 1e-9)
		assert.Greater(t, r.Ranges, endless.Ranges)
	}
}

// One value in 370 beyond three standard deviations, one in 44 when the mean
// has moved by one (e-Handbook 6.3.2: 371 and 43.9, printed as 43.86).
func TestIndividualsARL(t *testing.T) {
	assert.InDelta(t, 370.4, ARL(3, 0), 0.05)
	assert.InDelta(t, 43.9, ARL(3, 1), 0.05)
	assert.InDelta(t, ARL(3, -2), ARL(3, 2), 1e-12)
}

// SigmaError is what a simulation of many baselines scatters by.
func TestSigmaError(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 1))
	for _, n := range []int{5, 10, 20, 50} {
		const many = 20000
		var s, ss float64
		xs := make([]float64, n)
		for range many {
			for i := range xs {
				xs[i] = rng.NormFloat64()
			}
			c, err := NewIndividuals(xs, Usual())
			require.NoError(t, err)
			s += c.Sigma
			ss += c.Sigma * c.Sigma
		}
		mean := s / many
		got := math.Sqrt(ss/many-mean*mean) / mean
		t.Logf("n %d: %.4f, simulated %.4f", n, SigmaError(n), got)
		assert.InEpsilon(t, got, SigmaError(n), 0.03, "n %d", n)
	}
	assert.InDelta(t, 0.207, SigmaError(20), 5e-4)
	assert.True(t, math.IsNaN(SigmaError(1)))
}

func TestIndividualsRefuses(t *testing.T) {
	for name, xs := range map[string][]float64{"none": nil, "one": {1}, "NaN": {1, math.NaN()}, "Inf": {math.Inf(1), 1}} {
		_, err := NewIndividuals(xs, Usual())
		assert.Error(t, err, name)
	}
	_, err := NewIndividuals(flow, Rule{})
	assert.Error(t, err)
}

// Scale and shift move limits as they move values; turning the order round
// leaves them.
func TestIndividualsEquivariance(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 2))
	for range 200 {
		n := 2 + rng.IntN(40)
		xs, ys, back := make([]float64, n), make([]float64, n), make([]float64, n)
		a, b := math.Exp(4*rng.NormFloat64()), 10*rng.NormFloat64()
		for i := range xs {
			xs[i] = rng.NormFloat64()
			ys[i] = a*xs[i] + b
			back[n-1-i] = xs[i]
		}
		c, err := NewIndividuals(xs, Usual())
		require.NoError(t, err)
		d, err := NewIndividuals(ys, Usual())
		require.NoError(t, err)
		e, err := NewIndividuals(back, Usual())
		require.NoError(t, err)
		tol := 1e-9 * (math.Abs(b) + a)
		assert.InDelta(t, a*c.High+b, d.High, tol)
		assert.InDelta(t, a*c.Low+b, d.Low, tol)
		assert.InDelta(t, a*c.RangeHigh, d.RangeHigh, tol)
		assert.InDelta(t, c.High, e.High, 1e-12)
	}
}

func TestEWMAHandbook(t *testing.T) {
	e := EWMA{Lambda: 0.3, L: 3, Target: 50, Sigma: 2.0539}
	xs := []float64{52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1}
	want := []float64{50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99}
	for i, a := range e.Run(xs) {
		assert.InDelta(t, want[i], a.Z, 0.005+1e-9, "value %d", i+1)
		assert.False(t, a.Out)
	}
	assert.InDelta(t, 52.5884, 50+e.Steady(), 1e-4)
	assert.InDelta(t, 47.4115, 50-e.Steady(), 1e-4)
}

// What was not measured leaves average and limits as they are.
func TestEWMAGaps(t *testing.T) {
	e := EWMA{Lambda: 0.2, L: 3, Sigma: 1}
	got := e.Run([]float64{1, math.NaN(), -1})
	whole := e.Run([]float64{1, -1})
	assert.Equal(t, []Average{whole[0], whole[0], whole[1]}, got)
	assert.False(t, e.Run([]float64{100, math.NaN()})[1].Out, "nothing was measured")
}

// Montgomery's Example 9.1 with weight 0.1 and limits at 2.7, whose first
// limits show the start-up term: signals at 29 and 30.
func TestEWMAStart(t *testing.T) {
	xs := []float64{9.45, 7.99, 9.29, 11.66, 12.16, 10.18, 8.04, 11.46, 9.20, 10.34, 9.03, 11.47, 10.51, 9.40, 10.08, 9.37, 10.62, 10.31, 8.52, 10.84, 10.90, 9.33, 12.29, 11.50, 10.60, 11.08, 10.38, 11.62, 11.31, 10.52}
	got := EWMA{Lambda: 0.1, L: 2.7, Target: 10, Sigma: 1}.Run(xs)
	assert.InDelta(t, 9.945, got[0].Z, 1e-9)
	assert.InDelta(t, 9.7495, got[1].Z, 1e-9)
	assert.InDelta(t, 9.8992, got[3].Z, 5e-5)
	assert.InDelta(t, 10.27, got[0].High, 1e-9)
	assert.InDelta(t, 10.363248, got[1].High, 5e-7)
	assert.InDelta(t, 10.57314, got[27].Z, 5e-6)
	assert.InDelta(t, 10.64682, got[28].Z, 5e-6)
	assert.InDelta(t, 10.63414, got[29].Z, 5e-6)
	for i, a := range got {
		assert.Equal(t, i >= 28, a.Out, "value %d", i+1)
	}
	assert.InDelta(t, 0.619422, EWMA{Lambda: 0.1, L: 2.7, Sigma: 1}.Steady(), 5e-7)
}

// Lucas and Saccucci 1990, and Crowder 1987.
func TestEWMAARL(t *testing.T) {
	for _, c := range []struct{ lambda, l, shift, want, tol float64 }{
		{0.5, 3.071, 0, 500, 1}, {0.5, 3.071, 0.25, 255, 0.5}, {0.5, 3.071, 0.5, 88.8, 0.05}, {0.5, 3.071, 0.75, 35.9, 0.05},
		{0.5, 3.071, 1, 17.5, 0.05}, {0.5, 3.071, 1.5, 6.53, 0.005}, {0.5, 3.071, 2, 3.63, 0.005}, {0.5, 3.071, 2.5, 2.50, 0.005},
		{0.5, 3.071, 3, 1.93, 0.005}, {0.5, 3.071, 4, 1.34, 0.005}, {0.5, 3.071, 5, 1.07, 0.005},
		{0.03, 2.437, 0, 500, 1}, {0.03, 2.437, 0.25, 76.7, 0.05}, {0.03, 2.437, 0.5, 29.3, 0.05}, {0.03, 2.437, 0.75, 17.6, 0.05},
		{0.03, 2.437, 1, 12.6, 0.05}, {0.03, 2.437, 1.5, 8.07, 0.005}, {0.03, 2.437, 2, 5.99, 0.005}, {0.03, 2.437, 2.5, 4.80, 0.005},
		{0.03, 2.437, 3, 4.03, 0.005}, {0.03, 2.437, 4, 3.11, 0.005}, {0.03, 2.437, 5, 2.55, 0.005},
		{0.5, 2, 0, 26.45, 0.005}, {0.05, 2, 0, 127.53, 0.005},
	} {
		got, err := EWMA{Lambda: c.lambda, L: c.l}.ARL(c.shift)
		require.NoError(t, err)
		assert.InDelta(t, c.want, got, c.tol, "weight %g, limits %g, shift %g", c.lambda, c.l, c.shift)
	}
	// With all weight on the newest value it is the chart of individuals.
	got, err := EWMA{Lambda: 1, L: 3}.ARL(1)
	require.NoError(t, err)
	assert.InDelta(t, ARL(3, 1), got, 1e-6)
	for _, e := range []EWMA{{}, {Lambda: 2, L: 3}, {Lambda: 0.1}, {Lambda: 0.1, L: math.Inf(1)}, {Lambda: math.NaN(), L: 3}} {
		_, err := e.ARL(0)
		assert.Error(t, err)
	}
}

// A baseline widens limits: by simulation, the next value lies beyond as often
// as meant, and with limits as if all were known many times as often.
func TestNextHolds(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 9))
	const p, many = 0.01, 20000
	// The fewer they are, the more Next leans to the safe side.
	for _, c := range []struct {
		n     int
		floor float64
	}{{5, 0.2}, {20, 0.6}} {
		n := c.n
		wide, plain, drift := 0, 0, 0
		xs := make([]float64, n)
		later := make([]float64, 30)
		l, err := LimitFor(0.2, 1/p)
		require.NoError(t, err)
		for range many {
			for i := range xs {
				xs[i] = rng.NormFloat64()
			}
			x := rng.NormFloat64()
			chart, err := NewIndividuals(xs, Next(p, n))
			require.NoError(t, err)
			if chart.Out(x) {
				wide++
			}
			if chart, err = NewIndividuals(xs, Rate(p)); err == nil && chart.Out(x) {
				plain++
			}
		}
		for range many / 20 {
			for i := range xs {
				xs[i] = rng.NormFloat64()
			}
			for i := range later {
				later[i] = rng.NormFloat64()
			}
			chart, err := NewIndividuals(xs, Usual())
			require.NoError(t, err)
			if a := (EWMA{Lambda: 0.2, L: l, Target: chart.Mean, Sigma: chart.Sigma, N: n}).Run(later); a[len(a)-1].Out {
				drift++
			}
		}
		got, bare := float64(wide)/many, float64(plain)/many
		t.Logf("n %d: meant %.3f, with Next %.4f, with Rate %.4f; average out %.4f", n, p, got, bare, float64(drift)/many*20)
		assert.Less(t, got, 1.2*p)
		assert.Greater(t, got, c.floor*p)
		assert.Greater(t, bare, 1.5*p)
		// An average that is out stays out for a while: more often than once in
		// a run length.
		assert.Less(t, float64(drift)/many*20, 2.5*p)
	}
}

func TestLimitFor(t *testing.T) {
	for _, c := range []struct{ lambda, arl, want float64 }{{0.5, 500, 3.071}, {0.03, 500, 2.437}, {1, 370.398, 3}} {
		l, err := LimitFor(c.lambda, c.arl)
		require.NoError(t, err)
		assert.InDelta(t, c.want, l, 1e-3, "weight %g", c.lambda)
	}
	_, err := LimitFor(0.2, 1)
	assert.Error(t, err)
	l, err := LimitFor(0.2, 1e5)
	require.NoError(t, err)
	assert.True(t, l > 4 && l < 5)
}

func TestCapabilityHandbook(t *testing.T) {
	c, err := Capable(16, 2, 50, 8, 20, 0.95)
	require.NoError(t, err)
	for want, got := range map[float64]float64{1: c.Cp, 0.6667: c.Cpk, 1.3333: c.Cpl} {
		assert.InDelta(t, want, got, 5e-5)
	}
	assert.InDelta(t, 0.6667, c.Cpu, 5e-5)
	// Cpk 1.33 and the factors of Cp, n = 50 (supplement 3).
	c, err = Capable(0, 1/3.99, 50, -1, 1, 0.95)
	require.NoError(t, err)
	assert.InDelta(t, 1.33, c.Cpk, 1e-12)
	assert.InDelta(t, 1.050939, c.CpkLow, 5e-7)
	assert.InDelta(t, 1.609061, c.CpkHigh, 5e-7)
	assert.InDelta(t, 0.802482*1.33, c.CpLow, 1e-6)
	assert.InDelta(t, 1.197126*1.33, c.CpHigh, 1e-6)
	// The hard-bake process of Montgomery.
	c, err = Capable(1.5056104, 0.139814, 125, 1, 2, 0.95)
	require.NoError(t, err)
	assert.InDelta(t, 1.192058, c.Cp, 5e-6)
	assert.InDelta(t, 1.178682, c.Cpk, 5e-6)
	// One limit only.
	c, err = Capable(1, 1, 10, math.NaN(), 4, 0.95)
	require.NoError(t, err)
	assert.True(t, math.IsNaN(c.Cp) && c.Cpk == 1 && math.IsNaN(c.Cpl))
	for _, bad := range []struct{ mean, sd, low, high float64 }{{0, 0, 0, 1}, {0, 1, 1, 0}, {0, 1, math.NaN(), math.NaN()}, {math.NaN(), 1, 0, 1}} {
		_, err := Capable(bad.mean, bad.sd, 10, bad.low, bad.high, 0.95)
		assert.Error(t, err)
	}
}
