package matter

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// From 20 to 25 °C: viscosity 1.0016 to 0.8900 mPa·s (IAPWS 2008), density
// 998.203 to 997.043 kg/m³, copper by 5 · 0.00393.
func TestChangeOfWater(t *testing.T) {
	c, err := Water.Change(20, 25)
	require.NoError(t, err)
	assert.InDelta(t, math.Log(0.8900/1.0016), c.Viscosity, 1e-4)
	assert.InDelta(t, math.Log(997.043/998.203), c.Density, 1e-6)
	assert.InDelta(t, math.Log(1+5*0.00393), c.Copper, 1e-12)
	assert.Equal(t, 5.0, c.Kelvin)
	assert.InDelta(t, c.Viscosity/2, c.Scale(0.5).Viscosity, 1e-15)
	assert.InDelta(t, 10, c.Scale(2).Kelvin, 1e-15)
}

// There and back is nothing, and two steps are one.
func TestChangesAddUp(t *testing.T) {
	for _, f := range []Fluid{Water, {Ethylene, 0.3}, {Propylene, 0.5}} {
		ab, err := f.Change(5, 18)
		require.NoError(t, err)
		bc, err := f.Change(18, 37)
		require.NoError(t, err)
		ac, err := f.Change(5, 37)
		require.NoError(t, err)
		ca, err := f.Change(37, 5)
		require.NoError(t, err)
		assert.InDelta(t, ac.Viscosity, ab.Viscosity+bc.Viscosity, 1e-12)
		assert.InDelta(t, ac.Density, ab.Density+bc.Density, 1e-12)
		assert.InDelta(t, ac.Copper, ab.Copper+bc.Copper, 1e-12)
		assert.InDelta(t, 0, ac.Viscosity+ca.Viscosity, 1e-12)
		assert.Negative(t, ac.Viscosity)
		assert.Positive(t, ac.Copper)
		same, err := f.Change(20, 20)
		require.NoError(t, err)
		assert.Equal(t, Change{}, same)
	}
	_, err := Water.Change(20, 120)
	assert.ErrorContains(t, err, "0 to 100")
	_, err = Fluid{Ethylene, 0.3}.Change(50, 20)
	assert.ErrorContains(t, err, "0 to 40")
}
