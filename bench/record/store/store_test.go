package store

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/record"
)

// The test binary runs itself as another process that writes to a store.
func TestMain(m *testing.M) {
	if folder := os.Getenv("STORE_TEST_FOLDER"); folder != "" {
		os.Exit(another(folder, os.Getenv("STORE_TEST_DOES")))
	}
	// Syncing to a disk is slow, and these tests sync a lot: use memory where
	// the system offers it.
	if _, err := os.Stat("/dev/shm"); err == nil && os.Getenv("TMPDIR") == "" {
		os.Setenv("TMPDIR", "/dev/shm")
	}
	os.Exit(m.Run())
}

func opened(t *testing.T, folder string) *Store {
	t.Helper()
	s, err := Open(folder, Options{})
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, s.Close()) })
	return s
}

var when = time.Date(2026, 3, 4, 5, 6, 7, 8e6, time.UTC)

// sample is a whole record of an invented unit.
func sample(unit string) *record.Record {
	temperature := 21.5
	return &record.Record{
		When: when, Purpose: "incoming", Program: "dutybench test",
		Rig:     record.Rig{Name: "sim", Facts: []record.Fact{{Key: "shunt", Value: "2 mΩ & 1 %"}}},
		Profile: record.Profile{Name: "medium", Revision: 3, Text: []byte("name = \"medium\"\n")},
		At:      record.Circumstances{Unit: unit, Kind: "pump", Operator: "Ä. <B>", Fluid: "water", Temperature_C: &temperature, Primed: true},
		Files:   []record.File{{Name: "rig.toml", Data: []byte("x = 1\n")}, {Name: "empty.txt", Data: []byte{}}},
		Trace:   []byte("t_s,duty_pct,current_A\n0,0,0\n0.001,50," + unit[1:] + "\n"),
		Result:  []byte(`{"verdict":"fail","cause":"mechanical"}`),
	}
}

func TestOddFolder(t *testing.T) {
	for _, name := range []string{"a b", "50%?x=1#y&z", "Ü;'\""} {
		folder := filepath.Join(t.TempDir(), name)
		s := opened(t, folder)
		id, err := s.Put(sample("A1"))
		require.NoError(t, err)
		r, err := s.Get(id)
		require.NoError(t, err)
		assert.Equal(t, "A1", r.At.Unit)
		assert.FileExists(t, filepath.Join(folder, databaseFile))
		assert.FileExists(t, filepath.Join(folder, keyFile))
		list, err := s.List(record.Filter{Unit: "a1"})
		require.NoError(t, err)
		assert.Len(t, list, 1)
		c, err := s.Causes(record.Filter{})
		require.NoError(t, err)
		t.Log(c)
		d, err := s.Verify()
		require.NoError(t, err)
		require.Empty(t, d)
	}
}
