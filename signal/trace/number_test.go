package trace

import (
	"math"
	"math/rand/v2"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The reference is strconv.ParseFloat, which rounds correctly.
func TestParseFloatAgainstTheStandardLibrary(t *testing.T) {
	cells := []string{
		"0", "-0", "+1", "1.", ".5", "-.5e-3", "4.79", "0.1", "1e22", "1e23", "1e-22", "1e-23", "123456789012345678",
		"9007199254740992", "9007199254740993", "9007199254740992e22", "9007199254740991e-22", "0.000000000000000000001",
		"1234567890123456789", "12345678901234567890", "99999999999999999999", "5e-324", "1.7976931348623157e308", "1E5",
		"2.2250738585072011e-308", "0e999", "16.005376444850892", "-0.04205398577638545", "000000000000000000000001",
	}
	r := rand.New(rand.NewPCG(3, 4))
	for range 50_000 {
		cells = append(cells,
			strconv.FormatFloat(math.Float64frombits(r.Uint64()&^(1<<62)), 'g', -1, 64),
			strconv.FormatFloat(r.NormFloat64()*math.Pow10(r.IntN(12)-6), 'f', r.IntN(20), 64),
			strconv.FormatFloat(r.NormFloat64(), 'e', r.IntN(18), 64))
	}
	for _, c := range cells {
		want, err := strconv.ParseFloat(c, 64)
		require.NoError(t, err, c)
		got, f := parseFloat([]byte(c))
		require.Equal(t, fine, f, c)
		require.Equal(t, math.Float64bits(want), math.Float64bits(got), c)
	}
}

func TestParseFloatRefuses(t *testing.T) {
	for _, c := range []string{"", "-", "+", ".", "e5", "1e", "1e+", "1.2.3", "--1", "1-", "0x1p-2", "1_000", "1,5", "four", "1 2", "12V", "i", "n"} {
		_, f := parseFloat([]byte(c))
		assert.Equal(t, noNumber, f, c)
	}
	for _, c := range []string{"NaN", "nan", "Inf", "-inf", "+Infinity", "1e999", "-1e400"} {
		_, f := parseFloat([]byte(c))
		assert.Equal(t, notFinite, f, c)
	}
}

func TestParseFloatDoesNotAllocate(t *testing.T) {
	for _, c := range []string{"4.79", "-0.04205398577638545", "12.5e-3"} {
		cell := []byte(c)
		assert.Zero(t, testing.AllocsPerRun(100, func() { parseFloat(cell) }), c)
	}
}

func TestResolution(t *testing.T) {
	ramp := func(n int, f func(i int) float64) []float64 {
		v := make([]float64, n)
		for i := range v {
			v[i] = f(i)
		}
		return v
	}
	r := rand.New(rand.NewPCG(5, 6))
	tenth, fifth := 0.1, 0.2 // their sum is not 0.3
	for _, c := range []struct {
		name   string
		values []float64
		want   float64
	}{
		{"constant", []float64{5, 5, 5}, 0},
		{"none", nil, 0},
		{"not sampled", []float64{math.NaN(), math.NaN()}, 0},
		{"two values, one missing", []float64{1, math.NaN(), 1.25}, 0.25},
		{"float noise", []float64{0.3, tenth + fifth, tenth, fifth}, 0.1},
		{"time over many rows", ramp(120_000, func(i int) float64 { return float64(i) / 2000 }), 0.0005},
		{"seconds since 1970", ramp(5000, func(i int) float64 { return 1.7e9 + float64(i)/1000 }), 0.001},
		{"converter of 1.25 mA", ramp(50_000, func(int) float64 { return float64(r.IntN(4000)) * 1.25e-3 }), 1.25e-3},
	} {
		got, _ := resolution(c.values, nil)
		assert.InDelta(t, c.want, got, 1e-3*c.want, c.name)
	}
}
