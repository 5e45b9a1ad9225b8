package matter

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestWaterDensityAgainstPublished(t *testing.T) {
	for _, c := range []struct {
		celsius, want, within float64
		source                string
	}{
		{0, 999.840, 0.0006, "IP Standard Methods 1998, appendix G, first entry"},
		{16, 998.9468, 0.006, "measured absolutely: 998.9468 ± 0.0006 at 16 °C and 0.101325 MPa, hydrostatic weighing of spheres"},
		{26.85, 996.556, 0.006, "IAPWS-95, Table 7: 300 K, 0.0992418352 MPa"},
		{10, 999.7, 0.05, "water table, rounded"},
		{20, 998.2, 0.05, "water table, rounded"},
		{30, 995.7, 0.06, "water table, rounded"},
		{40, 992.2, 0.05, "water table, rounded"},
		{60, 983.2, 0.05, "water table, rounded"},
		{80, 971.8, 0.05, "water table, rounded"},
		{100, 958.4, 0.06, "water table, rounded"},
	} {
		q, err := Water.Density(c.celsius)
		require.NoError(t, err)
		assert.InDelta(t, c.want, q.Value, c.within, "%g °C: %s", c.celsius, c.source)
	}
}

func TestWaterViscosityAgainstPublished(t *testing.T) {
	// IAPWS 2008 at 0.1 MPa, as tabled in mPa·s.
	for celsius, want := range map[float64]float64{2: 1.6735, 5: 1.5182, 10: 1.3059, 15: 1.1375, 20: 1.0016, 25: 0.8900, 30: 0.7972, 40: 0.6527, 60: 0.4660, 80: 0.3540} {
		q, err := Water.Viscosity(celsius)
		require.NoError(t, err)
		assert.InDelta(t, want, 1e3*q.Value, 0.00006, "%g °C", celsius)
	}
	for _, c := range []struct {
		celsius, want, within float64
		source                string
	}{
		{25, 889.735100, 0.0005, "IAPWS R12-08, Table 4: 298.15 K, 998 kg/m³ (0.1 % denser than at 0.1 MPa)"},
		{0, 1792, 0.001, "NBS/NRC 1984, p. 263"},
		{25, 890.8, 0.002, "NBS/NRC 1984, p. 263"},
		{50, 547.1, 0.002, "NBS/NRC 1984, p. 263"},
		{75, 378.4, 0.003, "NBS/NRC 1984, p. 263"},
	} {
		q, err := Water.Viscosity(c.celsius)
		require.NoError(t, err)
		assert.InEpsilon(t, c.want, 1e6*q.Value, c.within, "%g °C: %s", c.celsius, c.source)
	}
}

// Water is densest at 3.98 °C (Kell) and thins all the way as it warms.
func TestWaterShape(t *testing.T) {
	densest, at := 0.0, 0.0
	lastD, lastV := math.Inf(1), math.Inf(1)
	for c := 0.0; c <= 100; c += 0.01 {
		d, v := waterDensity(c), waterViscosity(c)
		if d > densest {
			densest, at = d, c
		}
		require.Less(t, v, lastV)
		if c > 4 {
			require.Less(t, d, lastD)
		}
		lastD, lastV = d, v
	}
	assert.InDelta(t, 3.98, at, 0.02)
	assert.InDelta(t, 999.975, densest, 0.006, "highest density of water, 999.975 kg/m³ (Tanaka and others, 2001, from memory)")
}

// IEC 60028 conductors: the ratio at 83.625 °C is that of 100 Ω to 80 Ω at
// 20 °C (with 234.5 °C for the point of no resistance), and of the worked
// example of a resistance meter's manual: 200 mΩ at 20 °C, 210 mΩ at 32.75 °C
// (with 235 °C).
func TestCopper(t *testing.T) {
	for _, c := range []struct{ from, to, want, within float64 }{
		{20, 83.625, 1.25, 0.0001},
		{20, 32.75, 1.05, 0.0002},
		{20, 21, 1.00393, 1e-12},
		{75, 20, 254.5 / 309.5, 0.0001},
	} {
		q, err := CopperRatio(c.from, c.to)
		require.NoError(t, err)
		assert.InDelta(t, c.want, q.Value, c.within, "%g to %g °C", c.from, c.to)
		back, err := CopperRatio(c.to, c.from)
		require.NoError(t, err)
		assert.InDelta(t, 1, q.Value*back.Value, 1e-12, "there and back")
		// The uncertainty is what the ratio moves by with the coefficient.
		moved := func(a float64) float64 { return (1 + a*(c.to-20)) / (1 + a*(c.from-20)) }
		assert.InEpsilon(t, math.Abs(moved(copperPerK+copperSpread)-moved(copperPerK-copperSpread))/2/math.Sqrt(3), q.U(), 0.01)
	}
	same, err := CopperRatio(45, 45)
	require.NoError(t, err)
	assert.Equal(t, 1.0, same.Value)
	assert.Zero(t, same.U())
	for _, bad := range [][2]float64{{-41, 20}, {20, 201}, {math.NaN(), 20}, {20, math.Inf(1)}} {
		_, err := CopperRatio(bad[0], bad[1])
		assert.ErrorContains(t, err, "matter: ")
	}
}
