package step

import (
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/signal/stat"
	"dutybench/signal/trace"
)

// recording reads a recording of the shared data sets, unedited, through one
// of our mappings.
func recording(t *testing.T, mapping, file string) *trace.Trace {
	t.Helper()
	dir, err := os.Getwd()
	require.NoError(t, err)
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			break
		}
		require.NotEqual(t, filepath.Dir(dir), dir, "no go.mod above the test")
		dir = filepath.Dir(dir)
	}
	path := filepath.Join(dir, "..", "shared", "datasets", file)
	if _, err := os.Stat(path); os.IsNotExist(err) {
		t.Skip("the recordings are not here: " + path)
	}
	m, err := trace.ReadMapping(filepath.Join(dir, "testdata", "maps", mapping))
	require.NoError(t, err)
	tr, err := trace.ReadFileMapped(path, m)
	require.NoError(t, err)
	return tr
}

// Medians of the last 60 % of each step and the exponents of current on duty
// over 15 to 95 %, from the README of bldc-duty-sweep-f40; duty was raised by
// hand by 5 from 10 to 100, then dropped to 50, 25 and 0. The exponents there
// are of the medians, with R² 0.9993; 0.01 is less than the standard error that
// this leaves them (0.015 and 0.019).
func TestStaircase(t *testing.T) {
	for _, c := range []struct {
		mapping, file string
		table         map[float64]float64
		exponent      float64
		falling       bool // the two falling steps are in the README's fit
		shift_s       float64
	}{
		{"bldc-duty-sweep-controller.toml", "esc_f40_steps_5-2.csv", map[float64]float64{
			10: 0.139, 15: 0.317, 20: 0.592, 30: 1.577, 40: 3.134, 50: 5.538, 60: 8.670, 70: 12.248, 80: 16.231, 90: 20.834, 95: 23.236, 100: 25.865},
			2.358, true, 0},
		{"bldc-duty-sweep-stand.toml", "stand_2019-11-05_171350.csv", map[float64]float64{
			10: 0.128, 15: 0.355, 20: 0.707, 30: 1.953, 40: 3.851, 50: 6.765, 60: 10.455, 70: 14.753, 80: 19.493, 90: 24.715, 95: 27.265, 100: 29.726},
			2.367, false, 12.9},
	} {
		t.Run(c.file, func(t *testing.T) {
			tr := recording(t, c.mapping, "bldc-duty-sweep-f40/"+c.file)
			ps := Plateaus(tr)
			var rising, falling []float64
			var x, y []float64
			for _, p := range ps {
				if p.Up {
					rising = append(rising, p.Duty_pct)
					if want, ok := c.table[p.Duty_pct]; ok {
						assert.InDelta(t, want, p.Current.Value, 0.03*want+0.02, "%v %%", p.Duty_pct)
					}
				} else {
					falling = append(falling, p.Duty_pct)
				}
				if p.Duty_pct >= 15 && p.Duty_pct <= 95 && (p.Up || c.falling) {
					x, y = append(x, p.Duty_pct/100), append(y, p.Current.Value)
				}
			}
			want := []float64{0}
			for d := 10.0; d <= 100; d += 5 {
				want = append(want, d)
			}
			assert.Equal(t, want, rising)
			assert.Equal(t, []float64{50, 25, 0}, falling)
			law, err := stat.PowerLaw(x, y)
			require.NoError(t, err)
			t.Logf("I = %.2f A · d^%.3f ± %.3f, R² %.4f", law.Factor, law.Exponent, law.UExponent, law.Fit.R2)
			assert.InDelta(t, c.exponent, law.Exponent, 0.01)
			assert.GreaterOrEqual(t, law.Fit.R2, 0.9988)
			// The first command came at 8.2 s on the controller's clock.
			assert.InDelta(t, 8.2+c.shift_s, tr.Time()[ps[1].From], 0.1)
		})
	}
}

// README of bldc-prop-tables: exponent n of current on throttle over
// 0.1 < u < 0.96, rows whose voltage lies more than 7 % below the first left
// out, and how many such rows there are (within the whole table).
func TestPropTablesAsBareCurves(t *testing.T) {
	for table, c := range map[string]struct {
		n, r2 float64
		sag   int
	}{
		"a1_7": {1.295, 0.991, 0}, "a1_11": {1.359, 0.984, 2}, "a5_7": {1.377, 0.984, 1}, "c2_7": {1.460, 0.988, 0},
		"c2_11": {1.438, 0.990, 2}, "e2_7": {1.490, 0.988, 0}, "e2_11": {1.560, 0.989, 1}, "f6_11": {1.582, 0.989, 0},
		"g1_7": {1.312, 0.986, 0}, "g7_11": {1.496, 0.985, 0}, "j1_7": {1.308, 0.984, 0}, "j1_11": {1.351, 0.988, 2},
	} {
		t.Run(table, func(t *testing.T) {
			tr := recording(t, "bldc-prop-tables.toml", "bldc-prop-tables/"+table+".csv")
			assert.Empty(t, Find(tr), "another duty in every row is no step")
			volts := tr.Values(trace.ColSupply)
			var x, y []float64
			sag, limit := 0, math.Inf(1)
			for i, d := range tr.Duty() {
				switch {
				case volts[i] < 0.93*volts[0]:
					sag++
					limit = min(limit, tr.Current()[i])
				case d > 10 && d < 96:
					x, y = append(x, d/100), append(y, tr.Current()[i])
				}
			}
			assert.Equal(t, c.sag, sag)
			if sag > 1 {
				assert.InDelta(t, 10.95, limit, 0.1, "the supply's limit, 10.9 to 11.0 A")
			}
			law, err := stat.PowerLaw(x, y)
			require.NoError(t, err)
			assert.InDelta(t, c.n, law.Exponent, 0.002)
			assert.InDelta(t, c.r2, law.Fit.R2, 0.001)
		})
	}
}

// README of brushed-duty-step: duty 154/255, then 180/255 from row 5002;
// means before and after in mA; exponent of current on duty 0.1 to 0.2. The
// first half second of the recording still settles, and the moving average of
// 128 samples lets the plateau keep little noise: 0.1 mA of room, its noise.
func TestBrushedStep(t *testing.T) {
	for _, c := range []struct {
		file          string
		before, after float64
	}{
		{"11-00-14", 27.13, 27.96}, {"19-08-52", 27.35, 27.95}, {"19-14-10", 27.15, 27.85}, {"19-17-53", 27.03, 27.58},
	} {
		t.Run(c.file, func(t *testing.T) {
			ps := Plateaus(recording(t, "brushed-duty-step.toml", "brushed-duty-step/Jan-15-2022--"+c.file+".csv"))
			require.Len(t, ps, 2)
			assert.Equal(t, 5002, ps[1].From)
			assert.True(t, ps[1].Up)
			assert.InDelta(t, 60.4, ps[0].Duty_pct, 0.05)
			assert.InDelta(t, 70.6, ps[1].Duty_pct, 0.05)
			assert.InDelta(t, c.before, 1000*ps[0].Current.Value, 0.1)
			assert.InDelta(t, c.after, 1000*ps[1].Current.Value, 0.1)
			n := math.Log(ps[1].Current.Value/ps[0].Current.Value) / math.Log(ps[1].Duty_pct/ps[0].Duty_pct)
			t.Logf("exponent %.3f", n)
			assert.InDelta(t, 0.15, n, 0.099) // 0.1 to 0.2, to one digit
		})
	}
}
