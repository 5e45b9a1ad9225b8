package profiles_test

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/kinds"
	"dutybench/profiles"
)

func TestBuiltins(t *testing.T) {
	names := profiles.Builtins()
	require.True(t, slices.IsSorted(names))
	for _, name := range []string{"aux-pump-130w", "aux-pump-20w", "aux-pump-60w", "circulator-heating-12v", "circulator-solar-24v"} {
		require.Contains(t, names, name, "records name it")
	}
	for _, name := range names {
		_, ok := profiles.Builtin(name)
		require.True(t, ok)
		p, err := profiles.Load(name, kinds.Section)
		require.NoError(t, err)
		assert.Equal(t, name, p.Name)
		assert.Equal(t, profiles.BuiltinSource, p.Source)
		assert.True(t, p.Invented)
		assert.NotNil(t, p.Section)
		assert.NotEmpty(t, p.Good)
	}
	_, ok := profiles.Builtin("../builtin/aux-pump-20w")
	assert.False(t, ok)
}

// The built-in circulators against the sheet's thresholds and its broken-wire
// behaviour; see laws for the source.
func TestBuiltinCirculators(t *testing.T) {
	h, err := profiles.Load("circulator-heating-12v", kinds.Section)
	require.NoError(t, err)
	s, err := profiles.Load("circulator-solar-24v", kinds.Section)
	require.NoError(t, err)
	for _, c := range []struct {
		p    *profiles.Profile
		line []float64
		want func(command float64) bool
	}{
		{h, []float64{0, 5, 10}, func(c float64) bool { return c == 100 }},
		{h, []float64{84.1, 88, 91}, func(c float64) bool { return c == h.Command.Wake_pct }},
		{h, []float64{95.1, 100}, func(c float64) bool { return c == 0 }},
		{h, []float64{10.1, 83.9}, func(c float64) bool { return c < 100 && c > h.Command.Wake_pct }},
		{s, []float64{0, 3, 5}, func(c float64) bool { return c == 0 }},
		{s, []float64{8.1, 15}, func(c float64) bool { return c == s.Command.Wake_pct }},
		{s, []float64{90, 100}, func(c float64) bool { return c == 100 }},
		{s, []float64{15.1, 89.9}, func(c float64) bool { return c < 100 && c > s.Command.Wake_pct }},
	} {
		for _, line := range c.line {
			got := c.p.Command.CommandOf(line)
			assert.True(t, c.want(got), "%s at %v %% gives %v", c.p.Name, line, got)
		}
	}
	assert.Equal(t, "full", h.Command.Missing.Open)
	assert.Equal(t, "stop", s.Command.Missing.Open)
	assert.True(t, h.Command.Reserves(93) && s.Command.Reserves(6.5), "hysteresis is reserved")
	for _, p := range []*profiles.Profile{h, s} { // input frequency 100 to 4000 Hz, same source
		assert.True(t, p.Command.Frequency_Hz >= 100 && p.Command.Frequency_Hz <= 4000)
	}
}
