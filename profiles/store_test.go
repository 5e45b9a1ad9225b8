package profiles

import (
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestBuiltins(t *testing.T) {
	require.Equal(t, []string{"aux-pump-130w", "aux-pump-20w", "aux-pump-60w", "circulator-heating-12v", "circulator-solar-24v"}, Builtins())
	for _, name := range Builtins() {
		_, ok := Builtin(name)
		require.True(t, ok)
		p, err := Load(name, section)
		require.NoError(t, err)
		assert.Equal(t, name, p.Name)
		assert.Equal(t, BuiltinSource, p.Source)
		assert.True(t, p.Invented)
		assert.NotNil(t, p.Section)
		assert.NotEmpty(t, p.Good)
	}
	_, ok := Builtin("../builtin/aux-pump-20w")
	assert.False(t, ok)
}

// The built-in circulators against the sheet's thresholds and its broken-wire
// behaviour; see laws for the source.
func TestBuiltinCirculators(t *testing.T) {
	h, err := Load("circulator-heating-12v", section)
	require.NoError(t, err)
	s, err := Load("circulator-solar-24v", section)
	require.NoError(t, err)
	for _, c := range []struct {
		p    *Profile
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
	for _, p := range []*Profile{h, s} { // input frequency 100 to 4000 Hz, same source
		assert.True(t, p.Command.Frequency_Hz >= 100 && p.Command.Frequency_Hz <= 4000)
	}
}

func TestLoad(t *testing.T) {
	path := filepath.Join(t.TempDir(), "mine.toml")
	require.NoError(t, os.WriteFile(path, []byte(good), 0o600))
	p, err := Load(path, section)
	require.NoError(t, err)
	assert.Equal(t, path, p.Source)

	_, err = Load("aux-pump-21w", section)
	require.ErrorIs(t, err, fs.ErrNotExist)
	for _, name := range Builtins() {
		assert.Contains(t, err.Error(), name)
	}
	_, err = Load(t.TempDir(), section)
	require.ErrorContains(t, err, "cannot read")

	require.NoError(t, os.WriteFile(path, []byte(good+strings.Repeat("#", maxBytes)), 0o600))
	_, err = Load(path, section)
	require.ErrorContains(t, err, "larger than 8 MiB")
}

func TestWriteFile(t *testing.T) {
	folder := t.TempDir()
	path := filepath.Join(folder, "p.toml")
	p, err := Parse([]byte(good), "x", section)
	require.NoError(t, err)
	require.NoError(t, WriteFile(path, p, false))

	q, err := Load(path, section)
	require.NoError(t, err)
	assert.Equal(t, plainText(p), plainText(q))
	assert.NotEqual(t, p.SHA256, q.SHA256, "the hash is of the bytes")

	p.Revision++
	require.ErrorIs(t, WriteFile(path, p, false), fs.ErrExist)
	q, err = Load(path, section)
	require.NoError(t, err)
	assert.Equal(t, 3, q.Revision, "left alone")
	require.NoError(t, WriteFile(path, p, true))
	q, err = Load(path, section)
	require.NoError(t, err)
	assert.Equal(t, 4, q.Revision)

	p.Supply.Low_V = 100
	require.Error(t, WriteFile(path, p, true))
	require.Error(t, WriteFile(filepath.Join(folder, "none", "p.toml"), q, false))
	entries, err := os.ReadDir(folder)
	require.NoError(t, err)
	assert.Len(t, entries, 1, "nothing half-written stays")

	taken := filepath.Join(folder, "taken")
	require.NoError(t, os.Mkdir(taken, 0o700))
	require.Error(t, WriteFile(taken, q, true))
	entries, err = os.ReadDir(folder)
	require.NoError(t, err)
	assert.Len(t, entries, 2)
}

// The hard link is what refuses a name taken between look and write.
func TestPutRefusesATakenName(t *testing.T) {
	folder := t.TempDir()
	a, b := filepath.Join(folder, "a"), filepath.Join(folder, "b")
	require.NoError(t, os.WriteFile(a, []byte("new"), 0o600))
	require.NoError(t, os.WriteFile(b, []byte("old"), 0o600))
	require.ErrorIs(t, put(a, b, false), fs.ErrExist)
	data, err := os.ReadFile(b)
	require.NoError(t, err)
	assert.Equal(t, "old", string(data))
}
