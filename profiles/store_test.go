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
