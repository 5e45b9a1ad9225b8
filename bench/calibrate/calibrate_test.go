package calibrate

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/signal/stat"
)

// hardly is a reference that adds next to nothing.
var hardly = Meter{Gain: 1e-12, K: 2}

func pairs(x, y []float64) (p []Point) {
	for i := range x {
		p = append(p, Point{Reading: y[i], Reference: x[i]})
	}
	return p
}

// NIST/SEMATECH e-Handbook 2.3.6.7.3, linear calibration: data file
// CALIBRATIONLINE.DAT (columns 1 and 2), coefficients, their standard
// deviations and covariance as printed in the handbook's listing.
func TestFitHandbook(t *testing.T) {
	x := []float64{6.19, 9.17, 1.99, 7.77, 4.00, 10.77, 4.78, 2.99, 6.98, 9.98}
	y := [][]float64{
		{6.31, 9.27, 2.21, 8.00, 4.27, 10.93, 4.95, 3.24, 7.14, 10.23},
		{6.27, 9.21, 2.19, 7.81, 4.15, 10.73, 4.87, 3.17, 7.07, 10.02},
		{6.31, 9.34, 2.22, 7.95, 4.15, 10.92, 5.00, 3.21, 7.18, 10.07},
		{6.28, 9.23, 2.20, 7.84, 4.15, 10.89, 5.00, 3.21, 7.20, 10.17},
	}
	var p []Point
	for _, row := range y {
		p = append(p, pairs(x, row)...)
	}
	l, err := Fit(p, hardly)
	require.NoError(t, err)
	assert.InDelta(t, 0.2357623, l.Offset.Value, 5e-8)
	assert.InDelta(t, 0.02430034, l.Offset.U(), 5e-9)
	assert.InDelta(t, 0.9870377, l.Gain.Value, 5e-8)
	assert.InDelta(t, 0.00344058, l.Gain.U(), 5e-9)
	assert.InDelta(t, -7.649453e-05, l.Covariance, 5e-12)
	assert.InDelta(t, 0.06203196, l.ResidualSD, 5e-9)
	assert.Equal(t, 38, l.DoF)
	// t(0.975; 38) = 2.0244 (computed; NIST's table prints 2.024).
	assert.InDelta(t, 2.024*0.00344058, l.Gain.Half, 3e-6)
	assert.NoError(t, l.Refused())
}

// JCGM 100:2008, H.3: calibration of a thermometer, Table H.6. The values
// printed are those of y1, y2, their standard uncertainties and correlation,
// and the correction at 30 °C.
func TestFitGUMH3(t *testing.T) {
	x := []float64{21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511}
	y := []float64{-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160}
	for i := range x {
		x[i] -= 20
	}
	l, err := Fit(pairs(x, y), hardly)
	require.NoError(t, err)
	assert.InDelta(t, -0.1712, l.Offset.Value, 5e-5)
	assert.InDelta(t, 0.0029, l.Offset.U(), 5e-5)
	assert.InDelta(t, 0.00218, l.Gain.Value, 5e-6)
	assert.InDelta(t, 0.00067, l.Gain.U(), 5e-6)
	assert.InDelta(t, -0.930, l.Covariance/(l.Gain.U()*l.Offset.U()), 5e-4)
	assert.InDelta(t, 0.0035, l.ResidualSD, 5e-5)
	at := l.Offset.Value + l.Gain.Value*10
	u := math.Sqrt(math.Pow(l.Offset.U(), 2) + math.Pow(10*l.Gain.U(), 2) + 2*10*l.Covariance)
	assert.InDelta(t, -0.1494, at, 5e-5)
	assert.InDelta(t, 0.0041, u, 5e-5)
}

// The reference's own errors do not average away: with ever more points the
// gain's uncertainty goes to that of the certificate, and the offset's to the
// certificate's at points that are no zero.
func TestReferenceIsCommon(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	m := Meter{Gain: 0.002, Offset: 0.010, K: 2}
	var p []Point
	for i := range 2000 {
		x := 1 + 10*float64(i)/2000
		p = append(p, Point{Reading: 0.05 + 1.01*x + 0.001*rng.NormFloat64(), Reference: x, U: 0.001})
	}
	l, err := Fit(p, m)
	require.NoError(t, err)
	assert.InDelta(t, 1.01*0.001, l.Gain.U(), 2e-6)
	assert.InDelta(t, 1.01*0.005, l.Offset.U(), 1e-5)
	_, shared := l.Gain.Split()
	assert.InDelta(t, 1.01*0.001, shared, 1e-7)
	// Zeros by the circuit hold the offset, and show the reference's own where
	// the line is good enough; with one further value they cannot.
	var z []Point
	for i := range 3 {
		z = append(z, Point{Reading: 0.05, U: 1e-5, Zero: true}, Point{Reading: 0.05 + 1.01*float64(4+3*i), Reference: float64(4 + 3*i), U: 1e-4})
	}
	z[1].Reading += 1e-4
	l, err = Fit(z, m)
	require.NoError(t, err)
	assert.Less(t, l.Offset.U(), 0.001)
	assert.InDelta(t, 1.01*0.001, l.Gain.U(), 3e-5)
}

// A line that is exact, with errors of the reference put in, moves as the
// budget says.
func TestSensitivities(t *testing.T) {
	const c, g = 0.003, 0.0004
	shown := func(v float64) float64 { return v*(1+g) + c }
	at := []float64{0, 1, 2, 5, 10}
	var truly, seen []Point
	for i, v := range at {
		q := Point{Reading: 0.02 + 0.98*v, U: 0.001, Reference: v, Zero: i == 0}
		truly = append(truly, q)
		if i > 0 {
			q.Reference = shown(v)
		}
		seen = append(seen, q)
	}
	a, err := Fit(truly, Meter{Gain: g, Offset: c, K: 1})
	require.NoError(t, err)
	b, err := Fit(seen, Meter{Gain: g, Offset: c, K: 1})
	require.NoError(t, err)
	// Signs of the two contributions to the gain add here.
	var sum float64
	for _, part := range a.Gain.Budget {
		if part.Shared {
			sum += part.U
		}
	}
	assert.InDelta(t, sum, math.Abs(b.Gain.Value-a.Gain.Value), 3e-6)
	_, shared := a.Offset.Split()
	assert.InDelta(t, shared, math.Abs(b.Offset.Value-a.Offset.Value), 1e-5)
}

func TestFitRefuses(t *testing.T) {
	good := pairs([]float64{0, 1, 2}, []float64{0, 1, 2})
	for name, c := range map[string]struct {
		points []Point
		meter  Meter
		says   string
	}{
		"two points":       {good[:2], hardly, "take 3 or more"},
		"one value thrice": {pairs([]float64{1, 1, 1, 2}, []float64{1, 1, 1, 2}), hardly, "spread over the range"},
		"narrow":           {pairs([]float64{9, 9.5, 10}, []float64{9, 9.5, 10}), hardly, "from 9 to 10 only"},
		"not a number":     {pairs([]float64{0, 1, math.NaN()}, []float64{0, 1, 2}), hardly, "point 3"},
		"no certificate":   {good, Meter{Digit: 0.01, K: 2}, "states no uncertainty"},
		"k of 20":          {good, Meter{Gain: 0.01, K: 20}, "coverage factor"},
		"per cent as such": {good, Meter{Gain: 0.1, K: 2}, "less than 0.1"},
		"below nought":     {good, Meter{Gain: -0.01, K: 2}, "none below nought"},
	} {
		_, err := Fit(c.points, c.meter)
		assert.ErrorContains(t, err, c.says, name)
	}
}

func TestRemarks(t *testing.T) {
	at := []float64{0, 1, 2, 4, 6, 8, 10, 8, 6, 4, 2, 1}
	meter := Meter{Gain: 0.0005, Offset: 0.0005, K: 2, Digit: 0.0001}
	noisy := func(bend, odd float64, scale float64) *Line {
		rng := rand.New(rand.NewPCG(3, 9))
		var p []Point
		for i, v := range at {
			q := Point{Reading: 0.01 + 1.002*v + bend*v*v + scale*0.0005*rng.NormFloat64(), Reference: v, U: 0.0005, Zero: i == 0}
			if i == 5 {
				q.Reading += odd
			}
			p = append(p, q)
		}
		l, err := Fit(p, meter)
		require.NoError(t, err)
		return l
	}
	assert.Empty(t, noisy(0, 0, 1).Remarks())
	r := noisy(0, 0.02, 1).Remarks()
	require.Len(t, r, 1)
	assert.True(t, r[0].Refuses)
	assert.Equal(t, 6, r[0].Point)
	assert.Contains(t, r[0].Text, "Point 6, where the reference showed 8,")
	r = noisy(0.0005, 0, 1).Remarks()
	require.Len(t, r, 1)
	assert.True(t, r[0].Refuses)
	assert.Contains(t, r[0].Text, "straight line")
	assert.ErrorContains(t, noisy(0.0005, 0, 1).Refused(), "up and down")
	meter = Meter{Gain: 0.005, Offset: 0.02, K: 2, Digit: 0.0001}
	r = noisy(0.0001, 0, 1).Remarks() // 3 mA, where the reference is good for 20
	require.Len(t, r, 1)
	assert.False(t, r[0].Refuses)
	r = noisy(0, 0, 6).Remarks()
	require.Len(t, r, 1)
	assert.Contains(t, r[0].Text, "noise and digits explain")
	// The reference adds 50 mA, and its certificate says 0.5.
	meter = Meter{Gain: 0.0005, Offset: 0.0005, K: 2, Digit: 0.0001}
	l := noisy(0, 0, 1)
	for i := range l.Points[1:] {
		l.Points[i+1].Reference += 0.05
	}
	l, err := Fit(l.Points, meter)
	require.NoError(t, err)
	r = l.Remarks()
	require.Len(t, r, 1)
	assert.Contains(t, r[0].Text, "+0.05")

	l, err = Fit(pairs([]float64{0, 1, 2}, []float64{0, 2, 4}), hardly)
	require.NoError(t, err)
	assert.ErrorContains(t, l.Refused(), "by a factor of 2")
	assert.Len(t, l.Remarks(), 2)
}

// A uniform error alone: 0.95 of its limit. None: Student's t. Between, what
// drawing gives.
func TestJoined(t *testing.T) {
	assert.InDelta(t, 0.95, joined(1, 0, 5), 1e-12)
	assert.InDelta(t, 1.96*2, joined(0, 2, math.Inf(1)), 1e-3)
	assert.InDelta(t, stat.StudentT(0.975, 3), joined(1e-9, 1, 3), 1e-6)
	rng := rand.New(rand.NewPCG(5, 5))
	for _, c := range []struct{ limit, u float64 }{{1, 0.05}, {1, 0.3}, {1, 1}, {1, 5}} {
		half := joined(c.limit, c.u, math.Inf(1))
		const n = 200_000
		in := 0
		for range n {
			if math.Abs(c.limit*(2*rng.Float64()-1)+c.u*rng.NormFloat64()) <= half {
				in++
			}
		}
		// Five standard deviations of a share of 200,000.
		assert.InDelta(t, 0.95, float64(in)/n, 0.0025, "%+v", c)
	}
}
