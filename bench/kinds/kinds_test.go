package kinds

import (
	"testing"

	"github.com/stretchr/testify/require"

	"dutybench/bench/kind/pump"
	"dutybench/profiles"
)

func TestEveryKindIsWhole(t *testing.T) {
	seen := map[string]bool{}
	for _, k := range All() {
		require.Regexp(t, `^[a-z]+$`, k.Name())
		require.False(t, seen[k.Name()])
		seen[k.Name()] = true
		got, err := Named(k.Name())
		require.NoError(t, err)
		require.Equal(t, k, got)
		a, err := Section(k.Name())
		require.NoError(t, err)
		b, err := Section(k.Name())
		require.NoError(t, err)
		require.NotSame(t, a, b, "each profile has a section of its own")
	}
}

func TestUnknownKindNamesTheKnown(t *testing.T) {
	_, err := Named("boat")
	require.ErrorContains(t, err, "boat")
	require.ErrorContains(t, err, "pump")
	_, err = Section("boat")
	require.ErrorContains(t, err, "boat")
}

func TestParseReadsBuiltins(t *testing.T) {
	for _, name := range profiles.Builtins() {
		data, ok := profiles.Builtin(name)
		require.True(t, ok)
		p, err := Parse(data, name)
		require.NoError(t, err)
		require.IsType(t, &pump.Section{}, p.Section)
		require.NotNil(t, p.Section)
	}
	_, err := Parse([]byte("format = 1\nkind = \"boat\"\n"), "boat.toml")
	require.ErrorContains(t, err, "boat")
}
