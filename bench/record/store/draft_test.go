package store

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/record"
	"dutybench/bench/record/container"
	"dutybench/bench/record/ledger"
	"dutybench/signal/trace"
)

// dead is a folder with a record and the draft of a test whose program died
// after this many chunks of ten rows, and the draft's name.
func dead(t *testing.T, chunks int) (folder, name string) {
	t.Helper()
	folder = begun(t)
	s, err := Open(folder, Options{})
	require.NoError(t, err)
	name = died(t, s, "P1", chunks)
	require.NoError(t, s.Close())
	return folder, name
}

func died(t *testing.T, s *Store, unit string, chunks int) string {
	t.Helper()
	begun, err := s.Begin(sample(unit))
	require.NoError(t, err)
	d, ok := begun.(*draft)
	require.True(t, ok)
	for i := range chunks {
		require.NoError(t, d.Append(samples(10*i, 10)))
	}
	require.NoError(t, d.lock.Close())
	return d.name
}

func count(t *testing.T, s *Store, table string) (n int) {
	t.Helper()
	require.NoError(t, s.own.read(func(t *tx) error { return t.one("SELECT count(*) FROM "+table, nil, &n) }))
	return n
}

func said(t *testing.T, s *Store) string {
	t.Helper()
	damage, err := s.Verify()
	require.NoError(t, err)
	var all []string
	for _, d := range damage {
		all = append(all, d.String())
	}
	return strings.Join(all, "\n")
}

// What somebody else writes as a test under way, or changes in one, is named
// and left alone: no record is made of it, so none is signed.
func TestDraftOfAnotherHand(t *testing.T) {
	data, err := json.Marshal(sample("EVIL"))
	require.NoError(t, err)
	block, err := container.Block(samples(0, 10))
	require.NoError(t, err)
	name := strings.Repeat("A", 26)
	stranger, err := ledger.NewKey(ledger.Origin(record.NewKey()))
	require.NoError(t, err)
	put := func(name string, mac, chunkMac []byte) func(*tx) error {
		return func(t *tx) error {
			if err := t.exec("INSERT INTO drafts (draft, begun_ms, record, mac) VALUES (?, 5, ?, ?)", name, data, mac); err != nil {
				return err
			}
			return t.exec("INSERT INTO chunks (draft, place, data, mac) VALUES (?, 0, ?, ?)", name, block, chunkMac)
		}
	}
	does := func(q string, a ...any) func(*tx) error { return func(t *tx) error { return t.exec(q, a...) } }
	for what, do := range map[string]func(*tx) error{
		"no MAC":              put(name, []byte{}, []byte{}),
		"zeros":               put(name, make([]byte, 32), make([]byte, 32)),
		"too long":            put(name, make([]byte, 33), make([]byte, 33)),
		"another bench's":     put(name, draftMAC(stranger, name, 5, data), chunkMAC(stranger, name, 0, block)),
		"no name":             put("../../evil", []byte{}, []byte{}),
		"a name to a screen":  put("\x1b[31mevil", []byte{}, []byte{}),
		"a long name":         put(strings.Repeat("A", 99), []byte{}, []byte{}),
		"another unit":        does("UPDATE drafts SET record = ?", data),
		"another time":        does("UPDATE drafts SET begun_ms = begun_ms + 1"),
		"another name":        does("UPDATE drafts SET draft = ?", name),
		"one to another name": does("INSERT INTO drafts SELECT ?, begun_ms, record, mac FROM drafts", name),
	} {
		folder, _ := dead(t, 2)
		s := opened(t, folder)
		s.own.db.SetMaxOpenConns(1)
		_, err := s.own.db.Exec("PRAGMA foreign_keys = off")
		require.NoError(t, err)
		require.NoError(t, s.own.write(do), what)
		assert.Contains(t, said(t, s), "was not written by this bench", what)
		before := count(t, s, "drafts")
		ids, err := s.Recover()
		assert.ErrorContains(t, err, "was not written by this bench", what)
		assert.NotContains(t, err.Error(), "\x1b")
		assert.Len(t, ids, before-1, what)
		assert.Equal(t, 1, count(t, s, "drafts"), what)
		assert.Equal(t, before, count(t, s, "records"), what)
		list, err := s.List(record.Filter{Unit: "EVIL"})
		require.NoError(t, err)
		assert.Empty(t, list, what)
	}
}

// Before a bench has a key, no test can be under way.
func TestDraftBeforeTheKey(t *testing.T) {
	s := opened(t, t.TempDir())
	require.NoError(t, s.own.write(func(t *tx) error {
		return t.exec("INSERT INTO drafts (draft, begun_ms, record, mac) VALUES ('AAAA', 5, ?, ?)", []byte("{}"), []byte{})
	}))
	assert.Contains(t, said(t, s), "was not written by this bench")
	ids, err := s.Recover()
	assert.ErrorContains(t, err, "was not written by this bench")
	assert.Empty(t, ids)
	assert.NoFileExists(t, filepath.Join(s.folder, keyFile))
}

// Of the chunks, those up to the first that this bench did not write so are
// kept, and the record says that there were more.
func TestChunkOfAnotherHand(t *testing.T) {
	block, err := container.Block(samples(10, 10))
	require.NoError(t, err)
	for what, c := range map[string]struct {
		q    string
		a    []any
		rows int
		why  string
	}{
		"another":       {"UPDATE chunks SET data = ? WHERE place = 1", []any{[]byte("garbage")}, 10, "chunk 1 is not as this bench wrote it"},
		"whole but not": {"UPDATE chunks SET mac = zeroblob(32) WHERE place = 1", nil, 10, "chunk 1 is not as this bench wrote it"},
		"one more":      {"INSERT INTO chunks SELECT draft, 3, ?, mac FROM chunks WHERE place = 1", []any{block}, 30, "chunk 3 is not as this bench wrote it"},
		"moved":         {"UPDATE chunks SET place = 1 + 2*(place-1) WHERE place > 0", nil, 20, "chunk 2 is missing"},
		"doubled":       {"INSERT INTO chunks SELECT draft, 3, data, mac FROM chunks WHERE place = 2", nil, 30, "chunk 3 is not as this bench wrote it"},
		"swapped":       {"UPDATE chunks SET data = (SELECT data FROM chunks c WHERE c.place = 1) WHERE place = 2", nil, 20, "chunk 2 is not as this bench wrote it"},
	} {
		folder, _ := dead(t, 3)
		change(t, folder, "SELECT 1")
		s := opened(t, folder)
		require.NoError(t, s.own.write(func(t *tx) error { return t.exec(c.q, c.a...) }), what)
		assert.Contains(t, said(t, s), c.why, what)
		ids, err := s.Recover()
		require.NoError(t, err, what)
		require.Len(t, ids, 1, what)
		r, err := s.Get(ids[0])
		require.NoError(t, err)
		tr, err := trace.Read(bytes.NewReader(r.Trace), "trace")
		require.NoError(t, err)
		assert.Equal(t, c.rows, tr.Len(), what)
		why, _ := tr.Get("ended")
		assert.Contains(t, why, c.why, what)
		verified(t, s)
	}
	// One of another test, of the same number.
	s := opened(t, begun(t))
	one, two := died(t, s, "P1", 2), died(t, s, "P2", 2)
	require.NoError(t, s.own.write(func(t *tx) error {
		if err := t.exec("DELETE FROM chunks WHERE draft = ? AND place = 1", one); err != nil {
			return err
		}
		return t.exec("UPDATE chunks SET draft = ? WHERE draft = ? AND place = 1", one, two)
	}))
	assert.Contains(t, said(t, s), "chunk 1 is not as this bench wrote it")
	// When it is the first, nothing is left; the draft stands.
	folder, name := dead(t, 3)
	s = opened(t, folder)
	require.NoError(t, s.own.write(func(t *tx) error { return t.exec("UPDATE chunks SET mac = x'00' WHERE place = 0") }))
	ids, err := s.Recover()
	assert.ErrorContains(t, err, name)
	assert.Empty(t, ids)
	assert.Equal(t, 1, count(t, s, "drafts"))
	// Chunks of no draft.
	folder, _ = dead(t, 3)
	change(t, folder, "DELETE FROM drafts")
	assert.Contains(t, said(t, opened(t, folder)), "3 of them belong to no test under way")
}

// The first test of a bench makes its key; a kill at either side of the commit
// loses neither the key nor the test.
func TestFirstTestMakesTheKey(t *testing.T) {
	for _, renamed := range [][]string{nil, {"", ".pub"}, {""}} {
		folder := filepath.Join(t.TempDir(), "store")
		s, err := Open(folder, Options{})
		require.NoError(t, err)
		died(t, s, "P1", 2)
		assert.FileExists(t, filepath.Join(folder, keyFile))
		verified(t, s)
		h, err := s.Head("")
		require.NoError(t, err)
		empty, err := ledger.Root(0, nil)
		require.NoError(t, err)
		assert.Equal(t, ledger.Head{Bench: h.Bench, Root: empty}, ledger.Head{Bench: h.Bench, Size: h.Size, Root: h.Root}, "RFC 6962, section 2.1: SHA-256 of nothing")
		assert.Equal(t, "47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU=", h.Root.String())
		require.NoError(t, s.Close())
		for _, end := range renamed {
			require.NoError(t, os.Rename(filepath.Join(folder, keyFile+end), filepath.Join(folder, keyFile+".new"+end)))
		}
		read, err := Open(folder, Options{ReadOnly: true})
		require.NoError(t, err)
		verified(t, read)
		require.NoError(t, read.Close())
		s = opened(t, folder)
		ids, err := s.Recover()
		require.NoError(t, err)
		require.Len(t, ids, 1)
		assert.Equal(t, record.ID{Bench: h.Bench, Seq: 1}, ids[0])
		assert.FileExists(t, filepath.Join(folder, keyFile))
		damage, err := s.Verify(h)
		require.NoError(t, err)
		assert.Empty(t, damage)
	}
	// One that came to nothing leaves a bench that begins with its next.
	s := opened(t, t.TempDir())
	d, err := s.Begin(sample("P1"))
	require.NoError(t, err)
	require.NoError(t, d.Drop())
	require.NoError(t, s.Writable())
	verified(t, s)
	again := opened(t, s.folder)
	id, err := again.Put(sample("P1"))
	require.NoError(t, err)
	assert.Equal(t, 1, id.Seq)
	verified(t, again)
}

// With the private key elsewhere, as where a folder is only read, a test under
// way is no damage.
func TestDraftWithoutTheKey(t *testing.T) {
	folder, _ := dead(t, 2)
	require.NoError(t, os.Remove(filepath.Join(folder, keyFile)))
	s := opened(t, folder)
	verified(t, s)
	ids, err := s.Recover()
	assert.ErrorContains(t, err, "is lost")
	assert.Empty(t, ids)
	assert.Equal(t, 1, count(t, s, "drafts"))
}
