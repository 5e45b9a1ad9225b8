package kinds

import (
	"testing"

	"github.com/stretchr/testify/require"

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

// Each kind has a built-in profile to begin with, and each built-in its kind's
// section.
func TestParseReadsBuiltins(t *testing.T) {
	of := map[string]int{}
	for _, name := range profiles.Builtins() {
		data, ok := profiles.Builtin(name)
		require.True(t, ok)
		p, err := Parse(data, name)
		require.NoError(t, err)
		k, err := Named(p.Kind)
		require.NoError(t, err)
		require.IsType(t, k.Section(), p.Section)
		require.NotNil(t, p.Section)
		of[p.Kind]++
	}
	for _, k := range All() {
		require.Positive(t, of[k.Name()], "there is no built-in %s", k.Name())
	}
	_, err := Parse([]byte("format = 1\nkind = \"boat\"\n"), "boat.toml")
	require.ErrorContains(t, err, "boat")
}
