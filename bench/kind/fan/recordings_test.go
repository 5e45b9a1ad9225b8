package fan

import (
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/kind"
	"dutybench/signal/stat"
	"dutybench/signal/trace"
)

// recorded reads a recording of the folder beside the project.
func recorded(t *testing.T, mapping, set, file string) *trace.Trace {
	t.Helper()
	dir, err := filepath.Abs("../../..")
	require.NoError(t, err)
	path := filepath.Join(dir, "..", "shared", "datasets", set, file)
	if _, err := os.Stat(path); err != nil {
		t.Skip("the recordings are not here: " + path)
	}
	m, err := trace.ReadMapping(filepath.Join(dir, "testdata", "maps", mapping))
	require.NoError(t, err)
	tr, err := trace.ReadFileMapped(path, m)
	require.NoError(t, err)
	return tr
}

// A propeller on a staircase of the duty, with the speed as its controller
// counted it (README of bldc-duty-sweep-f40): the current goes with the power
// 3.05 of the speed; thrust with 2.23 of it, so that hardly any of the power is
// friction.
func TestFanLawOfARecordedStaircase(t *testing.T) {
	tr := recorded(t, "bldc-duty-sweep-controller.toml", "bldc-duty-sweep-f40", "esc_f40_steps_5-2.csv")
	m, err := Kind{}.Measure(tr, nil)
	require.NoError(t, err)
	rpm := tr.Values("speed_rpm")
	require.NotNil(t, rpm)
	var hz, watts, amps []float64
	for _, q := range m.Detail.(*detail).plateaus {
		if q.Duty_pct < 14 {
			continue
		}
		hz = append(hz, stat.Median(rpm[q.Start:q.End])/60)
		watts, amps = append(watts, q.Supply_V*q.Current.Value), append(amps, q.Current.Value)
	}
	require.Greater(t, len(hz), 12)
	law, err := stat.PowerLaw(hz, amps)
	require.NoError(t, err)
	assert.InDelta(t, 3.05, law.Exponent, 0.04)
	friction, air, err := split(hz, watts)
	require.NoError(t, err)
	top := stat.Select(hz, len(hz)-1)
	assert.Greater(t, air*top*top/(friction+air*top*top), 0.85, "the cubic term is found")

	v := m.Get(Full)
	require.Empty(t, v.Missing)
	assert.InDelta(t, 25.9, v.Q.Value, 0.4, "README: 25.865 A at 100 %")
	drop := m.Get(SupplyDrop)
	require.Empty(t, drop.Missing)
	assert.InDelta(t, 0.045*1.2, drop.Q.Value, 0.015, "README: about 45 mohm by the stand, which reads 15 to 25 %% more")
	assert.NotEmpty(t, m.Get(ShaftSpeed).Missing, "100 samples a second tell no speed")
}

// The same propeller read by the thrust stand beside it: README, exponent 2.367
// over the duty against 2.358 by the controller, whatever their scales.
func TestTwoAmmetersAgreeOnTheShape(t *testing.T) {
	exponent := func(mapping, file string) float64 {
		tr := recorded(t, mapping, "bldc-duty-sweep-f40", file)
		m, err := Kind{}.Measure(tr, nil)
		require.NoError(t, err)
		var duty, amps []float64
		for _, q := range m.Curve {
			if q.Up && q.Duty_pct > 14 && q.Duty_pct < 96 {
				duty, amps = append(duty, q.Duty_pct), append(amps, q.Current.Value)
			}
		}
		law, err := stat.PowerLaw(duty, amps)
		require.NoError(t, err)
		return law.Exponent
	}
	assert.InDelta(t, 2.358, exponent("bldc-duty-sweep-controller.toml", "esc_f40_steps_5-2.csv"), 0.03)
	assert.InDelta(t, 2.367, exponent("bldc-duty-sweep-stand.toml", "stand_2019-11-05_171350.csv"), 0.03)
}

// Tables of motors with propellers (README of bldc-prop-tables): thrust per
// speed squared says how cubic the power must be; split finds most of the power
// in the cube, and the exponent of current over speed lies by the README's.
func TestFanLawOfPropellerTables(t *testing.T) {
	for file, exponent := range map[string]float64{"a1_7.csv": 1.81, "e2_11.csv": 2.50, "f6_11.csv": 2.34, "g7_11.csv": 2.20} {
		tr := recorded(t, "bldc-prop-tables.toml", "bldc-prop-tables", file)
		rpm, volts := tr.Values("speed_rpm"), tr.Values(trace.ColSupply)
		require.NotNil(t, rpm, file)
		var hz, watts, amps []float64
		for i, x := range tr.Current() {
			duty := tr.Duty()[i]
			if rpm[i] > 1000 && volts[i] > 0.93*volts[0] && duty > 10 && duty < 96 {
				hz, amps, watts = append(hz, rpm[i]/60), append(amps, x), append(watts, x*volts[i])
			}
		}
		law, err := stat.PowerLaw(hz, amps)
		require.NoError(t, err)
		assert.InDelta(t, exponent, law.Exponent, 0.1, file)
		friction, air, err := split(hz, watts)
		require.NoError(t, err)
		top := hz[len(hz)-1]
		assert.Greater(t, air*top*top/(friction+air*top*top), 0.6, "%s: the cubic term is found", file)
	}
}

// What is not there is not measured, and nothing panics on scraps.
func TestScrapsAreNotMeasured(t *testing.T) {
	for name, tr := range scraps(t) {
		m, err := Kind{}.Measure(tr, nil)
		require.NoError(t, err, name)
		for _, v := range m.Values {
			if v.Missing == "" && v.Name != kind.Rested {
				assert.False(t, math.IsNaN(v.Q.Value), "%s: %s", name, v.Name)
			}
		}
		a := Kind{}.Assess(m, goodFans(12), kind.Conditions{})
		assert.NotEmpty(t, a.Lacking, name)
		assert.NotEmpty(t, a.NextStep, name)
	}
	_, err := Kind{}.Measure(&trace.Trace{}, nil)
	assert.ErrorContains(t, err, "record the test again")
}
