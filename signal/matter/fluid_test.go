package matter

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The coefficients as others have typed them: values of the same formulas in
// public tests, rounded there.
func TestMixturesAreTypedRight(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		f                      Fluid
		celsius, density, mPas float64
	}{
		{Fluid{Ethylene, 0.3}, 20, 1038, 2.17},
		{Fluid{Ethylene, 0.5}, 26.85, 1061.2, nan},
		{Fluid{Propylene, 0.2}, 1, nan, 4.129},
		{Fluid{Propylene, 0.2}, 25, nan, 1.739},
		{Fluid{Propylene, 0.4}, 5, nan, 8.982},
		{Fluid{Propylene, 0.4}, 25, nan, 3.580},
	} {
		if !math.IsNaN(c.density) {
			assert.InDelta(t, c.density, density(t, c.f, c.celsius), 0.5, "%v", c.f)
		}
		if !math.IsNaN(c.mPas) {
			assert.InDelta(t, c.mPas, 1e3*viscosity(t, c.f, c.celsius), 0.005, "%v", c.f)
		}
	}
}

// Measured densities of pure propylene glycol in water, kg/m³ by mass
// fraction: Nakanishi and others, J. Phys. Chem. 71, 1967, 814 (25 °C);
// MacBeth and Thompson, Anal. Chem. 23, 1951, 618 (35 °C).
func TestPropyleneGlycolDensityAsMeasured(t *testing.T) {
	for _, c := range []struct{ celsius, fraction, want float64 }{
		{25, 0.0803, 1002.65}, {25, 0.19846, 1012.49}, {25, 0.28554, 1019.95}, {25, 0.35798, 1025.58}, {25, 0.4026, 1028.95}, {25, 0.44649, 1031.56},
		{35, 0.1, 1000.89}, {35, 0.2, 1008.52}, {35, 0.3, 1016.15}, {35, 0.4, 1022.95}, {35, 0.5, 1028.18},
	} {
		q, err := Fluid{Propylene, c.fraction}.Density(c.celsius)
		require.NoError(t, err)
		assert.InEpsilon(t, c.want, q.Value, 0.0011, "%g at %g °C", c.fraction, c.celsius)
	}
}

// Measured viscosities of propylene glycol in water, mPa·s by mass fraction.
// Those who measured differ by up to a quarter from each other: Khattab and
// others, Arab. J. Chem. 10, 2017, S71 (20 to 30 °C); George and Sastry, J.
// Chem. Eng. Data 48, 2003 (25 and 35 °C). Within two standard uncertainties.
func TestPropyleneGlycolViscosityAsMeasured(t *testing.T) {
	for _, c := range []struct{ celsius, fraction, want float64 }{
		{20, 0.3072, 2.780}, {25, 0.3072, 2.346}, {30, 0.3072, 1.976},
		{25, 0.0805, 1.294}, {25, 0.1497, 1.701}, {25, 0.1806, 1.907}, {25, 0.2496, 2.425}, {25, 0.3187, 3.049}, {25, 0.4271, 4.325},
		{35, 0.0805, 0.919}, {35, 0.1497, 1.124}, {35, 0.1806, 1.227}, {35, 0.2496, 1.491}, {35, 0.3187, 1.810}, {35, 0.4271, 2.473},
	} {
		q, err := Fluid{Propylene, c.fraction}.Viscosity(c.celsius)
		require.NoError(t, err)
		assert.InDelta(t, c.want, 1e3*q.Value, 2e3*q.U(), "%g at %g °C", c.fraction, c.celsius)
	}
}

// Handbook tables of ethylene glycol for engineers: density in kg/m³ by mass
// fraction (sold coolants, with inhibitors), viscosity in mPa·s by volume,
// rounded to two figures.
func TestEthyleneGlycolAgainstTables(t *testing.T) {
	for fraction, row := range map[float64][3]float64{0.1: {1018, 1014, 1008}, 0.2: {1036, 1030, 1022}, 0.3: {1054, 1046, 1037}, 0.4: {1072, 1063, 1052}, 0.5: {1090, 1079, 1067}} {
		for i, want := range row {
			q, err := Fluid{Ethylene, fraction}.Density(20 * float64(i))
			require.NoError(t, err)
			assert.InDelta(t, want, q.Value, 3*q.U(), "%g at %d °C", fraction, 20*i)
		}
	}
	for volume, row := range map[float64][2]float64{0.25: {3, 1.5}, 0.3: {3.5, 1.7}, 0.4: {4.8, 2.2}} {
		for i, celsius := range []float64{4.4, 26.7} {
			q, err := ByVolume(Ethylene, volume).Viscosity(celsius)
			require.NoError(t, err)
			assert.InDelta(t, row[i], 1e3*q.Value, 2e3*q.U()+0.05, "%g by volume at %g °C", volume, celsius)
		}
	}
}

// Volume to mass per cent of ethylene glycol at 20 °C: 30 % by volume are
// 32.3 % by mass, of propylene glycol 30.7 or so (from memory).
func TestByVolume(t *testing.T) {
	assert.InDelta(t, 0.323, ByVolume(Ethylene, 0.3).Fraction, 0.001)
	assert.InDelta(t, 0.308, ByVolume(Propylene, 0.3).Fraction, 0.001)
	assert.Equal(t, Water, ByVolume(Ethylene, 0))
	assert.Equal(t, Water, ByVolume(None, 0.3))
	assert.InDelta(t, 1, ByVolume(Ethylene, 1).Fraction, 1e-12)
}

// More glycol is thicker and denser, warmer is thinner and lighter, and near
// no glycol mixtures come near water.
func TestMixturesAreMonotonic(t *testing.T) {
	for _, g := range []Glycol{Ethylene, Propylene} {
		for celsius := 0.0; celsius <= 40; celsius += 2 {
			for f := 0.05; f <= 0.5; f += 0.05 {
				v, d := viscosity(t, Fluid{g, f}, celsius), density(t, Fluid{g, f}, celsius)
				assert.Greater(t, v, viscosity(t, Fluid{g, f - 0.04}, celsius))
				assert.Greater(t, d, density(t, Fluid{g, f - 0.04}, celsius))
				if celsius > 0 {
					assert.Less(t, v, viscosity(t, Fluid{g, f}, celsius-2))
					assert.Less(t, d, density(t, Fluid{g, f}, celsius-2))
				}
			}
			thin := Fluid{g, 1e-6}
			assert.InEpsilon(t, viscosity(t, Water, celsius), viscosity(t, thin, celsius), 0.051)
			assert.InEpsilon(t, density(t, Water, celsius), density(t, thin, celsius), 0.003)
		}
	}
}

func viscosity(t *testing.T, f Fluid, celsius float64) float64 {
	t.Helper()
	q, err := f.Viscosity(celsius)
	require.NoError(t, err)
	require.Positive(t, q.U())
	return q.Value
}

func density(t *testing.T, f Fluid, celsius float64) float64 {
	t.Helper()
	q, err := f.Density(celsius)
	require.NoError(t, err)
	require.Positive(t, q.U())
	return q.Value
}

func TestOutsideTheFormulasIsRefused(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		f       Fluid
		celsius float64
		says    string
	}{
		{Water, -0.1, "0 to 100 °C"}, {Water, 100.1, "0 to 100 °C"}, {Water, nan, "0 to 100 °C"},
		{Fluid{Ethylene, 0.3}, 41, "0 to 40 °C"}, {Fluid{Propylene, 0.3}, -1, "0 to 40 °C"},
		{Fluid{Ethylene, 0.51}, 20, "mass fraction"}, {Fluid{Propylene, -0.1}, 20, "mass fraction"}, {Fluid{Ethylene, nan}, 20, "mass fraction"},
		{Fluid{None, 0.3}, 20, "name the glycol"}, {Fluid{Glycol(7), 0.3}, 20, "not known"}, {ByVolume(Ethylene, 0.6), 20, "mass fraction"},
	} {
		_, err := c.f.Density(c.celsius)
		assert.ErrorContains(t, err, "matter: ")
		assert.ErrorContains(t, err, c.says)
		_, err = c.f.Viscosity(c.celsius)
		assert.ErrorContains(t, err, c.says)
	}
}

func TestFluidNames(t *testing.T) {
	assert.Equal(t, "water", Water.String())
	assert.Equal(t, "30 % propylene glycol by mass in water", Fluid{Propylene, 0.3}.String())
	assert.Equal(t, "water", Fluid{Ethylene, 0}.String())
}
