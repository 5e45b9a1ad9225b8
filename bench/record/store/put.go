package store

import (
	"cmp"
	"encoding/hex"
	"fmt"
	"slices"
	"time"

	"dutybench/bench/record"
	"dutybench/bench/record/ledger"
)

// Put keeps a record in one transaction: see the package comment for the
// order of what is written. On an error nothing is kept and r is as it was.
// With a server, the record is handed over afterwards, if the server can be
// had; Behind says how many wait.
func (s *Store) Put(r *record.Record) (record.ID, error) {
	ids, err := s.PutAll([]*record.Record{r})
	if err != nil {
		return record.ID{}, err
	}
	return ids[0], nil
}

// PutAll keeps records, in their order, in one transaction under one head:
// all or none.
func (s *Store) PutAll(rs []*record.Record) ([]record.ID, error) {
	kept, err := s.keep(rs, "")
	if err != nil {
		return nil, err
	}
	var ids []record.ID
	for i, r := range kept {
		*rs[i] = *r
		ids = append(ids, r.ID)
	}
	s.handOn()
	return ids, nil
}

// keep puts records into the bench's own store and, in the same transaction,
// ends the draft that they come from, if any.
func (s *Store) keep(rs []*record.Record, draft string) ([]*record.Record, error) {
	if err := s.writable(); err != nil {
		return nil, err
	}
	var kept []*record.Record
	var parts [][]part
	for _, r := range rs {
		p, err := partsOf(r)
		if err != nil {
			return nil, err
		}
		k := *r
		k.Files = slices.Clone(r.Files)
		if k.When.IsZero() {
			k.When = s.o.Now()
		}
		kept, parts = append(kept, &k), append(parts, p)
	}
	settle := func() error { return nil }
	err := s.own.write(func(t *tx) error {
		if draft != "" {
			if err := t.endDraft(draft); err != nil {
				return err
			}
		}
		if len(kept) == 0 {
			return nil
		}
		key, after, err := s.signer(t, "")
		if err != nil {
			return err
		}
		settle = after
		for i, r := range kept {
			if err := t.put(r, parts[i], benchOf(key)); err != nil {
				return err
			}
		}
		return t.sign(benchOf(key), kept[len(kept)-1].ID.Seq, key)
	})
	if err != nil {
		return nil, err
	}
	// The records are kept; the key's name is made good at the next one.
	_ = settle()
	return kept, nil
}

// put seals a record behind the last of its bench and keeps it: all but the
// signed head.
func (t *tx) put(r *record.Record, parts []part, bench string) error {
	last, err := t.last(bench)
	if err != nil {
		return err
	}
	if r.At.Attempt == 0 && r.At.Unit != "" {
		var before int
		if err := t.one("SELECT count(*) FROM records WHERE unit = ? AND unit <> ''", []any{mark(r.At.Unit)}, &before); err != nil {
			return err
		}
		r.At.Attempt = before + 1
	}
	body, err := record.Seal(r, record.Place{Bench: bench, Seq: last.seq + 1, Previous: last.hash, After: last.when})
	if err != nil {
		return err
	}
	return t.insert(bench, last.seq+1, body, parts)
}

// sign makes the head of a bench's log of this size.
func (t *tx) sign(bench string, size int, key ledger.Key) error {
	root, err := ledger.Root(int64(size), t.hashes(bench))
	if err != nil {
		return err
	}
	head, err := key.Sign(bench, int64(size), root)
	if err != nil {
		return err
	}
	return t.exec("UPDATE benches SET head = ? WHERE bench = ?", head.Signed, bench)
}

// end is the last record of a bench.
type end struct {
	seq  int
	hash string
	when time.Time
}

// last reads the last record of a bench, and refuses to build on a damaged one.
func (t *tx) last(bench string) (end, error) {
	var e end
	if err := t.one("SELECT size FROM benches WHERE bench = ?", []any{bench}, &e.seq); err != nil || e.seq == 0 {
		return e, err
	}
	id := record.ID{Bench: bench, Seq: e.seq}
	body, err := t.body(id)
	if err != nil {
		return e, err
	}
	stored, err := t.hashes(bench).ReadHashes([]int64{ledger.Stored(int64(e.seq) - 1)})
	if err != nil {
		return e, err
	}
	r, _, err := record.Unseal(body)
	if err != nil || r.ID != id || stored[0] != ledger.Leaf(body) {
		return e, fmt.Errorf("store: the last record, %s, is damaged, and nothing is put behind it; verify the store and bring it back from a backup", id)
	}
	e.hash, e.when = r.Hash, r.When
	return e, nil
}

// insert keeps a sealed body and its parts as the next record of a bench: all
// rows but the head.
func (t *tx) insert(bench string, seq int, body []byte, parts []part) error {
	entry, err := record.EntryOf(body)
	if err != nil {
		return err
	}
	leaves, err := ledger.Append(int64(seq)-1, body, t.hashes(bench))
	if err != nil {
		return err
	}
	first := ledger.Stored(int64(seq) - 1)
	for i, h := range leaves {
		if err := t.exec("INSERT INTO hashes (bench, place, hash) VALUES (?, ?, ?)", bench, first+int64(i), h[:]); err != nil {
			return err
		}
	}
	if err := t.exec("INSERT INTO bodies (bench, seq, data) VALUES (?, ?, ?)", bench, seq, body); err != nil {
		return err
	}
	values := row(&entry)
	if err := t.exec("INSERT INTO records ("+rowColumns()+") VALUES ("+places(len(values))+")", values...); err != nil {
		return err
	}
	// In one order for all, so that two benches never wait for each other.
	parts = slices.SortedFunc(slices.Values(parts), func(a, b part) int { return cmp.Compare(hex.EncodeToString(a.sum[:]), hex.EncodeToString(b.sum[:])) })
	for i := range parts {
		p := &parts[i]
		if err := t.insertBlob(&p.blob); err != nil {
			return err
		}
		if err := t.exec("INSERT INTO parts (bench, seq, name, sha256) VALUES (?, ?, ?, ?)", bench, seq, p.name, p.sum[:]); err != nil {
			return err
		}
	}
	return t.exec("UPDATE benches SET size = ? WHERE bench = ?", seq, bench)
}

// insertBlob keeps a blob once. Should one of this hash be there and differ,
// which a change of the program or damage can bring, the new one takes its
// place.
func (t *tx) insertBlob(b *blob) error {
	var there int
	err := t.one("SELECT count(*) FROM blobs WHERE sha256 = ? AND codec = ? AND bytes = ? AND data = ?", []any{b.sum[:], b.codec, b.bytes, b.data}, &there)
	if err != nil || there > 0 {
		return err
	}
	return t.exec("INSERT INTO blobs (sha256, codec, bytes, data) VALUES (?, ?, ?, ?) ON CONFLICT (sha256) DO UPDATE SET codec = excluded.codec, bytes = excluded.bytes, data = excluded.data",
		b.sum[:], b.codec, b.bytes, b.data)
}
