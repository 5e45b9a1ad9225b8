package solenoid

import (
	"math"
	"math/rand/v2"
	"regexp"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/sim"
)

// figures are what a fault may move in a unit, taken from its physics: of what a
// bench can measure, by quantity.
func figures(t *testing.T, p Params, fault string, severity float64) map[string]float64 {
	_, q, err := damage(p, fault, severity, 1)
	require.NoError(t, err)
	u := unit(t, p, fault, severity)
	out, _ := q.Pole.r(q.gap(0))
	in, _ := q.Pole.r(q.gap(q.Stroke_m))
	f := map[string]float64{
		"resistance": q.Hot(20), "inductance out": 1 / out, "inductance in": 1 / in,
		"pull-in": q.PullIn(), "drop-out": q.DropOut(),
	}
	c := closed(p)
	begin := math.NaN()
	for i := range 30000 {
		at := float64(i) * 10e-6
		u.Step(10*time.Microsecond, c)
		if math.IsNaN(begin) && u.travel_m > 0.02*q.Stroke_m {
			begin = at
		}
		if u.travel_m == q.Stroke_m {
			f["stroke time"] = at - begin
			break
		}
	}
	back := sim.Circuit{Closed: true, OneWay: true, EMF_V: -0.7, Ohm: 0.02}
	for range 3000 {
		u.Step(10*time.Microsecond, c)
	}
	begin = math.NaN()
	for i := range 30000 {
		at := float64(i) * 10e-6
		u.Step(10*time.Microsecond, back)
		if math.IsNaN(begin) && u.travel_m < 0.98*q.Stroke_m {
			begin = at
		}
		if u.travel_m == 0 {
			f["return time"] = at - begin
			break
		}
	}
	return f
}

// Graded faults at the half move the figure that they move most by two to five
// standard deviations of good units, and the texts tell which and by how much.
func TestGradedFaultsAtHalf(t *testing.T) {
	const n = 150
	r := rand.New(rand.NewPCG(41, 42))
	sum, sq := map[string]float64{}, map[string]float64{}
	for range n {
		p, err := Draw(OnOff12, r)
		require.NoError(t, err)
		for k, x := range figures(t, p, "", 0) {
			sum[k], sq[k] = sum[k]+math.Log(x), sq[k]+math.Log(x)*math.Log(x)
		}
	}
	good := figures(t, nominal(t, OnOff12), "", 0)
	told := regexp.MustCompile(`([a-z-]+(?: [a-z]+)?) ([+-][0-9.]+) %, ([0-9.]+) sd`)
	for _, f := range Faults() {
		if !f.Graded || f.Side == wiring || f.Side == benchSide {
			continue
		}
		for text, severity := range map[string]float64{f.Half: 0.5, f.Full: 1} {
			most, name, share := 0.0, "", 0.0
			for k, x := range figures(t, nominal(t, OnOff12), f.Name, severity) {
				sd := math.Sqrt(sq[k]/n - sum[k]/n*sum[k]/n)
				if z := math.Log(x/good[k]) / sd; !math.IsInf(z, 0) && !math.IsNaN(z) && math.Abs(z) > math.Abs(most) {
					most, name, share = z, k, 100*(x/good[k]-1)
				}
			}
			t.Logf("%s %v: %s %+.2g %%, %.2g sd", f.Name, severity, name, share, math.Abs(most))
			if severity == 0.5 {
				assert.InDelta(t, 3.7, math.Abs(most), 1.4, f.Name)
			}
			m := told.FindStringSubmatch(text)
			if !assert.NotNil(t, m, "%s: %s", f.Name, text) {
				continue
			}
			assert.Equal(t, name, m[1], f.Name)
			x, _ := strconv.ParseFloat(m[2], 64)
			z, _ := strconv.ParseFloat(m[3], 64)
			assert.InDelta(t, share, x, max(0.6, 0.06*math.Abs(share)), f.Name)
			assert.InDelta(t, math.Abs(most), z, max(0.3, 0.06*math.Abs(most)), f.Name)
		}
	}
}
