package store

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
	require.NoError(t, os.CopyFS(path, os.DirFS("../folder/testdata/former")))
	return path
}

func TestFormerStoreIsTakenOver(t *testing.T) {
	folder := former(t)
	_, err := Open(folder, Options{ReadOnly: true})
	require.ErrorContains(t, err, "open it once for writing")
	for range 2 { // the second time there is nothing to do
		s := opened(t, folder)
		list, err := s.List(record.Filter{})
		require.NoError(t, err)
		require.Len(t, list, 3)
		for i, e := range list {
			assert.Equal(t, record.ID{Bench: "x91k1k4q3g", Seq: i + 1}, e.ID)
			body, err := s.Body(e.ID)
			require.NoError(t, err)
			was, err := os.ReadFile(filepath.Join(folder, "records", e.ID.String()[11:], "record.json"))
			require.NoError(t, err)
			assert.Equal(t, string(was), string(body))
			r, err := s.Get(e.ID)
			require.NoError(t, err)
			was, err = os.ReadFile(filepath.Join(folder, "records", e.ID.String()[11:], "trace.csv"))
			require.NoError(t, err)
			assert.Equal(t, string(was), string(r.Trace))
		}
		verified(t, s)
	}
	s := opened(t, folder)
	r := sample("X-1001")
	_, err = s.Put(r)
	require.NoError(t, err)
	assert.Equal(t, record.ID{Bench: "x91k1k4q3g", Seq: 4}, r.ID)
	assert.Equal(t, 3, r.At.Attempt)
	verified(t, s)
}

func TestDamagedFormerStoreIsRefused(t *testing.T) {
	folder := former(t)
	path := filepath.Join(folder, "records", "000002", "trace.csv")
	good, err := os.ReadFile(path)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(path, []byte("changed"), 0o644))
	_, err = Open(folder, Options{})
	require.ErrorContains(t, err, "x91k1k4q3g-000002: trace.csv was changed")
	_, err = Open(folder, Options{})
	require.ErrorContains(t, err, "x91k1k4q3g-000002", "it is refused each time")
	_, err = Open(folder, Options{ReadOnly: true})
	require.ErrorContains(t, err, "open it once for writing")
	require.NoError(t, os.WriteFile(path, good, 0o644))
	verified(t, opened(t, folder))
}
