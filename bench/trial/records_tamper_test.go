package trial_test

import (
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"maps"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"dutybench/bench/record"
	"dutybench/bench/record/ledger"
	"dutybench/bench/record/store"
)

// The changes know the database's tables from its own list of them, and
// nothing of how a store is verified. Each is made in a copy of one store.

// original is the store of which copies are changed.
type original struct {
	dir   string
	bench string
	n     int
	older []ledger.Head // kept elsewhere, the last one the newest
	out   string        // all that it gives out, hashed
	// tables with their columns; pages of the file by table or index.
	rows0  map[string]*place // as rowsOf gives them
	tables map[string][]string
	pages  map[string][]int64
	page_B int64
}

// change is one change to a copy.
type change struct {
	kind    string
	what    string   // for people
	records []string // to which it belongs: one of these must be named; empty: to none
	heads   bool     // only a head kept elsewhere can show it
	signs   bool     // only the next signature can show it
	public  bool     // only the bench's public key kept elsewhere can show it
}

// errNothing says that a change could not be made, or changed no byte.
var errNothing = errors.New("nothing was changed")

// makeOriginal keeps n tests in a new store, and heads of it on the way.
func makeOriginal(t *testing.T, n int) *original {
	t.Helper()
	o := &original{dir: filepath.Join(t.TempDir(), "bench"), n: n}
	s, err := store.Open(o.dir, store.Options{})
	require.NoError(t, err)
	for i, kept := 0, 0; kept < n; i++ {
		w, err := planned(99, i)
		require.NoError(t, err)
		// Two units come again, and one photo belongs to several.
		w.rec.At.Unit = fmt.Sprintf("U-%02d", kept%(n-2))
		w.rec.Files = append(w.rec.Files, record.File{Name: "photo-2.jpg", Data: []byte("a photo of the shelf")})
		w.rec.At.Seal, w.rec.At.Lot, w.rec.At.Order = fmt.Sprintf("S-%d", kept), fmt.Sprintf("L-%d", kept%3), fmt.Sprintf("J-%d", kept)
		w.rec.At.Customer, w.rec.At.PartNumber, w.rec.At.DateCode, w.rec.At.Revision = "customer", "PN-1", fmt.Sprintf("26%02d", kept), "B"
		w.rec.At.ReceivedBy, w.rec.At.OpenedBy, w.rec.At.ReturnedBy = "R. Desk", "O. Bench", "P. Post"
		w.known.At, w.known.Files = w.rec.At, w.rec.Files
		var id record.ID
		if w.how == "put" {
			id, err = s.Put(w.rec)
		} else {
			d, err2 := s.Begin(&w.known)
			require.NoError(t, err2)
			for _, c := range w.chunks {
				require.NoError(t, d.Append(c))
			}
			id, err = d.Finish(w.rec)
		}
		require.NoError(t, err)
		o.bench = id.Bench
		if kept++; kept == n/2 || kept == n {
			h, err := s.Head("")
			require.NoError(t, err)
			o.older = append(o.older, h)
		}
	}
	o.out, err = givenOut(s)
	require.NoError(t, err)
	damages, err := s.Verify(o.older...)
	require.NoError(t, err)
	require.Empty(t, damages)
	require.NoError(t, s.Close())
	_, err = os.Stat(filepath.Join(o.dir, "records.db-wal"))
	require.ErrorIs(t, err, os.ErrNotExist, "the copies must hold all of it")
	o.look(t)
	return o
}

// look lists tables and pages.
func (o *original) look(t *testing.T) {
	t.Helper()
	db := openRaw(t, o.dir)
	defer db.Close()
	o.tables, o.pages = map[string][]string{}, map[string][]int64{}
	for _, table := range texts(t, db, "SELECT name FROM sqlite_schema WHERE type = 'table' ORDER BY name") {
		o.tables[table] = texts(t, db, "SELECT name FROM pragma_table_info('"+table+"') ORDER BY cid")
	}
	rows, err := db.Query("SELECT name, pageno, pgsize FROM dbstat")
	require.NoError(t, err)
	defer rows.Close()
	for rows.Next() {
		var name string
		var page int64
		require.NoError(t, rows.Scan(&name, &page, &o.page_B))
		o.pages[name] = append(o.pages[name], page)
	}
	require.NoError(t, rows.Err())
	o.rows0, err = o.rowsOf(o.dir)
	require.NoError(t, err)
}

func openRaw(t testing.TB, dir string) *sql.DB {
	t.Helper()
	u := url.URL{Scheme: "file", Path: filepath.Join(dir, "records.db"), RawQuery: "mode=rw"}
	db, err := sql.Open("sqlite", u.String())
	require.NoError(t, err)
	db.SetMaxOpenConns(1)
	return db
}

func texts(t testing.TB, db *sql.DB, q string) (out []string) {
	t.Helper()
	rows, err := db.Query(q)
	require.NoError(t, err)
	defer rows.Close()
	for rows.Next() {
		var s string
		require.NoError(t, rows.Scan(&s))
		out = append(out, s)
	}
	require.NoError(t, rows.Err())
	return out
}

// givenOut is the hash of all that a store gives out: every record with its
// files and body, what lists and counts say, heads, keys and hashes.
func givenOut(s *store.Store) (string, error) {
	h := sha256.New()
	entries, err := s.List(record.Filter{})
	if err != nil {
		return "", err
	}
	units := map[string]bool{}
	benches := map[string]int64{}
	for _, e := range entries {
		units[e.At.Unit] = true
		benches[e.ID.Bench]++
		r, err := s.Get(e.ID)
		if err != nil {
			return "", err
		}
		body, err := s.Body(e.ID)
		if err != nil {
			return "", err
		}
		fmt.Fprintf(h, "%+v|%s|%s|%s|%s|%s|%+v\n", e, r.Hash, body, r.Trace, r.Result, r.Profile.Text, r.Files)
	}
	filters := []record.Filter{{Newest: true, Limit: 10}, {Interrupted: true}, {Words: "n"}, {Person: "P. Post"}}
	for _, u := range slices.Sorted(maps.Keys(units)) {
		filters = append(filters, record.Filter{Unit: u}, record.Filter{Unit: u, Newest: true})
	}
	for i := range 40 {
		filters = append(filters, record.Filter{Seal: fmt.Sprintf("S-%d", i)}, record.Filter{Lot: fmt.Sprintf("L-%d", i)},
			record.Filter{Order: fmt.Sprintf("J-%d", i)}, record.Filter{DateCode: fmt.Sprintf("26%02d", i)})
	}
	for _, f := range filters {
		list, err := s.List(f)
		if err != nil {
			return "", err
		}
		for _, e := range list {
			fmt.Fprintf(h, "%v ", e.ID)
		}
		fmt.Fprintln(h)
	}
	counts, err := s.Causes(record.Filter{})
	if err != nil {
		return "", err
	}
	fmt.Fprintln(h, counts)
	for _, b := range slices.Sorted(maps.Keys(benches)) {
		key, err := s.Key(b)
		if err != nil {
			return "", err
		}
		head, err := s.Head(b)
		if err != nil {
			return "", err
		}
		places := make([]int64, ledger.Stored(benches[b]))
		for i := range places {
			places[i] = int64(i)
		}
		hashes, err := s.Hashes(b).ReadHashes(places)
		if err != nil {
			return "", err
		}
		fmt.Fprintln(h, key, string(head.Signed), hashes)
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}

// copyTo makes a copy to be changed.
func (o *original) copyTo(dir string) error {
	for _, name := range []string{"records.db", "bench.key", "bench.key.pub"} {
		in, err := os.Open(filepath.Join(o.dir, name))
		if err != nil {
			return err
		}
		out, err := os.OpenFile(filepath.Join(dir, name), os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
		if err == nil {
			_, err = io.Copy(out, in)
			err = errors.Join(err, out.Close())
		}
		if err := errors.Join(err, in.Close()); err != nil {
			return err
		}
	}
	return nil
}

// outcome is what came of one change.
type outcome struct {
	found, named bool
	others       bool // records are named to which it does not belong
	same         bool // not found, and the store gives out the same as before
	by           string
}

// judge verifies a changed copy.
func (o *original) judge(dir string, c *change) outcome {
	var older []ledger.Head
	if c.heads {
		older = o.older
	}
	s, err := store.Open(dir, store.Options{ReadOnly: true})
	if err != nil {
		return outcome{found: true, named: len(c.records) == 0, by: "open: " + err.Error()}
	}
	defer s.Close()
	var out outcome
	damages, err := s.Verify(older...)
	var by []string
	if err != nil {
		out.found = true
		by = append(by, "verify: "+err.Error())
	}
	for _, d := range damages {
		out.found = true
		by = append(by, d.String())
		out.named = out.named || slices.Contains(c.records, d.Record)
		out.others = out.others || strings.HasPrefix(d.Record, o.bench+"-") && !slices.Contains(c.records, d.Record)
	}
	if err := s.Integrity(); err != nil {
		out.found = true
		by = append(by, "integrity: "+err.Error())
	}
	if c.public && !out.found { // whoever kept the key compares it
		key, err := s.Key(o.bench)
		if kept, _ := os.ReadFile(filepath.Join(o.dir, "bench.key.pub")); err != nil || strings.TrimSpace(string(kept)) != key {
			out.found = true
			by = append(by, "the public key is another one")
		}
	}
	if c.signs && !out.found {
		said, ok := refuses(dir)
		out.found = ok
		by = append(by, said)
	}
	out.named = out.found && (out.named || len(c.records) == 0)
	out.by = strings.Join(by, "\n      ")
	if !out.found {
		now, err := givenOut(s)
		out.same = err == nil && now == o.out
		out.by = fmt.Sprint("gives out the same: ", out.same, " ", err)
	}
	return out
}

// id is the name of the record of this number.
func (o *original) id(seq int) string { return record.ID{Bench: o.bench, Seq: seq}.String() }
