package solenoid

import (
	"encoding/csv"
	"math"
	"os"
	"slices"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/signal/stat"
)

// The closed form against the current worked out in small steps over many periods.
func TestSwung(t *testing.T) {
	const volt, ohm = 12.7, 8.0
	for _, tau := range []float64{0.5e-3, 4e-3, 40e-3} {
		for _, share := range []float64{0.1, 0.5, 0.9} {
			const period, n = 5e-3, 20000
			i := share * volt / ohm
			var r stat.Running
			for k := range 60 * n {
				u := 0.0
				if k%n < int(share*n) {
					u = volt
				}
				i += (u/ohm - i) * -math.Expm1(-period/n/tau)
				if k >= 59*n {
					r.Add(i)
				}
			}
			assert.InEpsilon(t, r.SD(), swung(volt, ohm, tau, share, period), 2e-3, "tau %g, share %g", tau, share)
		}
	}
	// Far from both ends it is a triangle: V·d·(1−d)/(f·L) peak to peak, over √12.
	assert.InEpsilon(t, volt*0.3*0.7*1e-4/(ohm*0.05)/math.Sqrt(12), swung(volt, ohm, 0.05, 0.3, 1e-4), 1e-3)
}

// The inductance that a ripple tells is that of the coil which makes it, within
// what it says of itself.
func TestRippledIsTheReverse(t *testing.T) {
	for _, henry := range []float64{2e-3, 20e-3, 90e-3} {
		const ohm, volt, share, hertz = 8.0, 12.0, 0.4, 200.0
		rms := stat.Exact(swung(volt+diode_V, ohm, henry/ohm, share, 1/hertz)).With("scatter", 1e-4, 0)
		q := rippled(rms, stat.Exact(volt), stat.Exact(ohm), share, hertz)
		assert.InEpsilon(t, henry, q.Value, 1e-6)
		off := rippled(stat.Exact(rms.Value+1e-4), stat.Exact(volt), stat.Exact(ohm), share, hertz)
		own, _ := q.Split()
		assert.InEpsilon(t, math.Abs(off.Value-henry), own, 1e-6)
	}
	assert.True(t, math.IsNaN(rippled(stat.Exact(9), stat.Exact(12), stat.Exact(8), 0.5, 200).Value), "no coil swings by more than its supply")
}

// Half way of a curve of inductance over current, and the hysteresis of a shifted
// one.
func TestCrossing(t *testing.T) {
	line := func(shift float64) (out []swing) {
		for k := range 9 {
			i := 0.2 + 0.1*float64(k)
			out = append(out, swing{duty_pct: 10 * i, amp: stat.Exact(i), henry: stat.Exact(0.02 + 0.01*min(1, max(0, (i+shift-0.35)/0.5)))})
		}
		return out
	}
	up, ok := crossing(line(0), line(0))
	require.True(t, ok)
	assert.InDelta(t, 0.6, up.Value, 1e-9)
	down, ok := crossing(line(0.07), line(0))
	require.True(t, ok)
	assert.InDelta(t, 0.53, down.Value, 1e-9)
	flat := line(-5)
	_, ok = crossing(flat, flat)
	assert.False(t, ok, "no motion, no half way")
}

// Recording solenoid-stroke, edge_samples_240509.csv: a coil of 51.9 ohm at 12 V
// under PWM of 100 Hz, its current 50 and 500 µs after the edge at five places of
// the plunger, and its inductance by LCR meter there. What a sweep rests on must
// hold in it: at every duty the current rises more slowly the further the plunger
// is in, and the place of half way by the slope is that by the meter within one
// of the five places.
func TestStrokeRecording(t *testing.T) {
	const file = "../../../../shared/datasets/solenoid-stroke/edge_samples_240509.csv"
	f, err := os.Open(file)
	if err != nil {
		t.Skip("recording solenoid-stroke is not there")
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	col := map[string]int{}
	for i, h := range rows[0] {
		col[h] = i
	}
	num := func(r []string, name string) float64 {
		i, ok := col[name]
		require.True(t, ok, "%s in %v", name, rows[0])
		x, err := strconv.ParseFloat(r[i], 64)
		require.NoError(t, err)
		return x
	}
	inverse, meter := map[float64][]float64{}, map[float64][]float64{}
	for _, r := range rows[1:] {
		on := num(r, "ton_ms")
		inverse[on] = append(inverse[on], 450e-6/(num(r, "i_500us_A")-num(r, "i_50us_A")))
		meter[on] = append(meter[on], num(r, "L_100Hz_mH"))
	}
	require.Len(t, inverse, 9)
	for on, l := range inverse {
		require.Len(t, l, 5)
		assert.True(t, slices.IsSorted(l), "%g ms on: the plunger goes in, the rise is slower: %v", on, l)
		half := func(l []float64) float64 {
			var c []swing
			for i, x := range l {
				c = append(c, swing{amp: stat.Exact(float64(i)), henry: stat.Exact(x)})
			}
			q, ok := crossing(c, c)
			require.True(t, ok)
			return q.Value
		}
		assert.InDelta(t, half(meter[on]), half(l), 1, "%g ms on", on)
	}
}
