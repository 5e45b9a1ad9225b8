package pump

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/kind/pump"
	"dutybench/bench/sim"
	"dutybench/profiles"
)

// The measured good units decide, not the limit.
func TestSizeFollowsTheGoodUnits(t *testing.T) {
	p, err := profiles.Load("aux-pump-130w", func(string) (any, error) { return &pump.Section{}, nil })
	require.NoError(t, err)
	p.Good = []profiles.GoodUnit{{Up: []float64{0.5, 1.6}}, {Up: []float64{0.5, 1.7}}}
	size, err := sizeFor(p, sim.DefaultSupply())
	require.NoError(t, err)
	assert.Equal(t, "small", size)
}
