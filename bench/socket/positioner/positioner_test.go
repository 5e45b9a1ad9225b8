package positioner

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/kind/positioner"
	"dutybench/bench/socket"
	"dutybench/profiles"
)

func load(t *testing.T, name string) *profiles.Profile {
	t.Helper()
	p, err := profiles.Load(name, func(string) (any, error) { return &positioner.Section{}, nil })
	require.NoError(t, err)
	return p
}

// Each built-in gets a unit that answers the way its profile says.
func TestSizes(t *testing.T) {
	for name, size := range map[string]string{"flap-12v": "flap", "flap-12v-pwm": "flap-return"} {
		got, err := sizeFor(load(t, name))
		require.NoError(t, err)
		assert.Equal(t, size, got)
	}
	sprung := *load(t, "flap-12v")
	sprung.Section = &positioner.Section{Spring: "low", At100: 100}
	sprung.Limits.Current_A, sprung.Limits.Peak_A = 4, 8
	got, err := sizeFor(&sprung)
	require.NoError(t, err)
	assert.Equal(t, "spring", got)
}

func TestRefuses(t *testing.T) {
	for what, change := range map[string]func(p *profiles.Profile){
		"another supply": func(p *profiles.Profile) { p.Supply.Nominal_V = 48 },
		"too small":      func(p *profiles.Profile) { p.Limits.Peak_A = 0.1 },
		"too large":      func(p *profiles.Profile) { p.Limits.Current_A = 50 },
		"switched":       func(p *profiles.Profile) { p.Command.Type = profiles.Switched },
	} {
		p := *load(t, "flap-12v")
		change(&p)
		_, err := Socket{}.Bench(&p, socket.Simulated{Seed: 1})
		assert.ErrorIs(t, err, socket.ErrNoUnit, what)
	}
	_, err := Socket{}.Bench(load(t, "flap-12v"), socket.Simulated{Seed: 1, Fault: "gremlins", Severity: 1})
	assert.ErrorContains(t, err, "gremlins")
}

// A unit listens and answers as its profile says, the same unit for the same seed,
// and differs from one test to the next only where that is asked for.
func TestBench(t *testing.T) {
	p := load(t, "flap-12v")
	a, err := Socket{}.Bench(p, socket.Simulated{Seed: 3})
	require.NoError(t, err)
	b, err := Socket{}.Bench(p, socket.Simulated{Seed: 3})
	require.NoError(t, err)
	assert.Equal(t, a, b)
	again, err := Socket{}.Bench(p, socket.Simulated{Seed: 3, Again: 1, Filling: 2})
	require.NoError(t, err)
	assert.NotEqual(t, a.Supply, again.Supply)
	lead, err := Socket{}.Bench(p, socket.Simulated{Seed: 3, Fault: "line-resistance", Severity: 0.5})
	require.NoError(t, err)
	assert.Greater(t, lead.Supply.Ohm, a.Supply.Ohm+1)
	weak, err := Socket{}.Bench(p, socket.Simulated{Seed: 3, Fault: "supply-limit", Severity: 0.5})
	require.NoError(t, err)
	assert.Less(t, weak.Supply.Limit_A, 0.1)
}
