package store

import (
	"cmp"
	"context"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"slices"
	"time"

	"dutybench/bench/record"
	"dutybench/bench/record/ledger"
)

// How much of the log goes over in one transaction.
const (
	maxHanded  = 100      // records
	maxHandedB = 16 << 20 // bytes of their parts
	// batchWait ends a transaction with a server that says nothing any more.
	batchWait = 2 * time.Minute
)

func (s *Store) handOver(c context.Context, server *base) (n int, err error) {
	for {
		m, more, err := s.handBatch(c, server)
		n += m
		if err != nil || !more {
			return n, err
		}
	}
}

// handBatch hands over the next records; more says that there are others.
func (s *Store) handBatch(c context.Context, server *base) (n int, more bool, err error) {
	server.writer.Lock()
	defer server.writer.Unlock()
	c, cancel := context.WithTimeout(c, batchWait)
	defer cancel()
	var bench, public string
	var key ledger.Key
	var size int64
	err = s.own.read(func(t *tx) error {
		if bench, public, err = t.ownBench(); err != nil || bench == "" {
			return err
		}
		if err := t.one("SELECT size FROM benches WHERE bench = ?", []any{bench}, &size); err != nil || size == 0 {
			return err
		}
		key, _, err = s.signer(t, bench)
		return err
	})
	if err != nil || size == 0 {
		return 0, false, err
	}
	err = server.runIn(c, &sql.TxOptions{}, func(to *tx) error {
		there, err := to.lockBench(bench, public)
		if err != nil {
			return err
		}
		// Only now, under the server's lock: this view has all that anybody gave.
		return s.own.read(func(from *tx) error {
			n, more, err = to.extend(from, there, key)
			size = there.size + int64(n)
			return err
		})
	})
	if err != nil {
		return 0, false, err
	}
	return n, more, s.handed(server.name, size)
}

// lockBench makes a bench known to the server, locks it there and reads its
// state.
func (t *tx) lockBench(bench, public string) (benchState, error) {
	there := benchState{bench: bench}
	err := t.exec("INSERT INTO benches (bench, public, own, size, head) VALUES (?, ?, 0, 0, ?) ON CONFLICT (bench) DO NOTHING", bench, public, []byte{})
	if err != nil {
		return there, err
	}
	q := "SELECT coalesce(" + capped("public", maxPublic) + ", ''), size, " + capped("head", maxHead) + " FROM benches WHERE bench = ?"
	if t.b.pg {
		q += " FOR UPDATE"
	}
	return there, t.one(q, []any{bench}, &there.public, &there.size, &there.head)
}

// extend copies the next batch of records behind those that are there.
func (t *tx) extend(from *tx, there benchState, key ledger.Key) (n int, more bool, err error) {
	head, err := from.head(there.bench)
	if err != nil {
		return 0, false, err
	}
	if err := t.same(from, there, head, key.Public()); err != nil || there.size == head.Size {
		return 0, false, err
	}
	size, err := t.copyRecords(from, there.bench, there.size, min(head.Size, there.size+maxHanded))
	if err != nil {
		return 0, false, err
	}
	want, err := ledger.Root(size, from.hashes(there.bench))
	if err != nil {
		return 0, false, err
	}
	if got, err := ledger.Root(size, t.hashes(there.bench)); err != nil || got != want {
		return 0, false, errors.Join(fmt.Errorf("store: the server %s does not keep the log of bench %s as it was given; nothing more is handed over, verify it", t.b.name, there.bench), err)
	}
	return int(size - there.size), size < head.Size, t.sign(there.bench, int(size), key)
}

// same refuses a server that holds another history of the bench.
func (t *tx) same(from *tx, there benchState, head ledger.Head, public string) error {
	other := func(what string, a ...any) error {
		return fmt.Errorf("store: the server %s holds another history of bench %s: %s; nothing was handed over, find out who else uses this bench's key word", t.b.name, there.bench, fmt.Sprintf(what, a...))
	}
	switch {
	case there.public != public:
		return other("its key there is another one")
	case there.size == 0:
		return nil
	case there.size > head.Size:
		return other("it has %d records there and %d here; was this folder brought back from an old backup?", there.size, head.Size)
	}
	h, err := ledger.ParseHead(there.head, public)
	if err != nil || h.Bench != there.bench || h.Size != there.size {
		return other("its head there does not hold")
	}
	root, err := ledger.Root(h.Size, from.hashes(there.bench))
	if err == nil && root != h.Root {
		err = other("the first %d records there are not those here", h.Size)
	}
	return err
}

// copyRecords copies the records after have up to size, or fewer when they
// are large, and says how far it came.
func (t *tx) copyRecords(from *tx, bench string, have, size int64) (int64, error) {
	type copied struct {
		body  []byte
		parts []part
	}
	var all []copied
	bytes := 0
	for seq := have + 1; seq <= size && bytes < maxHandedB; seq++ {
		body, parts, err := from.whole(record.ID{Bench: bench, Seq: int(seq)})
		if err != nil {
			return 0, err
		}
		for _, p := range parts {
			bytes += len(p.data)
		}
		all = append(all, copied{body, parts})
	}
	// Every bench takes the blobs in one order, so that none waits for another
	// that waits for it.
	var blobs []*blob
	for i := range all {
		for j := range all[i].parts {
			blobs = append(blobs, &all[i].parts[j].blob)
		}
	}
	slices.SortFunc(blobs, func(a, b *blob) int { return cmp.Compare(hex.EncodeToString(a.sum[:]), hex.EncodeToString(b.sum[:])) })
	for _, b := range blobs {
		if err := t.insertBlob(b); err != nil {
			return 0, err
		}
	}
	for i, c := range all {
		if err := t.insert(bench, int(have)+1+i, c.body, c.parts); err != nil {
			return 0, err
		}
	}
	return have + int64(len(all)), nil
}

// whole reads a record's body and its parts as they are kept. What is damaged
// is not handed over.
func (t *tx) whole(id record.ID) ([]byte, []part, error) {
	body, err := t.body(id)
	if err != nil {
		return nil, nil, err
	}
	e, p, _, err := record.Examine(body)
	if err == nil && e.ID != id {
		err = fmt.Errorf("it holds record %s", e.ID)
	}
	if err != nil {
		return nil, nil, damaged(id, err)
	}
	want := partsByName(p)
	for _, f := range p.Files {
		want[filePrefix+f.Name] = f.SHA256
	}
	var out []part
	for name, sum := range want {
		b, err := t.blob(unhex(sum))
		if err == nil {
			err = b.check()
		}
		if err != nil {
			return nil, nil, damaged(id, fmt.Errorf("its %s: %w", name, err))
		}
		out = append(out, part{name, *b})
	}
	return body, out, nil
}
