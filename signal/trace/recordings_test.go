package trace

import (
	"crypto/sha256"
	"encoding/hex"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// root is the folder of go.mod.
func root(t *testing.T) string {
	t.Helper()
	dir, err := os.Getwd()
	require.NoError(t, err)
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return dir
		}
		up := filepath.Dir(dir)
		require.NotEqual(t, dir, up, "no go.mod above the test")
		dir = up
	}
}

// recording reads a recording of the shared data sets, unedited, through one
// of our mappings.
func recording(t *testing.T, mapping, file string) *Trace {
	t.Helper()
	path := filepath.Join(root(t), "..", "shared", "datasets", file)
	original, err := os.ReadFile(path)
	if os.IsNotExist(err) {
		t.Skip("the recordings are not here: " + path)
	}
	require.NoError(t, err)
	m, err := ReadMapping(filepath.Join(root(t), "testdata", "maps", mapping))
	require.NoError(t, err)
	tr, err := ReadFileMapped(path, m)
	require.NoError(t, err)
	sum := sha256.Sum256(original)
	assert.Equal(t, hex.EncodeToString(sum[:]), tr.SHA256)
	assert.Equal(t, path, tr.Source)
	return tr
}

// Every mapping in the repository must at least be a right one, with or
// without the recordings.
func TestMappingsAreRight(t *testing.T) {
	paths, err := filepath.Glob(filepath.Join(root(t), "testdata", "maps", "*.toml"))
	require.NoError(t, err)
	require.NotEmpty(t, paths)
	for _, path := range paths {
		_, err := ReadMapping(path)
		assert.NoError(t, err)
	}
}

// Row counts, and the first and last cells, are typed from the files; what
// else is checked stands in the README of each folder.
func TestRecordings(t *testing.T) {
	type ends struct {
		column      string
		first, last float64
	}
	const step = "brushed-duty-step/Jan-15-2022--"
	for _, c := range []struct {
		mapping, file string
		rows          int
		ends          []ends
		warnings      int
	}{
		{"bldc-duty-sweep-controller.toml", "bldc-duty-sweep-f40/esc_f40_steps_5-2.csv", 11487, []ends{
			{ColTime, 0, 115.033}, {ColDuty, 0, 0}, {ColCurrent, 0.00432758, -0.0018762},
			{ColSupply, 15.7827, 15.8128}, {"speed_rpm", 0, 0}}, 2},
		{"bldc-duty-sweep-stand.toml", "bldc-duty-sweep-f40/stand_2019-11-05_171350.csv", 4814, []ends{
			{ColTime, 0, 125.08289500000049}, {ColDuty, 0, 0}, {ColCurrent, -0.04205398577638545, -0.036881425874678464},
			{ColSupply, 16.005376444850892, 16.00461189382042}}, 2},
		{"brushed-duty-step.toml", step + "11-00-14.csv", 10001, []ends{
			{ColTime, 0, 10}, {ColDuty, 100 * 154. / 255, 100 * 180. / 255}, {ColCurrent, 0.02713, 0.0279}}, 1},
		{"brushed-duty-step.toml", step + "19-08-52.csv", 10001, []ends{{ColCurrent, 0.02718, 0.02794}}, 1},
		{"brushed-duty-step.toml", step + "19-14-10.csv", 10001, []ends{{ColCurrent, 0.02724, 0.0278}}, 1},
		{"brushed-duty-step.toml", step + "19-17-53.csv", 10001, []ends{{ColCurrent, 0.0268, 0.02752}}, 1},
		{"bldc-backemf-lines.toml", "bldc-backemf-lines/bemf_0250rpm1.csv", 6544, []ends{
			{ColTime, 0, 0.59986224}, {ColDuty, 100, 100}, {ColCurrent, 0, 0}, {"emf_1_V", 0.88188, -0.68092}, {"emf_3_V", 0.0094, -0.2287}}, 3},
		{"bldc-backemf-lines.toml", "bldc-backemf-lines/bemf_0500rpm1.csv", 1304, []ends{{"emf_2_V", 1.38858, 1.25173}}, 3},
		{"bldc-backemf-lines.toml", "bldc-backemf-lines/bemf_1000rpm1.csv", 646, []ends{{"emf_1_V", -0.055, 0.62667}}, 3},
		{"solenoid-pulse.toml", "solenoid-pulse-200ks/trace_empty-118.csv", 4000, []ends{
			{ColTime, 0, 0.019995}, {ColDuty, 0, 100}, {ColCurrent, 0, 0}, {"coil_V", 0, 0}}, 1},
		{"solenoid-pulse.toml", "solenoid-pulse-200ks/trace_empty-194.csv", 4000, []ends{{ColCurrent, 0, -4}}, 1},
		{"solenoid-pulse.toml", "solenoid-pulse-200ks/trace_empty-250.csv", 4000, []ends{{ColCurrent, 0, -8}}, 1},
		{"solenoid-pulse.toml", "solenoid-pulse-200ks/trace_tube-114.csv", 4000, []ends{{ColCurrent, -8, -4}}, 1},
		{"solenoid-pulse.toml", "solenoid-pulse-200ks/trace_tube-250.csv", 4000, []ends{{ColCurrent, -4, -4}}, 1},
		{"solenoid-edge-samples.toml", "solenoid-stroke/edge_samples_240509.csv", 45, []ends{
			{ColTime, 0, 44}, {ColDuty, 10, 90}, {ColCurrent, 0.077351, 0.1402}}, 2},
	} {
		t.Run(filepath.Base(c.file), func(t *testing.T) {
			tr := recording(t, c.mapping, c.file)
			assert.Equal(t, c.rows, tr.Len())
			for _, e := range c.ends {
				v := tr.Values(e.column)
				require.Len(t, v, c.rows, e.column)
				assert.InDelta(t, e.first, v[0], 1e-12, e.column)
				assert.InDelta(t, e.last, v[c.rows-1], 1e-12, e.column)
			}
			assert.Len(t, tr.Warnings, c.warnings, "%q", tr.Warnings)
		})
	}
}

// README: steps of 5 % from 10 to 100, then 50, 25, 0; mean rate 99.8 rows/s;
// repeated stamps; longest gap 0.18 s; off current within 0.001 A of zero
// (mean) with a deviation of 6 mA.
func TestControllerLog(t *testing.T) {
	tr := recording(t, "bldc-duty-sweep-controller.toml", "bldc-duty-sweep-f40/esc_f40_steps_5-2.csv")
	assert.InDelta(t, 99.8, tr.Rate(), 0.1)
	gap, x := 0.0, tr.Time()
	for i := 1; i < len(x); i++ {
		gap = max(gap, x[i]-x[i-1])
	}
	assert.InDelta(t, 0.18, gap, 0.005)
	assert.Contains(t, tr.Warnings[1], "have the same time")
	assert.InDelta(t, 0.001, tr.Column(ColTime).Resolution, 1e-9)

	var stairs []float64
	for i, d := range tr.Duty() {
		if d == math.Trunc(d) && (i == 0 || d != stairs[len(stairs)-1]) {
			stairs = append(stairs, d)
		}
	}
	want := []float64{0}
	for d := 10.0; d <= 100; d += 5 {
		want = append(want, d)
	}
	assert.Equal(t, append(want, 50, 25, 0), stairs)

	sum, squares, n := 0.0, 0.0, 0.0
	for i, d := range tr.Duty() {
		if d != 0 {
			break
		}
		c := tr.Current()[i]
		sum, squares, n = sum+c, squares+c*c, n+1
	}
	assert.InDelta(t, 0, sum/n, 0.001)
	assert.InDelta(t, 0.006, math.Sqrt(squares/n), 0.0005)
}

// README: medians of the last 60 % of each step of the stand's log. The
// schedule in the mapping must line up with them.
func TestStandLog(t *testing.T) {
	tr := recording(t, "bldc-duty-sweep-stand.toml", "bldc-duty-sweep-f40/stand_2019-11-05_171350.csv")
	for duty, amperes := range map[float64]float64{10: 0.128, 20: 0.707, 40: 3.851, 60: 10.455, 80: 19.493, 100: 29.726} {
		var plateau []float64
		for i, d := range tr.Duty() {
			if d == duty {
				plateau = append(plateau, tr.Current()[i])
			}
		}
		require.NotEmpty(t, plateau)
		assert.InDelta(t, amperes, median(plateau[len(plateau)*2/5:]), 0.01*amperes+0.003, "at %v %%", duty)
	}
}

// README: the step is at row 5002 (from 0), 60.4 to 70.6 %; means over the
// 1500 rows before and the last 2500, in mA; the peak comes that many rows
// after the step. Whether the row of the step counts as before is not stated,
// so the means have 0.02 mA of room, a fifth of the plateau's noise.
func TestBrushedStep(t *testing.T) {
	for _, c := range []struct {
		file                string
		before, after, peak float64
		late                int
	}{
		{"11-00-14", 27.13, 27.96, 31.19, 127},
		{"19-08-52", 27.35, 27.95, 31.16, 126},
		{"19-14-10", 27.15, 27.85, 30.64, 125},
		{"19-17-53", 27.03, 27.58, 30.62, 125},
	} {
		tr := recording(t, "brushed-duty-step.toml", "brushed-duty-step/Jan-15-2022--"+c.file+".csv")
		row := 0
		for tr.Duty()[row] == tr.Duty()[0] {
			row++
		}
		assert.Equal(t, 5002, row)
		assert.InDelta(t, 60.4, tr.Duty()[row-1], 0.05)
		assert.InDelta(t, 70.6, tr.Duty()[row], 0.05)
		i := tr.Current()
		assert.InDelta(t, c.before, 1000*mean(i[row-1500:row]), 0.02)
		assert.InDelta(t, c.after, 1000*mean(i[len(i)-2500:]), 0.02)
		peak := row
		for k := row; k < len(i); k++ {
			if i[k] > i[peak] {
				peak = k
			}
		}
		assert.InDelta(t, c.peak, 1000*i[peak], 0.006)
		assert.InDelta(t, c.late, peak-row, 1)
	}
}

// README: 11 rows a table; throttle 1050 to 2000 µs in steps of 95 (f6_11:
// 1000 to 2000 in steps of 100, seen in the file); supply first and last.
func TestPropTables(t *testing.T) {
	for table, supply := range map[string][2]float64{
		"a1_7": {7.39, 7.14}, "a1_11": {11.09, 8.30}, "a5_7": {7.44, 6.92}, "c2_7": {7.45, 7.17},
		"c2_11": {11.13, 7.79}, "e2_7": {7.44, 7.23}, "e2_11": {11.09, 9.66}, "f6_11": {11.11, 10.81},
		"g1_7": {7.43, 7.32}, "g7_11": {11.13, 10.90}, "j1_7": {7.41, 7.20}, "j1_11": {11.12, 9.19},
	} {
		tr := recording(t, "bldc-prop-tables.toml", "bldc-prop-tables/"+table+".csv")
		require.Equal(t, 11, tr.Len(), table)
		from, by := 5.0, 9.5
		if table == "f6_11" {
			from, by = 0, 10
		}
		for i, d := range tr.Duty() {
			assert.InDelta(t, from+by*float64(i), d, 1e-9, table)
		}
		assert.InDelta(t, supply[0], tr.Values(ColSupply)[0], 0.006, table)
		assert.InDelta(t, supply[1], tr.Values(ColSupply)[10], 0.006, table)
	}
}

// README: raw peaks in amperes, one step of the scope is 4 A; the charge
// voltage V0 to two steps of the coil's 2 V.
func TestSolenoidPulses(t *testing.T) {
	for file, want := range map[string][2]float64{
		"empty-118": {196, 114}, "empty-194": {320, 188}, "empty-250": {412, 244},
		"tube-114": {184, 112}, "tube-250": {404, 242},
	} {
		tr := recording(t, "solenoid-pulse.toml", "solenoid-pulse-200ks/trace_"+file+".csv")
		peak, volts := 0.0, 0.0
		for i, c := range tr.Current() {
			peak, volts = max(peak, c), max(volts, tr.Values("coil_V")[i])
		}
		assert.InDelta(t, want[0], peak, 1e-9, file)
		assert.InDelta(t, want[1], volts, 4, file)
		assert.InDelta(t, 4, tr.Column(ColCurrent).Resolution, 1e-9, file)
		assert.InDelta(t, 2, tr.Column("coil_V").Resolution, 1e-9, file)
		assert.InDelta(t, 200e3, tr.Rate(), 1e-3, file)
	}
}

// README: amplitude of a fitted sine; here √2 times the deviation, which is
// the same for whole cycles and close for 17.5 of them.
func TestBackEMF(t *testing.T) {
	for file, amplitude := range map[string]float64{"0250": 1, "0500": 1.99, "1000": 3.95} {
		tr := recording(t, "bldc-backemf-lines.toml", "bldc-backemf-lines/bemf_"+file+"rpm1.csv")
		for _, name := range []string{"emf_1_V", "emf_2_V", "emf_3_V"} {
			v, squares := tr.Values(name), 0.0
			m := mean(v)
			for _, x := range v {
				squares += (x - m) * (x - m)
			}
			assert.InEpsilon(t, amplitude, math.Sqrt(2*squares/float64(len(v))), 0.02, "%s %s", file, name)
		}
	}
}

// README: 5 positions with 9 on-times each; the plunger's names are text.
func TestEdgeSamples(t *testing.T) {
	tr := recording(t, "solenoid-edge-samples.toml", "solenoid-stroke/edge_samples_240509.csv")
	c := tr.Column("stroke")
	require.NotNil(t, c)
	assert.Nil(t, c.Values)
	assert.Equal(t, []string{"Neutral", "Mid1", "Mid2", "Mid3", "Pushed"}, c.Text[:5])
	counts := map[string]int{}
	for _, s := range c.Text {
		counts[s]++
	}
	assert.Equal(t, map[string]int{"Neutral": 9, "Mid1": 9, "Mid2": 9, "Mid3": 9, "Pushed": 9}, counts)
}

func mean(x []float64) (m float64) {
	for _, v := range x {
		m += v / float64(len(x))
	}
	return m
}

func median(x []float64) float64 {
	s := slices.Sorted(slices.Values(x))
	return s[len(s)/2]
}
