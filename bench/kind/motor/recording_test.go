package motor

import (
	"math"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/profiles"
	"dutybench/signal/trace"
)

// The brushed motor of shared/datasets/brushed-duty-step: one step of duty, means
// over 128 ms, no supply, no start. The collector's figures stand in its README: the
// current rises by 2 to 3 % for 17 % more duty, so a load of friction. Its encoder
// says that the speed rose by 21 to 29 %.
func TestRecordings(t *testing.T) {
	const folder = "../../../../shared/datasets/brushed-duty-step"
	files, _ := filepath.Glob(folder + "/*.csv")
	if len(files) == 0 {
		t.Skip("the recordings are not here: " + folder)
	}
	mapping, err := trace.ReadMapping("../../../testdata/maps/brushed-duty-step.toml")
	require.NoError(t, err)
	mA := map[string][2]float64{"Jan-15-2022--11-00-14.csv": {27.13, 27.96}, "Jan-15-2022--19-08-52.csv": {27.35, 27.95},
		"Jan-15-2022--19-14-10.csv": {27.15, 27.85}, "Jan-15-2022--19-17-53.csv": {27.03, 27.58}}
	p := &profiles.Profile{Kind: "motor", Supply: profiles.Supply{Nominal_V: 12}, Command: profiles.Command{Type: profiles.Switched, Frequency_Hz: 5000, Full_pct: 100},
		Section: &Section{Brushes: 2, Segments: 3, NoLoad: 4000}}
	for _, f := range files {
		tr, err := trace.ReadFileMapped(f, mapping)
		require.NoError(t, err)
		m, err := Kind{}.Measure(tr, p)
		require.NoError(t, err)
		require.Len(t, m.Curve, 2, f)
		want := mA[filepath.Base(f)]
		for i, q := range m.Curve {
			assert.InDelta(t, want[i]/1000, q.Current.Value, 0.0002, f)
			assert.True(t, q.Up)
		}
		exp := m.Get(Friction)
		require.Empty(t, exp.Missing)
		assert.Greater(t, exp.Q.Value, 0.05, f)
		assert.Less(t, exp.Q.Value, 0.25, f)
		for _, n := range []string{StartPeak, StartTime, Resistance, Quiet, Full, SupplyDrop} {
			assert.NotEmpty(t, m.Get(n).Missing, "%s of %s", n, f)
		}
		assert.Contains(t, m.Get(ShaftSpeed).Missing, "means", f)
		assert.Contains(t, m.Get(Full).Missing, "71 %")
		a := Kind{}.Assess(m, p, noConditions)
		assert.NotEmpty(t, a.Lacking)
		assert.Empty(t, a.Inseparable)
		_, err = Kind{}.Measure(tr, nil)
		require.NoError(t, err)
		for _, v := range m.Values {
			assert.False(t, math.IsNaN(v.Q.Value), v.Name)
		}
	}
}
