package trial_test

import (
	"bytes"
	"database/sql"
	"errors"
	"fmt"
	"maps"
	"math/rand/v2"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"dutybench/bench/record/store"
)

// flip changes one bit of a file.
func flip(path string, at int64, bit int) error {
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	b := make([]byte, 1)
	_, err = f.ReadAt(b, at)
	if err == nil {
		b[0] ^= 1 << bit
		_, err = f.WriteAt(b, at)
	}
	return errors.Join(err, f.Close())
}

// raw flips bits in the pages that hold a table's or an index's content.
func (o *original) raw(dir string, rng *rand.Rand) (*change, error) {
	names := slices.Sorted(maps.Keys(o.pages))
	if rng.IntN(4) > 0 { // by the pages that they have: most hold records
		var each []string
		for _, n := range names {
			each = append(each, slices.Repeat([]string{n}, len(o.pages[n]))...)
		}
		names = each
	}
	name := names[rng.IntN(len(names))]
	page := o.pages[name][rng.IntN(len(o.pages[name]))]
	at := (page-1)*o.page_B + rng.Int64N(o.page_B)
	kind := "bit in a page of a table"
	if o.tables[name] == nil && name != "sqlite_schema" {
		kind = "bit in a page of an index"
	}
	c := &change{kind: kind, what: fmt.Sprintf("byte %d, in a page of %s", at, name)}
	if err := flip(filepath.Join(dir, "records.db"), at, rng.IntN(8)); err != nil {
		return nil, err
	}
	c.records = o.differ(dir)
	return c, nil
}

// rowsOf is every row of every table, as text, with where it belongs.
func (o *original) rowsOf(dir string) (map[string]*place, error) {
	db, err := sql.Open("sqlite", (&url.URL{Scheme: "file", Path: filepath.Join(dir, "records.db"), RawQuery: "mode=ro"}).String())
	if err != nil {
		return nil, err
	}
	defer db.Close()
	out := map[string]*place{}
	for _, table := range slices.Sorted(maps.Keys(o.tables)) {
		columns := o.tables[table]
		rows, err := db.Query("SELECT " + strings.Join(columns, ", ") + " FROM " + table + " NOT INDEXED")
		if err != nil {
			return nil, err
		}
		for rows.Next() {
			p := &place{table: table, columns: columns, values: make([]any, len(columns))}
			into := make([]any, len(columns))
			for i := range into {
				into[i] = &p.values[i]
			}
			if err := rows.Scan(into...); err != nil {
				return nil, errors.Join(err, rows.Close())
			}
			out[fmt.Sprintf("%s %v", table, p.values)] = p
		}
		if err := errors.Join(rows.Err(), rows.Close()); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// differ names the records whose rows are others than in the original; none
// where the database can no longer be read.
func (o *original) differ(dir string) (ids []string) {
	now, err := o.rowsOf(dir)
	if err != nil {
		return nil
	}
	db, err := sql.Open("sqlite", (&url.URL{Scheme: "file", Path: filepath.Join(o.dir, "records.db"), RawQuery: "mode=ro&immutable=1"}).String())
	if err != nil {
		return nil
	}
	defer db.Close()
	for key, p := range o.rows0 {
		if now[key] == nil {
			ids = append(ids, o.records(db, p)...)
		}
	}
	return ids
}

// keys changes the key's files.
func (o *original) keys(dir string, rng *rand.Rand) (*change, error) {
	name := []string{"bench.key", "bench.key.pub"}[rng.IntN(2)]
	path := filepath.Join(dir, name)
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	at := rng.Int64N(int64(len(bytes.TrimSpace(data))))
	return &change{kind: "bit in " + name, what: fmt.Sprintf("byte %d", at), signs: name == "bench.key"}, flip(path, at, rng.IntN(8))
}

// refuses tries to sign with a changed private key. Nothing kept depends on
// that key, but what is kept next.
func refuses(dir string) (string, bool) {
	s, err := store.Open(dir, store.Options{})
	if err != nil {
		return "open: " + err.Error(), true
	}
	defer s.Close()
	w, err := planned(1_000_000, 0)
	if err != nil {
		return err.Error(), false
	}
	if _, err := s.Put(w.rec); err != nil {
		return "put: " + err.Error(), true
	}
	damages, err := s.Verify()
	if err != nil || len(damages) > 0 {
		return fmt.Sprint("verify behind a put: ", damages, err), false // it should not have come to this
	}
	return "", false
}
