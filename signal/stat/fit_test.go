package stat

import (
	"bufio"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	gstat "gonum.org/v1/gonum/stat"
)

// digits is the number of equal leading digits, the log relative error.
func digits(got, want float64) float64 {
	if got == want {
		return 16
	}
	if want == 0 {
		return -math.Log10(math.Abs(got))
	}
	return min(16, -math.Log10(math.Abs(got-want)/math.Abs(want)))
}

// shared finds the folder of recordings and references beside the repository.
func shared(t *testing.T, elem ...string) string {
	t.Helper()
	dir, err := os.Getwd()
	require.NoError(t, err)
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			break
		}
		up := filepath.Dir(dir)
		require.NotEqual(t, up, dir, "no go.mod above the test")
		dir = up
	}
	path := filepath.Join(append([]string{filepath.Dir(dir), "shared"}, elem...)...)
	if _, err := os.Stat(path); err != nil {
		t.Skipf("reference data absent: %v", err)
	}
	return path
}

// strd reads the rows of numbers that follow the last line "Data: ..." of a
// StRD file.
func strd(t *testing.T, name string) [][]float64 {
	t.Helper()
	file, err := os.Open(shared(t, "references", "strd", name+".dat"))
	require.NoError(t, err)
	defer file.Close()
	var rows [][]float64
	lines := bufio.NewScanner(file)
	for lines.Scan() {
		if strings.HasPrefix(lines.Text(), "Data:") {
			rows = nil
			continue
		}
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
	require.NotEmpty(t, rows, name)
	return rows
}

// Certified values of NIST StRD linear regression; digits is what this code
// reaches, rounded down, so that a loss shows.
var regressions = []struct {
	name            string
	degree          int // 0: columns as they stand, -1: no intercept
	coef, u         []float64
	sd, r2          float64
	digits, uDigits float64
}{
	{"Norris", 1, []float64{-0.262323073774029, 1.00211681802045}, []float64{0.232818234301152, 0.429796848199937e-03}, 0.884796396144373, 0.999993745883712, 12, 12},
	{"Pontius", 2, []float64{0.673565789473684e-03, 0.732059160401003e-06, -0.316081871345029e-14}, []float64{0.107938612033077e-03, 0.157817399981659e-09, 0.486652849992036e-16}, 0.205177424076185e-03, 0.999999900178537, 12, 12},
	{"NoInt1", -1, []float64{2.07438016528926}, []float64{0.165289256198347e-01}, 3.56753034006338, 0.999365492298663, 13, 13},
	{"NoInt2", -1, []float64{0.727272727272727}, []float64{0.420827318078432e-01}, 0.369274472937998, 0.993348115299335, 13, 13},
	{"Filip", 10, []float64{-1467.48961422980, -2772.17959193342, -2316.37108160893, -1127.97394098372, -354.478233703349, -75.1242017393757, -10.8753180355343, -1.06221498588947, -0.670191154593408e-01, -0.246781078275479e-02, -0.402962525080404e-04},
		[]float64{298.084530995537, 559.779865474950, 466.477572127796, 227.204274477751, 71.6478660875927, 15.2897178747400, 2.23691159816033, 0.221624321934227, 0.142363763154724e-01, 0.535617408889821e-03, 0.896632837373868e-05}, 0.334801051324544e-02, 0.996727416185620, 6, 6},
	{"Longley", 0, []float64{-3482258.63459582, 15.0618722713733, -0.358191792925910e-01, -2.02022980381683, -1.03322686717359, -0.511041056535807e-01, 1829.15146461355},
		[]float64{890420.383607373, 84.9149257747669, 0.334910077722432e-01, 0.488399681651699, 0.214274163161675, 0.226073200069370, 455.478499142212}, 304.854073561965, 0.995479004577296, 11, 11},
	{"Wampler1", 5, []float64{1, 1, 1, 1, 1, 1}, nil, 0, 1, 13, 0},
	{"Wampler2", 5, []float64{1, 0.1, 0.01, 0.001, 0.0001, 0.00001}, nil, 0, 1, 13, 0},
	{"Wampler3", 5, []float64{1, 1, 1, 1, 1, 1}, wampler3U[:], 2360.14502379268, 0.999995559025820, 9, 12},
	{"Wampler4", 5, []float64{1, 1, 1, 1, 1, 1}, times(100), 236014.502379268, 0.957478440825662, 7, 12},
	{"Wampler5", 5, []float64{1, 1, 1, 1, 1, 1}, times(10000), 23601450.2379268, 0.224668921574940e-02, 5, 12},
}

var wampler3U = [6]float64{2152.32624678170, 2363.55173469681, 779.343524331583, 101.475507550350, 5.64566512170752, 0.112324854679312}

func times(f float64) []float64 {
	u := wampler3U
	for i := range u {
		u[i] *= f
	}
	return u[:]
}

// regressionData is typed in where it is small, y first.
func regressionData(t *testing.T, name string) [][]float64 {
	switch name {
	case "Norris":
		return norris
	case "Longley":
		return longley
	case "NoInt2":
		return [][]float64{{3, 4}, {4, 5}, {4, 6}}
	case "NoInt1":
		var rows [][]float64
		for i := range 11 {
			rows = append(rows, []float64{130 + float64(i), 60 + float64(i)})
		}
		return rows
	case "Wampler1":
		var rows [][]float64
		for i := range 21 {
			x := float64(i)
			rows = append(rows, []float64{1 + x + x*x + x*x*x + x*x*x*x + x*x*x*x*x, x})
		}
		return rows
	}
	return strd(t, name)
}

func TestStRDRegression(t *testing.T) {
	for _, c := range regressions {
		t.Run(c.name, func(t *testing.T) {
			var x [][]float64
			var y []float64
			for _, row := range regressionData(t, c.name) {
				y = append(y, row[0])
				switch c.degree {
				case -1:
					x = append(x, row[1:])
				case 0:
					x = append(x, append([]float64{1}, row[1:]...))
				default:
					x = append(x, Powers(c.degree, row[1]))
				}
			}
			f, err := LeastSquares(x, y, nil)
			require.NoError(t, err)
			least, leastU := 16.0, 16.0
			for i := range c.coef {
				least = min(least, digits(f.Coef[i], c.coef[i]))
				if c.u != nil {
					leastU = min(leastU, digits(f.U(i), c.u[i]))
				}
			}
			if c.u != nil {
				leastU = min(leastU, digits(f.ResidualSD, c.sd))
			}
			t.Logf("digits: coefficients %.1f, deviations %.1f, R2 %.1f", least, leastU, digits(f.R2, c.r2))
			assert.GreaterOrEqual(t, least, c.digits)
			assert.GreaterOrEqual(t, leastU, c.uDigits)
			assert.InDelta(t, c.r2, f.R2, 1e-10)
		})
	}
}

// GUM H.3, Table H.6: a thermometer's corrections b at temperatures t, in °C.
var (
	gumT = []float64{21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511}
	gumB = []float64{-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160}
)

func TestLineGUMH3(t *testing.T) {
	x := make([]float64, len(gumT))
	for i, v := range gumT {
		x[i] = v - 20
	}
	f, err := Line(x, gumB, nil)
	require.NoError(t, err)
	// Unrounded values of JCGM 100:2008, H.3.3, which prints -0.1712(29),
	// 0.00218(67), r -0.930, s 0.0035.
	for name, c := range map[string][2]float64{
		"intercept": {f.Coef[0], -0.17120379013}, "its u": {f.U(0), 0.00287759784},
		"slope": {f.Coef[1], 0.00218269774}, "its u ": {f.U(1), 0.00066793877},
		"correlation": {f.Correlation(0, 1), -0.93042960309}, "s": {f.ResidualSD, 0.00349756396},
	} {
		assert.GreaterOrEqual(t, digits(c[0], c[1]), 8.0, name)
	}
	b, u := f.Predict(1, 10)
	assert.InDelta(t, -0.14937681273, b, 1e-11)
	assert.InDelta(t, 0.00413859575, u, 1e-11)
	assert.Equal(t, 9, f.DoF)

	// About the mean reading the two are uncorrelated.
	for i, v := range gumT {
		x[i] = v - 24.008454545454545
	}
	f, err = Line(x, gumB, nil)
	require.NoError(t, err)
	assert.InDelta(t, -0.162455, f.Coef[0], 1e-6)
	assert.InDelta(t, 0.001054555, f.U(0), 1e-9)
	assert.InDelta(t, 0, f.Correlation(0, 1), 1e-9)
}

func TestLineWithKnownUncertainty(t *testing.T) {
	// Closed form: u(slope) = u/√Sxx.
	x, y := []float64{0, 1, 2, 3}, []float64{1, 3.1, 4.9, 7}
	f, err := Line(x, y, []float64{0.1, 0.1, 0.1, 0.1})
	require.NoError(t, err)
	assert.InDelta(t, 0.1/math.Sqrt(5), f.U(1), 1e-12)
	assert.InDelta(t, 1.98, f.Coef[1], 1e-12)
	// Residuals 0, 0.12, -0.06, 0.06 ... their squares over 0.01.
	var chi float64
	for _, r := range f.Residual {
		chi += r * r / 0.01
	}
	assert.InDelta(t, chi, f.ChiSquare, 1e-12)
	_, err = Line(x, y, []float64{0.1, 0, 0.1, 0.1})
	assert.ErrorContains(t, err, "observation 1")
}

// gonum is the reference for a weighted line.
func TestLineAgainstGonum(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 2))
	for range 50 {
		n := 3 + rng.IntN(40)
		x, y, w := make([]float64, n), make([]float64, n), make([]float64, n)
		rows := make([][]float64, n)
		for i := range x {
			x[i], w[i] = 100*rng.Float64(), 0.1+rng.Float64()
			y[i] = 3 - 0.2*x[i] + rng.NormFloat64()
			rows[i] = Powers(1, x[i])
		}
		f, err := LeastSquares(rows, y, w)
		require.NoError(t, err)
		a, b := gstat.LinearRegression(x, y, append([]float64(nil), w...), false)
		assert.InEpsilon(t, a, f.Coef[0], 1e-9)
		assert.InEpsilon(t, b, f.Coef[1], 1e-9)
		assert.InDelta(t, gstat.RSquared(x, y, w, a, b), f.R2, 1e-9)
	}
}

func TestLeastSquaresRefuses(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		name string
		x    [][]float64
		y, w []float64
		want string
	}{
		{"nothing", nil, nil, nil, "nothing to fit"},
		{"lengths", [][]float64{{1}}, []float64{1, 2}, nil, "do not fit together"},
		{"ragged", [][]float64{{1}, {1, 2}}, []float64{1, 2}, nil, "row 1 has 2 columns"},
		{"few", [][]float64{{1, 2}}, []float64{1}, nil, "measure more points"},
		{"few with weight", [][]float64{{1, 2}, {1, 3}}, []float64{1, 2}, []float64{1, 0}, "measure more points"},
		{"NaN", [][]float64{{1}, {nan}}, []float64{1, 2}, nil, "observation 1"},
		{"weight", [][]float64{{1}, {1}}, []float64{1, 2}, []float64{1, -1}, "observation 1"},
	} {
		_, err := LeastSquares(c.x, c.y, c.w)
		assert.ErrorContains(t, err, c.want, c.name)
	}
	_, err := LeastSquares([][]float64{{1, 2}, {1, 2}, {1, 2}}, []float64{1, 2, 3}, nil)
	assert.ErrorIs(t, err, ErrSingular)
	_, err = LeastSquares([][]float64{{1, 0}, {1, 0}, {1, 0}}, []float64{1, 2, 3}, nil)
	assert.ErrorIs(t, err, ErrSingular)
	_, err = Polynomial(-1, nil, nil, nil)
	assert.Error(t, err)
}

func TestPowerLaw(t *testing.T) {
	// Affinity law: power with the cube of the speed.
	var x, y []float64
	for n := 1000.0; n <= 5000; n += 500 {
		x, y = append(x, n), append(y, 2e-9*n*n*n)
	}
	p, err := PowerLaw(x, y)
	require.NoError(t, err)
	assert.InDelta(t, 3, p.Exponent, 1e-10)
	assert.InEpsilon(t, 2e-9, p.Factor, 1e-9)
	assert.InEpsilon(t, 2e-9*27e9, p.At(3000), 1e-9)
	_, err = PowerLaw([]float64{1, 0}, []float64{1, 1})
	assert.ErrorContains(t, err, "point 1")
	_, err = PowerLaw([]float64{1}, []float64{1, 1})
	assert.Error(t, err)
}

func TestTheilSenBearsWildPoints(t *testing.T) {
	var x, y []float64
	for i := range 20 {
		x, y = append(x, float64(i)), append(y, 5+0.5*float64(i))
	}
	for i := range 5 {
		y[i*3] = 1000
	}
	a, b := TheilSen(x, y)
	assert.InDelta(t, 0.5, b, 1e-12)
	assert.InDelta(t, 5, a, 1e-12)
	_, b = TheilSen([]float64{1, 1}, []float64{1, 2})
	assert.True(t, math.IsNaN(b))
}

// The test of a slope rejects a true zero about as often as stated, and sees
// a slope that is there.
func TestTrend(t *testing.T) {
	for _, phi := range []float64{0, 0.3, 0.6} {
		rng := rand.New(rand.NewPCG(9, 9))
		x := make([]float64, 30)
		for i := range x {
			x[i] = float64(i)
		}
		var wrong, seen int
		const runs = 1000
		for range runs {
			y := autoregressive(rng, len(x), phi)
			d, err := Trend(x, y)
			require.NoError(t, err)
			if d.Significant(0.95) {
				wrong++
			}
			for i := range y {
				y[i] += 0.3 * x[i]
			}
			d, err = Trend(x, y)
			require.NoError(t, err)
			if d.Significant(0.95) {
				seen++
			}
		}
		t.Logf("phi %g: wrong %.3f seen %.3f", phi, float64(wrong)/runs, float64(seen)/runs)
		assert.Less(t, float64(wrong)/runs, 0.09)
		assert.Greater(t, float64(seen)/runs, 0.9)
	}
	_, err := Trend([]float64{1, 2}, []float64{1, 2})
	assert.ErrorContains(t, err, "6 block means")
	d, err := Trend([]float64{1, 2, 3, 4, 5, 6}, []float64{2, 2, 2, 2, 2, 2})
	require.NoError(t, err)
	assert.False(t, d.Significant(0.95))
}

// A shift and a scale of x only move the coefficients as algebra says.
func FuzzLine(f *testing.F) {
	f.Add(1.0, 2.0, 3.0)
	f.Fuzz(func(t *testing.T, a, b, c float64) {
		x, y := []float64{a, b, c, a + b}, []float64{b, c, a, c}
		fit, err := Line(x, y, nil)
		if err == nil {
			require.Len(t, fit.Coef, 2)
			require.Equal(t, 2, fit.DoF)
		}
	})
}
