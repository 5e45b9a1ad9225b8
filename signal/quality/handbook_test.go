package quality

import (
	"bufio"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/signal/stat"
)

// numbers reads the lines of a data file of NIST that hold numbers only.
func numbers(t *testing.T, names ...string) [][]float64 {
	t.Helper()
	path := filepath.Join(append([]string{"..", "..", "..", "shared", "references", "strd"}, names...)...)
	file, err := os.Open(path)
	if os.IsNotExist(err) {
		t.Skipf("%s is not there: NIST's data files lie beside the repository", path)
	}
	require.NoError(t, err)
	defer file.Close()
	var rows [][]float64
	for lines := bufio.NewScanner(file); lines.Scan(); {
		var row []float64
		for _, word := range strings.Fields(lines.Text()) {
			v, err := strconv.ParseFloat(word, 64)
			if err != nil {
				row = nil
				break
			}
			row = append(row, v)
		}
		if row != nil {
			rows = append(rows, row)
		}
	}
	require.NotEmpty(t, rows)
	return rows
}

// digits is how many agree.
func digits(got, want float64) float64 {
	if got == want {
		return 15
	}
	return -math.Log10(math.Abs(got-want) / math.Abs(want))
}

// NIST StRD analysis of variance: certified values, and the digits that double
// precision reaches. A nested study of twice the same part, whose fillings are
// the treatments, must find the same squares, twice.
func TestStRD(t *testing.T) {
	for _, c := range []struct {
		name                      string
		between, within, f, least float64
	}{
		{"SmLs01t", 1.68, 1.8, 21, 13}, {"SmLs02t", 16.08, 18, 201, 13}, {"SmLs03t", 160.08, 180, 2001, 13},
		{"SmLs04t", 1.68, 1.8, 21, 8}, {"SmLs05t", 16.08, 18, 201, 8}, {"SmLs06t", 160.08, 180, 2001, 8},
		{"SmLs07t", 1.68, 1.8, 21, 2}, {"SmLs08t", 16.08, 18, 201, 2}, {"SmLs09t", 160.08, 180, 2001, 2},
	} {
		t.Run(c.name, func(t *testing.T) {
			groups := make([][]float64, 9)
			for _, row := range numbers(t, c.name+".dat") {
				if len(row) != 9 || row[0] == 1 && row[8] == 9 {
					continue // the heading
				}
				for j, x := range row {
					groups[j] = append(groups[j], x)
				}
			}
			rows, within, _, err := OneWay(groups)
			require.NoError(t, err)
			assert.GreaterOrEqual(t, min(digits(rows[0].SS, c.between), digits(rows[1].SS, c.within), digits(rows[0].F, c.f), digits(within.SD(), 0.1)), c.least)
			s, err := Nested([][][]float64{groups, groups})
			require.NoError(t, err)
			least := min(digits(s.Rows[1].SS, 2*c.between), digits(s.Rows[2].SS, 2*c.within), digits(s.Rows[1].F, c.f))
			t.Logf("nested: %.1f digits", least)
			assert.GreaterOrEqual(t, least, c.least)
		})
	}
}

// The gauge study of e-Handbook 2.6.1: probe 2362 on five wafers, two runs of
// six days of six readings each, of which the file holds mean and standard
// deviation.
func TestHandbookGauge(t *testing.T) {
	days := map[[2]float64][]float64{} // wafer and run: the days' means
	runs := map[float64][]float64{}    // wafer: the runs' means
	var square, n float64
	for _, row := range numbers(t, "handbook", "MPC61.DAT") {
		if len(row) != 9 || row[2] != 2362 {
			continue
		}
		days[[2]float64{row[1], row[0]}] = append(days[[2]float64{row[1], row[0]}], row[7])
		square += row[8] * row[8]
		n++
	}
	require.Len(t, days, 10)
	var groups, of [][]float64
	for at, g := range days {
		groups = append(groups, g)
		runs[at[0]] = append(runs[at[0]], stat.Mean(g))
	}
	for _, g := range runs {
		of = append(of, g)
	}
	_, level2, _, err := OneWay(groups)
	require.NoError(t, err)
	_, level3, _, err := OneWay(of)
	require.NoError(t, err)
	level1 := math.Sqrt(square / n)
	assert.InDelta(t, 0.0729, level1, 5e-5)
	assert.InDelta(t, 0.0362, level2.SD(), 5e-5)
	assert.InDelta(t, 50, level2.DoF, 1e-9)
	assert.InDelta(t, 0.0196, level3.SD(), 5.1e-5)
	assert.InDelta(t, 5, level3.DoF, 1e-9)
	// The listing rounds the wafers' deviations to 5 places: 2e-6.
	rows := []Row{row("days", 50, 50*level2.Variance), row("readings", 300, 300*level1*level1/6)}
	assert.InDelta(t, 0.02057092, combine(rows, 1, -1).SD(), 2e-6)
	rows = []Row{row("runs", 5, 5*level3.Variance), row("days", 50, 50*level2.Variance/6)}
	assert.InDelta(t, 0.01295841, combine(rows, 1, -1).SD(), 2e-6)
	// u = √(5·s2²/6 + s3² + sprobe²/10), with the printed 0.0162 of the biases,
	// and its degrees of freedom: 42.
	u := combine([]Row{row("days", 50, 50*level2.Variance), row("runs", 5, 5*level3.Variance), row("probes", 9, 9*0.01617860*0.01617860)}, 5.0/6, 1, 0.1)
	assert.InDelta(t, 0.03875842, u.SD(), 3e-6)
	assert.InDelta(t, 42.0769, u.DoF, 5e-3)
}
