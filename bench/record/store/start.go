package store

import (
	"errors"
	"fmt"

	"dutybench/bench/record/ledger"
)

// start checks at each opening what costs little at any size: that the head's
// signature holds, that the stored hashes give its root, and that the last
// record is in its place. It reads about log2 of the number of records rows.
// All the rest is Verify's.
func (s *Store) start() error {
	return s.own.read(func(t *tx) error {
		bench, _, err := t.ownBench()
		if err == nil && bench == "" {
			err = s.unclaimed(t)
		}
		if err != nil || bench == "" {
			return err
		}
		h, err := t.head(bench)
		if err != nil {
			return fmt.Errorf("store: %s is damaged; bring it back from a backup: %w", t.b.name, err)
		}
		var size, most int64
		if err := t.one("SELECT size, coalesce((SELECT max(seq) FROM bodies WHERE bodies.bench = benches.bench), 0) FROM benches WHERE bench = ?", []any{bench}, &size, &most); err != nil {
			return err
		}
		root, err := ledger.Root(h.Size, t.hashes(bench))
		if err != nil || root != h.Root || size != h.Size || most != h.Size {
			return errors.Join(fmt.Errorf("store: %s is damaged: its records are not those that its head signs; see records verify, and bring it back from a backup", t.b.name), err)
		}
		if size > 0 {
			_, err = t.last(bench)
		}
		return err
	})
}

// Integrity checks the database's own structure: for SQLite every page and
// index, which reads the whole file (Verify does it too); a server looks
// after its own.
func (s *Store) Integrity() error {
	if s.own == nil {
		return nil
	}
	v := &verifier{}
	v.integrity(s.own)
	var all []error
	for _, d := range v.out {
		all = append(all, fmt.Errorf("store: %s: %s; bring it back from a backup", d.Record, d.Problem))
	}
	return errors.Join(all...)
}

// integrity asks SQLite for what is wrong with its file.
func (v *verifier) integrity(b *base) {
	err := b.read(func(t *tx) error {
		return t.each("PRAGMA integrity_check(100)", nil, func(scan func(...any) error) error {
			var said string
			err := scan(&said)
			if err == nil && said != "ok" {
				v.say(databaseFile, "%s", said)
			}
			return err
		})
	})
	if err != nil {
		v.say(databaseFile, "its structure cannot be checked: %v", err)
	}
}
