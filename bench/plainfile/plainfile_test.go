package plainfile

import (
	"io/fs"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestReadIsBounded(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "plan.toml")
	require.NoError(t, os.WriteFile(path, []byte("12345"), 0o600))
	data, err := Read(path, 5)
	require.NoError(t, err)
	assert.Equal(t, "12345", string(data))
	_, err = Read(path, 4)
	require.ErrorContains(t, err, "larger than 4 bytes")
	_, err = Read(dir, 5)
	require.ErrorContains(t, err, "no plain file")
	_, err = Read(os.DevNull, 5)
	require.ErrorContains(t, err, "no plain file")
	_, err = Read(filepath.Join(dir, "none"), 5)
	require.ErrorIs(t, err, fs.ErrNotExist)
}

func TestWriteReplacesOrLeaves(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "card.pdf")
	require.NoError(t, Write(path, []byte("old"), 0o644))
	require.NoError(t, Write(path, []byte("new"), 0o600))
	data, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, "new", string(data))
	info, err := os.Stat(path)
	require.NoError(t, err)
	assert.Equal(t, fs.FileMode(0o600), info.Mode().Perm())

	taken := filepath.Join(dir, "taken")
	require.NoError(t, os.MkdirAll(filepath.Join(taken, "inside"), 0o755))
	require.ErrorContains(t, Write(taken, []byte("x"), 0o644), "was not written")
	require.ErrorContains(t, Write(filepath.Join(dir, "none", "x"), nil, 0o644), "cannot be written")
	left, err := filepath.Glob(filepath.Join(dir, ".*"))
	require.NoError(t, err)
	assert.Empty(t, left, "nothing half lies about")
}
