package store

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/record"
)

func TestBackup(t *testing.T) {
	folder := begun(t)
	s := opened(t, folder)
	d, err := s.Begin(sample("UNDERWAY")) // a test goes on meanwhile
	require.NoError(t, err)
	require.NoError(t, d.Append(samples(0, 5)))
	path := filepath.Join(t.TempDir(), "b 1'?.db")
	require.NoError(t, s.Backup(path))
	require.NoError(t, d.Drop())
	info, err := os.Stat(path)
	require.NoError(t, err)
	assert.Equal(t, os.FileMode(0o600), info.Mode().Perm())
	left, err := os.ReadDir(filepath.Dir(path))
	require.NoError(t, err)
	assert.Len(t, left, 1, "nothing beside it")
	assert.ErrorContains(t, s.Backup(path), "is there already")
	assert.Error(t, s.Backup(filepath.Join(folder, databaseFile)))
	data, err := os.ReadFile(path)
	require.NoError(t, err)
	key, err := os.ReadFile(filepath.Join(folder, keyFile))
	require.NoError(t, err)
	assert.False(t, bytes.Contains(data, bytes.TrimSpace(key)), "the private key is not in it")

	// Brought back with its key, it goes on.
	again := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(again, databaseFile), data, 0o600))
	require.NoError(t, os.WriteFile(filepath.Join(again, keyFile), key, 0o600))
	public, err := s.Key("")
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(again, keyFile+".pub"), []byte(public+"\n"), 0o644))
	b := opened(t, again)
	verified(t, b)
	ids, err := b.Recover()
	require.NoError(t, err)
	assert.Empty(t, ids, "the test that was under way is not in it")
	var n int
	require.NoError(t, b.own.read(func(t *tx) error {
		return t.one("SELECT (SELECT count(*) FROM drafts) + (SELECT count(*) FROM chunks)", nil, &n)
	}))
	assert.Zero(t, n)
	assert.NotContains(t, string(data), "UNDERWAY", "nor are its bytes")
	_, err = b.Put(sample("A2"))
	require.NoError(t, err)
	verified(t, b)
	assert.NoError(t, b.Integrity())
	_, err = b.Get(record.ID{Seq: 1})
	assert.NoError(t, err)
}

// A backup can be looked at where nothing can be written.
func TestReadOnly(t *testing.T) {
	folder := begun(t)
	s, err := Open(folder, Options{ReadOnly: true})
	require.NoError(t, err)
	defer s.Close()
	verified(t, s)
	_, err = s.Put(sample("A2"))
	assert.ErrorContains(t, err, "reading only")
	_, err = s.Begin(sample("A2"))
	assert.ErrorContains(t, err, "reading only")
	assert.Error(t, s.Writable())
	require.NoError(t, s.Backup(filepath.Join(t.TempDir(), "b.db")))
	none := filepath.Join(t.TempDir(), "none")
	_, err = Open(none, Options{ReadOnly: true})
	assert.ErrorIs(t, err, os.ErrNotExist)
	assert.NoDirExists(t, none)
}
