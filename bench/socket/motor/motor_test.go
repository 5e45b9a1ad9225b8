package motor

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/socket"
	"dutybench/profiles"
)

func profileFor(volt, peak_A float64) *profiles.Profile {
	return &profiles.Profile{Name: "drive", Kind: "motor", Supply: profiles.Supply{Nominal_V: volt}, Limits: profiles.Limits{Peak_A: peak_A}}
}

// The size is that of the profile's supply and of its peak at the start; without one
// there is no unit, and that is said.
func TestSizes(t *testing.T) {
	for _, c := range []struct {
		volt, peak_A float64
		want         string
	}{{12, 12, "12v-20w"}, {13.5, 12, "12v-20w"}, {24, 28, "24v-100w"}, {24, 5, ""}, {48, 12, ""}, {12, 60, ""}} {
		size, err := sizeFor(profileFor(c.volt, c.peak_A))
		if c.want == "" {
			assert.ErrorIs(t, err, socket.ErrNoUnit, "%g V", c.volt)
			continue
		}
		require.NoError(t, err)
		assert.Equal(t, c.want, size)
	}
}

// Faults outside the unit change the supply, each other one the unit; a seed gives
// the same unit again.
func TestBench(t *testing.T) {
	p := profileFor(12, 12)
	good, err := Socket{}.Bench(p, socket.Simulated{Seed: 3})
	require.NoError(t, err)
	again, err := Socket{}.Bench(p, socket.Simulated{Seed: 3})
	require.NoError(t, err)
	assert.Equal(t, good.TwoWire, again.TwoWire)
	for _, f := range (Socket{}).Faults() {
		o, err := Socket{}.Bench(p, socket.Simulated{Seed: 3, Fault: f.Name, Severity: 0.5})
		require.NoError(t, err, f.Name)
		same := assert.ObjectsAreEqual(good.TwoWire, o.TwoWire)
		assert.NotEqual(t, same, good.Supply == o.Supply, "%s changes the one or the other", f.Name)
		assert.NotEmpty(t, f.Half, f.Name)
		assert.NotEmpty(t, f.Full, f.Name)
	}
	for _, g := range (Socket{}).Perturbations() {
		_, err := Socket{}.Bench(p, socket.Simulated{Seed: 3, Perturb: socket.Perturbation{Group: g, Factor: 1.3}})
		assert.NoError(t, err, g)
	}
	_, err = Socket{}.Bench(p, socket.Simulated{Seed: 3, Fault: "gremlins"})
	assert.Error(t, err)
	other, err := Socket{}.Bench(p, socket.Simulated{Seed: 3, Again: 1, Filling: 2})
	require.NoError(t, err)
	assert.NotEqual(t, good.Supply, other.Supply)
}
