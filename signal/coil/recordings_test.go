package coil_test

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"

	"dutybench/signal/coil"
	"dutybench/signal/matter"
	"dutybench/signal/stat"
)

// recording reads the columns of a file in ../shared, beside the repository.
func recording(t *testing.T, set, name string) map[string][]float64 {
	t.Helper()
	dir, err := os.Getwd()
	require.NoError(t, err)
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			break
		}
		require.NotEqual(t, dir, filepath.Dir(dir))
		dir = filepath.Dir(dir)
	}
	path := filepath.Join(dir, "..", "shared", "datasets", set, name)
	f, err := os.Open(path)
	if os.IsNotExist(err) {
		t.Skipf("the recording %s is not here", path)
	}
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	out := map[string][]float64{}
	for _, row := range rows[1:] {
		for k, cell := range row {
			if v, err := strconv.ParseFloat(cell, 64); err == nil {
				out[rows[0][k]] = append(out[rows[0][k]], v)
			}
		}
	}
	return out
}

// TestPulses reads a coil fired from a capacitor, empty and with a tube of
// metal inside (robocup-firmware, Apache-2.0). The collector's numbers, from
// damped sines through all readings: 280 to 290 µH empty, 300 to 326 µH with
// the tube; peaks at 1.23 and 1.3 ms; 1.62 to 1.69 A/V of the first voltage.
func TestPulses(t *testing.T) {
	henry := map[string]float64{}
	for _, c := range []struct {
		name      string
		low, high float64 // µH
		peak_A    float64
		peak_ms   float64
	}{
		{"empty-118", 275, 295, 190.5, 1.237},
		{"empty-194", 275, 295, 318.5, 1.232},
		{"empty-250", 275, 295, 406.7, 1.225},
		{"tube-114", 300, 335, 181.3, 1.330},
		{"tube-250", 300, 335, 403.4, 1.292},
	} {
		t.Run(c.name, func(t *testing.T) {
			rec := recording(t, "solenoid-pulse-200ks", "trace_"+c.name+".csv")
			amps := make([]float64, len(rec["t_s"]))
			for k, v := range rec["shunt_V"] {
				amps[k] = v / 0.010
			}
			e, err := coil.Rise(coil.Samples{Time_s: rec["t_s"], Current_A: amps, Supply_V: rec["coil_V"]}, coil.Known{})
			require.NoError(t, err)
			require.False(t, e.Held)
			require.NotEqual(t, coil.Moved, e.Motion.Found)
			require.NotEmpty(t, e.Motion.Why)
			l := e.Inductance_H.Value * 1e6
			henry[c.name] = l
			require.Greater(t, l, c.low)
			require.Less(t, l, c.high)
			require.Less(t, e.Inductance_H.U()*1e6, 10.0)
			require.InEpsilon(t, c.peak_A, e.Peak_A.Value, 0.03)
			require.InEpsilon(t, c.peak_ms, e.Peak_s.Value*1e3, 0.04)
			// "pulse starts near 8.2 ms"
			require.InDelta(t, 8.2, e.Onset_s.Value*1e3, 0.2)
		})
	}
	if len(henry) == 5 {
		// Iron makes it higher at the same voltage.
		require.Greater(t, henry["tube-114"], 1.05*henry["empty-118"])
		require.Greater(t, henry["tube-250"], 1.05*henry["empty-250"])
		// A coil without iron is the same at any voltage.
		require.InEpsilon(t, henry["empty-118"], henry["empty-250"], 0.02)
	}
}

// TestStroke holds the inductance of two readings against the numbers beside
// the recording (SolenoidStrokeMeasureControl, MIT): 98, 125, 145, 180, 196 mH
// from plunger out to plunger in; by an LCR meter 1.45 to 1.61 times less, in
// the same order.
func TestStroke(t *testing.T) {
	rec := recording(t, "solenoid-stroke", "edge_samples_240509.csv")
	want := []float64{98, 125, 145, 180, 196}
	var got []float64
	for k, ton := range rec["ton_ms"] {
		if ton != 1 {
			continue
		}
		// One of 1024 steps of 5 V over 20.2 V/A.
		step := 5.0 / 1024 / 20.2 / math.Sqrt(12)
		l := coil.Slope(stat.Exact(12), stat.Exact(51.9), 450e-6,
			stat.Exact(rec["i_50us_A"][k]).With("step", step, 0), stat.Exact(rec["i_500us_A"][k]).With("step", step, 0))
		require.InDelta(t, want[len(got)], l.Value*1e3, 0.5)
		require.Less(t, l.U()/l.Value, 0.02)
		ratio := l.Value * 1e3 / rec["L_100Hz_mH"][k]
		require.Greater(t, ratio, 1.4)
		require.Less(t, ratio, 1.65)
		got = append(got, l.Value)
	}
	require.Len(t, got, 5)
	require.IsIncreasing(t, got)
}

// TestStrokeWarm: at each temperature the rise gets slower as the plunger goes
// in, strictly; warmer copper lowers the settled current, by 5.2 % of the 7.8 %
// that were seen.
func TestStrokeWarm(t *testing.T) {
	rec := recording(t, "solenoid-stroke", "stroke_temp_ssbh0830.csv")
	rises := map[float64][]float64{}
	settled := map[float64]float64{}
	for k, temp := range rec["temp_C"] {
		if rec["ton_100Hz_ms"][k] == 1 {
			l := coil.Slope(stat.Exact(1000), stat.Exact(0), 1, stat.Exact(rec["v0_100Hz_cnt"][k]), stat.Exact(rec["v1_100Hz_cnt"][k]))
			// Positions come in either order.
			rises[temp] = append(rises[temp], l.Value)
			if rec["pos_mm"][k] == 0 && len(rises[temp]) > 1 {
				slices.Reverse(rises[temp])
			}
		}
		if rec["ton_100Hz_ms"][k] == 9 && rec["pos_mm"][k] == 5.5 {
			settled[temp] = rec["v0_100Hz_cnt"][k]
		}
	}
	require.Len(t, rises, 4)
	for temp, l := range rises {
		require.Len(t, l, 12)
		require.IsIncreasing(t, l, "%g °C", temp)
	}
	r, err := matter.CopperRatio(26, 40)
	require.NoError(t, err)
	require.InDelta(t, -0.052, 1/r.Value-1, 0.001)
	require.InDelta(t, -0.078, settled[40]/settled[26]-1, 0.001)
}
