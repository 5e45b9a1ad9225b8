package pump

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/sim"
	simpump "dutybench/bench/sim/pump"
	"dutybench/bench/socket"
)

// Without a number nothing differs; with one, the same number gives the same.
func TestAgainAndFilling(t *testing.T) {
	nominal, err := simpump.Nominal("medium")
	require.NoError(t, err)
	draw := func(s socket.Simulated) (simpump.Params, sim.Supply) {
		u, supply := nominal, sim.DefaultSupply()
		differ(s, &u, &supply)
		return u, supply
	}
	same := func(a, b socket.Simulated) bool {
		ua, sa := draw(a)
		ub, sb := draw(b)
		return ua.Water_C == ub.Water_C && ua.Hydraulic_Nms2 == ub.Hydraulic_Nms2 && sa == sb
	}
	u, supply := draw(socket.Simulated{Seed: 1, Unit: 2})
	assert.Equal(t, nominal.Hydraulic_Nms2, u.Hydraulic_Nms2)
	assert.Equal(t, nominal.Water_C, u.Water_C)
	assert.Equal(t, sim.DefaultSupply(), supply)
	assert.True(t, same(socket.Simulated{Seed: 1, Again: 3, Filling: 2}, socket.Simulated{Seed: 1, Again: 3, Filling: 2}))
	assert.False(t, same(socket.Simulated{Seed: 1, Again: 3}, socket.Simulated{Seed: 1, Again: 4}))
	assert.False(t, same(socket.Simulated{Seed: 1, Filling: 3}, socket.Simulated{Seed: 1, Filling: 4}))
	assert.False(t, same(socket.Simulated{Seed: 1, Unit: 1, Filling: 3}, socket.Simulated{Seed: 1, Unit: 2, Filling: 3}), "a filling belongs to its unit")
	u, supply = draw(socket.Simulated{Seed: 1, Filling: 3})
	assert.Equal(t, nominal.Water_C, u.Water_C, "a filling is no test")
	assert.Greater(t, supply.Ohm, sim.DefaultSupply().Ohm)
}
