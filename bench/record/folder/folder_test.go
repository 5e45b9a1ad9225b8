package folder

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/record"
)

// former is a copy of a store that the former program wrote.
func former(t *testing.T) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "former")
	require.NoError(t, os.CopyFS(path, os.DirFS("testdata/former")))
	return path
}

func TestFormerStoreIsRead(t *testing.T) {
	path := former(t)
	require.True(t, Is(path))
	s, err := Open(path)
	require.NoError(t, err)
	damage, err := s.Verify()
	require.NoError(t, err)
	require.Empty(t, damage)
	var units []string
	require.NoError(t, s.Each(func(r *record.Record, body []byte) error {
		units = append(units, r.At.Unit)
		assert.Equal(t, s.Bench(), r.ID.Bench)
		assert.Equal(t, hash(body), r.Hash)
		assert.NotEmpty(t, r.Trace)
		return nil
	}))
	assert.Equal(t, []string{"X-1001", "X-1002", "x-1001"}, units)
	assert.False(t, Is(t.TempDir()))
}

// Every change of a byte, and every file lost or put beside, is found.
func TestDamageIsNamed(t *testing.T) {
	var files []string
	require.NoError(t, filepath.WalkDir("testdata/former", func(path string, e os.DirEntry, err error) error {
		if err == nil && !e.IsDir() {
			rel, rerr := filepath.Rel("testdata/former", path)
			files = append(files, rel)
			return rerr
		}
		return err
	}))
	require.Greater(t, len(files), 12)
	for _, name := range files {
		data, err := os.ReadFile(filepath.Join("testdata/former", name))
		require.NoError(t, err)
		for at := 0; at < len(data); at += 1 + len(data)/7 {
			path := former(t)
			changed := append([]byte{}, data...)
			changed[at] ^= 1
			require.NoError(t, os.WriteFile(filepath.Join(path, name), changed, 0o644))
			found(t, path, "%s changed at %d", name, at)
		}
		path := former(t)
		require.NoError(t, os.Remove(filepath.Join(path, name)))
		found(t, path, "%s removed", name)
	}
	path := former(t)
	require.NoError(t, os.WriteFile(filepath.Join(path, "records", "000002", "more"), nil, 0o644))
	found(t, path, "a file beside")
	path = former(t)
	require.NoError(t, os.RemoveAll(filepath.Join(path, "records", "000003")))
	found(t, path, "the tail cut")
	path = former(t)
	require.NoError(t, os.Remove(filepath.Join(path, "records", "000002", traceFile)))
	require.NoError(t, os.Symlink("/dev/zero", filepath.Join(path, "records", "000002", traceFile)))
	found(t, path, "a link")
}

func found(t *testing.T, path, format string, a ...any) {
	t.Helper()
	s, err := Open(path)
	if err != nil {
		return
	}
	damage, err := s.Verify()
	require.NoError(t, err)
	assert.NotEmpty(t, damage, append([]any{format}, a...)...)
}
