package stat

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// columns turns the table of a StRD file (one column a treatment) into groups.
func columns(rows [][]float64, n int) [][]float64 {
	groups := make([][]float64, n)
	for _, row := range rows {
		if len(row) != n || row[0] == 1 && row[n-1] == float64(n) {
			continue // the heading
		}
		for j, x := range row {
			groups[j] = append(groups[j], x)
		}
	}
	return groups
}

func TestStRDANOVA(t *testing.T) {
	for _, c := range []struct {
		name                      string
		k                         int
		between, within, f, r2, s float64
		digits                    float64
	}{
		{"SiRstvt", 5, 5.11462616e-02, 2.1663656e-01, 1.18046237440255, 1.90999039051129e-01, 1.04076068334656e-01, 12},
		{"SmLs01t", 9, 1.68, 1.8, 21, 4.82758620689655e-01, 0.1, 13},
		{"SmLs02t", 9, 16.08, 18, 201, 4.71830985915493e-01, 0.1, 13},
		{"SmLs03t", 9, 160.08, 180, 2001, 4.70712773465067e-01, 0.1, 13},
		{"SmLs04t", 9, 1.68, 1.8, 21, 4.82758620689655e-01, 0.1, 8},
		{"SmLs05t", 9, 16.08, 18, 201, 4.71830985915493e-01, 0.1, 8},
		{"SmLs06t", 9, 160.08, 180, 2001, 4.70712773465067e-01, 0.1, 8},
		{"SmLs07t", 9, 1.68, 1.8, 21, 4.82758620689655e-01, 0.1, 2},
		{"SmLs08t", 9, 16.08, 18, 201, 4.71830985915493e-01, 0.1, 2},
		{"SmLs09t", 9, 160.08, 180, 2001, 4.70712773465067e-01, 0.1, 2},
	} {
		t.Run(c.name, func(t *testing.T) {
			groups := siRstvt
			if c.name != "SiRstvt" {
				groups = columns(strd(t, c.name), c.k)
			}
			v, err := ANOVA(groups)
			require.NoError(t, err)
			least := min(digits(v.BetweenSS, c.between), digits(v.WithinSS, c.within), digits(v.F, c.f), digits(v.R2, c.r2), digits(v.WithinSD, c.s))
			t.Logf("digits %.1f", least)
			assert.GreaterOrEqual(t, least, c.digits)
			assert.Equal(t, c.k-1, v.BetweenDoF)
		})
	}
}

// GUM H.5: daily means and deviations of five readings each; F 2.25 printed.
func TestANOVAGUMH5(t *testing.T) {
	means := []float64{172, 116, 13, 144, 106, 31, 60, 125, 163, 41}
	sds := []float64{60, 77, 111, 101, 67, 93, 80, 73, 88, 86}
	var groups [][]float64
	for i, m := range means {
		d := sds[i] * math.Sqrt(2) // five values m±d, m with this deviation
		groups = append(groups, []float64{m - d, m, m + d, m, m})
	}
	v, err := ANOVA(groups)
	require.NoError(t, err)
	assert.InDelta(t, 84.887, v.WithinSD, 0.001)
	assert.InDelta(t, 2.26152, v.F, 0.0001)
	assert.InDelta(t, math.Sqrt(57.0895*57.0895-84.887*84.887/5), v.BetweenSD, 0.01)
	assert.InDelta(t, 0.95, 1-v.P, 0.02, "F(0.95; 9, 40) is 2.12, F(0.975; 9, 40) is 2.45")
}

func TestANOVARefuses(t *testing.T) {
	for _, g := range [][][]float64{nil, {{1, 2}}, {{1}, {2}}, {{1, 2}, {}}, {{1, 2}, {math.NaN()}}} {
		_, err := ANOVA(g)
		assert.ErrorContains(t, err, "stat: ")
	}
	v, err := ANOVA([][]float64{{1, 1}, {2, 2}})
	require.NoError(t, err)
	assert.Equal(t, inf, v.F)
	assert.Zero(t, v.P)
}

// e-Handbook 1.3.5.17.1, uranium isotopes: G 2.4687, one-sided 5 % critical
// value 2.032.
func TestGrubbs(t *testing.T) {
	xs := []float64{199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57}
	o, err := Grubbs(xs, 0.95)
	require.NoError(t, err)
	assert.InDelta(t, 2.4687, o.G, 1e-4)
	assert.InDelta(t, 2.032, GrubbsCritical(8, 0.95), 5e-4)
	assert.InDelta(t, GrubbsCritical(8, 0.975), o.Critical, 1e-12)
	assert.True(t, o.Found)
	assert.Equal(t, 7, o.Index)
	o, err = Grubbs(xs[:7], 0.95)
	require.NoError(t, err)
	assert.False(t, o.Found)
	_, err = Grubbs([]float64{1, 1, 1}, 0.95)
	assert.ErrorContains(t, err, "not all equal")
	_, err = Grubbs(xs, 95)
	assert.ErrorContains(t, err, "fraction")
	assert.True(t, math.IsNaN(GrubbsCritical(2, 0.95)))
}
