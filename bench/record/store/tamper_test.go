package store

import (
	"bytes"
	"context"
	"database/sql"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/record"
	"dutybench/bench/record/ledger"
)

// six is a folder with six records, its store closed, and its key word.
func six(t testing.TB) (folder, bench string) {
	t.Helper()
	folder = filepath.Join(t.TempDir(), "store")
	s, err := Open(folder, Options{})
	require.NoError(t, err)
	for _, unit := range []string{"A1", "A2", "A3", "A4", "A5", "A6"} {
		r := sample(unit)
		_, err := s.Put(r)
		require.NoError(t, err)
		bench = r.ID.Bench
	}
	require.NoError(t, s.Close())
	return folder, bench
}

// change runs statements as who has the file would, past all of the store's
// own rules.
func change(t testing.TB, folder string, statements ...string) {
	t.Helper()
	db, err := sql.Open("sqlite", filepath.Join(folder, databaseFile))
	require.NoError(t, err)
	defer db.Close()
	c, err := db.Conn(context.Background())
	require.NoError(t, err)
	defer c.Close()
	for _, q := range append([]string{"PRAGMA foreign_keys = off"}, statements...) {
		_, err := c.ExecContext(context.Background(), q)
		require.NoError(t, err, q)
	}
}

func TestChangedRowsAreFound(t *testing.T) {
	whole, bench := six(t)
	for q, names := range map[string]string{
		"UPDATE bodies SET data = CAST(replace(CAST(data AS TEXT), 'incoming', 'outgoing') AS BLOB) WHERE seq = 3": "3",
		"DELETE FROM bodies WHERE seq = 3":                                                                                       "3",
		"DELETE FROM bodies WHERE seq = 6":                                                                                       "6",
		"DELETE FROM records WHERE seq = 2":                                                                                      "2",
		"DELETE FROM parts WHERE seq = 2 AND name = 'trace'":                                                                     "2",
		"DELETE FROM parts WHERE seq = 2 AND name = 'file/rig.toml'":                                                             "2",
		"UPDATE parts SET name = 'file/other' WHERE seq = 2 AND name = 'file/rig.toml'":                                          "2",
		"INSERT INTO parts SELECT bench, 4, 'file/more', sha256 FROM parts WHERE seq = 1 AND name = 'trace'":                     "4",
		"UPDATE parts SET sha256 = (SELECT sha256 FROM parts WHERE seq = 1 AND name = 'trace') WHERE seq = 4 AND name = 'trace'": "4",
		"UPDATE bodies SET seq = 7 - seq WHERE seq IN (9)":                                                                       "",
		"UPDATE bodies SET seq = -9 WHERE seq = 5":                                                                               "5",
		"UPDATE records SET unit = 'A9' WHERE seq = 5":                                                                           "5",
		"UPDATE records SET made_ms = made_ms + 1 WHERE seq = 5":                                                                 "5",
		"UPDATE records SET verdict = 'PASS' WHERE seq = 5":                                                                      "5",
		"UPDATE records SET words = 'x' WHERE seq = 5":                                                                           "5",
		"UPDATE records SET attempt = 9 WHERE seq = 5":                                                                           "5",
		"UPDATE records SET interrupted = 1 WHERE seq = 5":                                                                       "5",
		"UPDATE records SET doubted = 1 WHERE seq = 5":                                                                           "5",
		"UPDATE records SET sha256 = zeroblob(32) WHERE seq = 5":                                                                 "5",
		"UPDATE blobs SET data = zeroblob(9) WHERE sha256 = (SELECT sha256 FROM parts WHERE seq = 4 AND name = 'trace')":         "4",
		"UPDATE blobs SET bytes = bytes - 1 WHERE sha256 = (SELECT sha256 FROM parts WHERE seq = 4 AND name = 'trace')":          "4",
		"UPDATE blobs SET codec = 0 WHERE sha256 = (SELECT sha256 FROM parts WHERE seq = 4 AND name = 'trace')":                  "4",
		"UPDATE blobs SET codec = 99 WHERE sha256 = (SELECT sha256 FROM parts WHERE seq = 4 AND name = 'trace')":                 "4",
		"UPDATE blobs SET bytes = 0x7fffffffffffffff WHERE sha256 = (SELECT sha256 FROM parts WHERE seq = 4 AND name = 'trace')": "4",
		"DELETE FROM blobs WHERE sha256 = (SELECT sha256 FROM parts WHERE seq = 4 AND name = 'trace')":                           "4",
		"DELETE FROM blobs WHERE sha256 = (SELECT sha256 FROM parts WHERE seq = 4 AND name = 'result')":                          "1 2 3 4 5 6",
		"UPDATE hashes SET hash = zeroblob(32) WHERE place = 4":                                                                  "4",
		"UPDATE hashes SET hash = zeroblob(32) WHERE place = 2":                                                                  "2",
		"DELETE FROM hashes WHERE place = 3":                                                                                     "3",
		"UPDATE hashes SET hash = x'00' WHERE place = 3":                                                                         "3",
		"INSERT INTO hashes SELECT bench, 99, hash FROM hashes WHERE place = 3":                                                  "bench",
		"UPDATE benches SET size = 5":                                                                                            "bench",
		"UPDATE benches SET size = 0x7fffffffffffffff":                                                                           "bench",
		"UPDATE benches SET own = 0":                                                                                             "bench",
		"UPDATE benches SET head = zeroblob(100)":                                                                                "bench",
		"UPDATE benches SET public = replace(public, '+', '-')":                                                                  "bench",
		"INSERT INTO bodies SELECT bench, 7, data FROM bodies WHERE seq = 6":                                                     "7",
		"INSERT INTO bodies SELECT 'k3v7q2m9xw', seq, data FROM bodies WHERE seq = 6":                                            "bench",
		"UPDATE blobs SET sha256 = zeroblob(99) WHERE sha256 = (SELECT sha256 FROM parts WHERE seq = 4 AND name = 'trace')":      "4",
		"UPDATE benches SET public = hex(zeroblob(9999))":                                                                        "bench",
		"UPDATE records SET words = hex(zeroblob(2000000)) WHERE seq = 4":                                                        "4",
		"UPDATE bodies SET data = zeroblob(2000000) WHERE seq = 4":                                                               "4",
		"DELETE FROM benches": "bench",
	} {
		folder := t.TempDir()
		require.NoError(t, os.CopyFS(folder, os.DirFS(whole)))
		change(t, folder, q)
		s, err := Open(folder, Options{ReadOnly: true})
		require.NoError(t, err, q)
		damage, err := s.Verify()
		require.NoError(t, err, q)
		said := ""
		for _, d := range damage {
			said += d.String() + "\n"
		}
		for _, name := range strings.Fields(names) {
			if name != "bench" {
				name = record.ID{Bench: bench, Seq: int(name[0] - '0')}.String()
			}
			assert.Contains(t, said, name, q)
		}
		assert.Equal(t, names == "", len(damage) == 0, q)
		require.NoError(t, s.Close())
	}
}

// Where nothing was checked, nothing is said of what was.
func TestNothingChecked(t *testing.T) {
	for _, size := range []string{"-5", "0"} {
		folder, _ := six(t)
		change(t, folder, "UPDATE benches SET size = "+size)
		s, err := Open(folder, Options{ReadOnly: true})
		require.NoError(t, err)
		all := said(t, s)
		assert.Contains(t, all, "its head stands for 6 records, the table of benches says "+size)
		assert.NotContains(t, all, "each agrees with its own hashes")
		require.NoError(t, s.Close())
	}
}

// A record that was written anew with all its hashes and rows, but without the
// key, does not give the root that is signed.
func TestRewrittenWithoutTheKey(t *testing.T) {
	folder, bench := six(t)
	s, err := Open(folder, Options{ReadOnly: true})
	require.NoError(t, err)
	body, err := s.Body(record.ID{Seq: 6})
	require.NoError(t, err)
	require.NoError(t, s.Close())
	s, err = Open(folder, Options{})
	require.NoError(t, err)
	require.NoError(t, s.own.write(func(t *tx) error {
		r, _, err := record.Unseal(bytes.Replace(body, []byte("incoming"), []byte("outgoing"), 1))
		if err != nil {
			return err
		}
		var parts []part
		_, parts, err = t.whole(r.ID)
		if err != nil {
			return err
		}
		for _, q := range []string{"DELETE FROM records WHERE seq = 6", "DELETE FROM parts WHERE seq = 6", "DELETE FROM bodies WHERE seq = 6", "DELETE FROM hashes WHERE place >= 8"} {
			if err := t.exec(q); err != nil {
				return err
			}
		}
		return t.insert(bench, 6, bytes.Replace(body, []byte("incoming"), []byte("outgoing"), 1), parts)
	}))
	require.NoError(t, s.Close())
	_, err = Open(folder, Options{})
	require.ErrorContains(t, err, "its records are not those that its head signs")
	s, err = Open(folder, Options{ReadOnly: true})
	require.NoError(t, err)
	defer s.Close()
	damage, err := s.Verify()
	require.NoError(t, err)
	require.Len(t, damage, 1)
	assert.Contains(t, damage[0].String(), "bench "+bench+": its records do not give the root hash that its head signs")
}

// A tail that was cut, and a log that was written anew with the bench's own
// key, are found from a head that was kept elsewhere, and only from it.
func TestOlderHeadFindsACutTail(t *testing.T) {
	folder, bench := six(t)
	s := opened(t, folder)
	head, err := s.Head("")
	require.NoError(t, err)
	key, err := ledger.LoadKey(filepath.Join(folder, keyFile))
	require.NoError(t, err)
	require.NoError(t, s.own.write(func(t *tx) error {
		for _, q := range []string{"DELETE FROM records WHERE seq = 6", "DELETE FROM parts WHERE seq = 6", "DELETE FROM bodies WHERE seq = 6", "DELETE FROM hashes WHERE place >= 8", "UPDATE benches SET size = 5"} {
			if err := t.exec(q); err != nil {
				return err
			}
		}
		return t.sign(bench, 5, key)
	}))
	verified(t, s)
	damage, err := s.Verify(head)
	require.NoError(t, err)
	require.Len(t, damage, 1)
	assert.Contains(t, damage[0].Problem, "its tail was cut")
	_, err = s.Put(sample("A6"))
	require.NoError(t, err)
	_, err = s.Put(sample("A7"))
	require.NoError(t, err)
	verified(t, s)
	damage, err = s.Verify(head)
	require.NoError(t, err)
	assert.Len(t, damage, 0, "the same record once more is the same log")
}

// A database that is no store, or more than one, is refused.
func TestStrangeDatabases(t *testing.T) {
	for name, q := range map[string][]string{
		"written by a newer program": {"UPDATE schema SET version = 99"},
		"as this program makes it":   {"DROP INDEX records_unit"},
		"it holds the trigger":       {"CREATE TRIGGER evil AFTER INSERT ON bodies BEGIN DELETE FROM hashes; END"},
		"it holds the view":          {"CREATE VIEW more AS SELECT * FROM bodies"},
		"something else":             {"DELETE FROM schema"},
		"is damaged: its ":           {"DROP TABLE records", "CREATE VIEW records AS SELECT * FROM bodies"},
	} {
		folder, _ := six(t)
		change(t, folder, q...)
		for _, readOnly := range []bool{false, true} {
			_, err := Open(folder, Options{ReadOnly: readOnly})
			assert.ErrorContains(t, err, name)
		}
	}
	// Past the rule that such names are SQLite's own.
	for _, q := range []string{
		"INSERT INTO sqlite_schema VALUES ('trigger', 'sqlite_evil', 'records', 0, 'CREATE TRIGGER sqlite_evil AFTER INSERT ON records BEGIN UPDATE records SET unit = ''EVIL'' WHERE seq = new.seq; END')",
		"INSERT INTO sqlite_schema VALUES ('trigger', 'sqlite_autoindex_evil', 'records', 0, 'CREATE TRIGGER sqlite_autoindex_evil AFTER INSERT ON records BEGIN DELETE FROM records; END')",
		"INSERT INTO sqlite_schema VALUES ('view', 'sqlite_stat1', 'sqlite_stat1', 0, 'CREATE VIEW sqlite_stat1 AS SELECT 1')",
	} {
		folder, _ := six(t)
		change(t, folder, "PRAGMA writable_schema = on", q)
		for _, readOnly := range []bool{false, true} {
			_, err := Open(folder, Options{ReadOnly: readOnly})
			assert.ErrorContains(t, err, "bring it back from a backup", q)
		}
	}
	folder := t.TempDir()
	change(t, folder, "CREATE TABLE other (x)")
	_, err := Open(folder, Options{})
	assert.ErrorContains(t, err, "database of something else")
	require.NoError(t, os.WriteFile(filepath.Join(folder, databaseFile), bytes.Repeat([]byte("garbage!"), 1000), 0o600))
	_, err = Open(folder, Options{})
	assert.ErrorContains(t, err, "bring it back from a backup")
}

// Whatever bytes a database file has: an error or damage, or the same
// records, and never a panic.
func TestChangedBytes(t *testing.T) {
	whole, _ := six(t)
	good, err := os.ReadFile(filepath.Join(whole, databaseFile))
	require.NoError(t, err)
	random := rand.New(rand.NewPCG(5, 1))
	folder := t.TempDir()
	require.NoError(t, os.CopyFS(folder, os.DirFS(whole)))
	for range 60 {
		data := bytes.Clone(good)
		for range 1 + random.IntN(4) {
			data[random.IntN(len(data))] ^= byte(1 + random.IntN(255))
		}
		if random.IntN(8) == 0 {
			data = data[:random.IntN(len(data))]
		}
		require.NoError(t, os.WriteFile(filepath.Join(folder, databaseFile), data, 0o600))
		s, err := Open(folder, Options{ReadOnly: true})
		if err != nil {
			continue
		}
		damage, err := s.Verify()
		_, listErr := s.List(record.Filter{Unit: "A3"})
		_ = s.Integrity()
		for seq := 1; seq <= 6; seq++ {
			r, gerr := s.Get(record.ID{Seq: seq})
			if gerr == nil && err == nil && listErr == nil && len(damage) == 0 {
				assert.Equal(t, "incoming", r.Purpose)
			}
		}
		require.NoError(t, s.Close())
	}
}
