package store

import (
	"errors"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/record"
	"dutybench/bench/record/ledger"
)

// begun is a folder with one record, its store closed.
func begun(t *testing.T) string {
	t.Helper()
	folder := filepath.Join(t.TempDir(), "store")
	s, err := Open(folder, Options{})
	require.NoError(t, err)
	_, err = s.Put(sample("A1"))
	require.NoError(t, err)
	require.NoError(t, s.Close())
	return folder
}

func TestKeyFiles(t *testing.T) {
	folder := begun(t)
	for name, mode := range map[string]os.FileMode{keyFile: 0o600, keyFile + ".pub": 0o644, databaseFile: 0o600} {
		info, err := os.Stat(filepath.Join(folder, name))
		require.NoError(t, err)
		assert.Equal(t, mode, info.Mode().Perm(), name)
	}
}

// Without its key a log goes no further, and no other key takes its place;
// it can be read all the same.
func TestKeyLost(t *testing.T) {
	for name, lose := range map[string]func(folder string) error{
		"lost":     func(f string) error { return os.Remove(filepath.Join(f, keyFile)) },
		"damaged":  func(f string) error { return os.WriteFile(filepath.Join(f, keyFile), []byte("x"), 0o600) },
		"too open": func(f string) error { return os.Chmod(filepath.Join(f, keyFile), 0o644) },
		"of another": func(f string) error {
			data, err := os.ReadFile(filepath.Join(begun(t), keyFile))
			return errors.Join(err, os.WriteFile(filepath.Join(f, keyFile), data, 0o600))
		},
		"made anew under its name": func(f string) error {
			path := filepath.Join(f, keyFile)
			old, err := ledger.LoadKey(path)
			if err != nil {
				return err
			}
			key, err := ledger.NewKey(old.Name())
			return errors.Join(err, os.Remove(path), os.Rename(path+".pub", path+".kept"), key.Save(path), os.Rename(path+".kept", path+".pub"))
		},
	} {
		folder := begun(t)
		require.NoError(t, lose(folder))
		s := opened(t, folder)
		assert.Error(t, s.Writable(), name)
		_, err := s.Begin(sample("A2"))
		assert.Error(t, err, name)
		_, err = s.Put(sample("A2"))
		assert.Error(t, err, name)
		_, err = s.Get(record.ID{Seq: 1})
		assert.NoError(t, err, name)
		verified(t, s)
	}
}

// A key that has signed a log begins no second one.
func TestDatabaseLost(t *testing.T) {
	folder := begun(t)
	require.NoError(t, os.Remove(filepath.Join(folder, databaseFile)))
	refused := func(what string) {
		t.Helper()
		for _, readOnly := range []bool{true, false} {
			_, err := Open(folder, Options{ReadOnly: readOnly})
			assert.ErrorContains(t, err, "has signed records that are not in", what)
			assert.True(t, IsLost(err), what)
		}
	}
	refused("gone")
	left, err := os.ReadDir(folder)
	require.NoError(t, err)
	for _, e := range left {
		assert.NotContains(t, e.Name(), databaseFile, "none is made")
	}
	require.NoError(t, os.WriteFile(filepath.Join(folder, databaseFile), nil, 0o600))
	refused("an empty file")
	require.NoError(t, os.Remove(filepath.Join(folder, keyFile)))
	refused("the public half alone")

	// Emptied by its own means, it can be looked at.
	folder = begun(t)
	s, err := Open(folder, Options{})
	require.NoError(t, err)
	assert.NoError(t, s.Lost())
	require.NoError(t, s.own.write(func(t *tx) error {
		for _, table := range []string{"parts", "records", "bodies", "hashes", "blobs", "chunks", "drafts", "servers", "benches"} {
			if err := t.exec("DELETE FROM " + table); err != nil {
				return err
			}
		}
		return nil
	}))
	require.NoError(t, s.Close())
	_, err = Open(folder, Options{})
	assert.True(t, IsLost(err))
	s, err = Open(folder, Options{ReadOnly: true})
	require.NoError(t, err)
	defer s.Close()
	assert.True(t, IsLost(s.Lost()))
	assert.Contains(t, said(t, s), "has signed records that are not in")
}

// A kill at either side of the first record's commit leaves a store that goes
// on, under one key.
func TestKilledBesideTheKey(t *testing.T) {
	folder := begun(t)
	// After the commit, before the key got its name.
	for _, end := range []string{"", ".pub"} {
		require.NoError(t, os.Rename(filepath.Join(folder, keyFile+end), filepath.Join(folder, keyFile+".new"+end)))
	}
	s := opened(t, folder)
	require.NoError(t, s.Writable())
	_, err := s.Put(sample("A2"))
	require.NoError(t, err)
	verified(t, s)
	// Between the two names.
	require.NoError(t, s.Close())
	require.NoError(t, os.Rename(filepath.Join(folder, keyFile), filepath.Join(folder, keyFile+".new")))
	s = opened(t, folder)
	_, err = s.Put(sample("A3"))
	require.NoError(t, err)
	verified(t, s)

	// Before the commit.
	folder = t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(folder, keyFile+".new"), []byte("half a k"), 0o600))
	s = opened(t, folder)
	_, err = s.Put(sample("A1"))
	require.NoError(t, err)
	verified(t, s)
}
