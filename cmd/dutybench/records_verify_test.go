package main

import (
	"database/sql"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Without anything from elsewhere, verify says whose key it found and what it
// cannot know; it names no more than a person reads.
func TestVerifySaysWhatIsOpen(t *testing.T) {
	d := shelved(t, 2)
	c := d.call("records", "verify")
	assert.Zero(t, c.status, c.stderr)
	assert.Contains(t, c.stdout, "fingerprint")
	assert.Contains(t, c.stdout, "Not proved: that this is the bench's own key")
	key := d.path(".local/share/dutybench/bench.key.pub")
	c = d.call("records", "verify", "--key", key)
	assert.Zero(t, c.status, c.stderr)
	assert.Contains(t, c.stdout, "fingerprint")
	assert.NotContains(t, c.stdout, "Not proved")

	path := d.path(".local/share/dutybench/records.db")
	db, err := sql.Open("sqlite", "file:"+path)
	require.NoError(t, err)
	db.SetMaxOpenConns(1)
	for _, do := range []string{"UPDATE benches SET size = 5000000000", "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i+1 FROM n WHERE i < 500) INSERT INTO hashes SELECT 'kkkkkkkkk' || i, i, zeroblob(32) FROM n"} {
		_, err = db.Exec(do)
		require.NoError(t, err)
	}
	require.NoError(t, db.Close())
	c = d.call("records", "verify")
	assert.Equal(t, exitError, c.status)
	assert.Contains(t, c.stdout, "the table of benches says 5000000000")
	assert.NotContains(t, c.stdout, "it is missing", "the signed head knows better")
	assert.Contains(t, c.stdout, " more.")
	assert.Less(t, strings.Count(c.stdout, "\n"), mostDamages+5)
}

// A folder whose database is gone, or empty, while its key is there, is damaged;
// nothing is made in it by looking.
func TestDatabaseGone(t *testing.T) {
	for _, how := range []string{"gone", "an empty file"} {
		d := shelved(t, 1)
		home := d.path(".local/share/dutybench")
		head := strings.TrimSpace(d.call("records", "head").stdout)
		for _, name := range []string{"records.db", "records.db-wal", "records.db-shm"} {
			_ = os.Remove(filepath.Join(home, name))
		}
		if how != "gone" {
			require.NoError(t, os.WriteFile(filepath.Join(home, "records.db"), nil, 0o600))
		}
		for _, args := range [][]string{{"records", "verify"}, {"records", "verify", "--head", head}, {"records", "list"}, {"records", "find", "x"}, {"records", "history", "x"}, {"records", "show", "1"}, {"lot", "x", "--summary"}, {"bench", "chart"}, {"run", "--fault", short}} {
			c := d.call(args...)
			assert.Equal(t, exitError, c.status, "%s: %s", how, args)
			assert.Contains(t, c.stderr, "has signed records that are not in", "%s: %s", how, args)
			assert.NotContains(t, c.stderr, "No records yet")
		}
		info, err := os.Stat(filepath.Join(home, "records.db"))
		if how == "gone" {
			assert.ErrorIs(t, err, os.ErrNotExist)
		} else {
			require.NoError(t, err)
			assert.Zero(t, info.Size())
		}
		assert.NoFileExists(t, filepath.Join(home, "records.db-wal"))
	}
}

// TestVerifyNamesTheRecord changes the database behind the program's back.
func TestVerifyNamesTheRecord(t *testing.T) {
	for _, x := range []struct{ change, want string }{
		{"UPDATE bodies SET data = CAST(replace(CAST(data AS TEXT), 'pump', 'pomp') AS BLOB) WHERE seq = 2", "-000002: "},
		{"UPDATE blobs SET data = zeroblob(9) WHERE sha256 = (SELECT sha256 FROM parts WHERE seq = 3 AND name = 'trace')", "-000003: "},
		{"DELETE FROM parts WHERE seq = 1 AND name = 'file/photo-1.jpg'", "-000001: "},
		{"DELETE FROM records WHERE seq = 2", "-000002: "},
		{"UPDATE records SET unit = 'ANOTHER' WHERE seq = 2", "-000002: "},
		{"UPDATE hashes SET hash = zeroblob(32) WHERE place = 0", "-000001: "},
		{"UPDATE benches SET head = x''", "head"},
	} {
		d := shelved(t, 3)
		path := d.path(".local/share/dutybench/records.db")
		db, err := sql.Open("sqlite", "file:"+path)
		require.NoError(t, err)
		db.SetMaxOpenConns(1)
		_, err = db.Exec(x.change)
		require.NoError(t, err)
		require.NoError(t, db.Close())
		before, err := os.ReadFile(path)
		require.NoError(t, err)

		c := d.call("records", "verify")
		assert.Equal(t, 1, c.status, x.change)
		assert.Contains(t, c.stdout, x.want, x.change)
		after, err := os.ReadFile(path)
		require.NoError(t, err)
		assert.Equal(t, before, after, "looking changes nothing")
	}
}
