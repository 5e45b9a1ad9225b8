package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"

	"dutybench/bench/record"
	"dutybench/bench/record/ledger"
)

// maxDamage bounds what Verify names: a store of garbage must not fill the
// memory.
const maxDamage = 10_000

// Verify reads everything and names what is wrong: of each record its body,
// its place in the hash tree, what is extracted from it for finding, and every
// part; of each bench its head and signature; what belongs to no record; and
// the older heads that a log does not extend. Blobs that no record refers to
// are no damage. Of tests under way, it names what this bench did not write.
//
// With a server, its records are verified and the bench's own, and that the
// server still has all that was handed over, under the bench's own key.
func (s *Store) Verify(older ...ledger.Head) ([]record.Damage, error) {
	v := &verifier{}
	if s.own != nil {
		var err error
		if v.public, err = s.publicKey(); err != nil {
			return nil, err
		}
		err = s.own.read(func(t *tx) error {
			var public string
			if v.own, public, err = t.ownBench(); err == nil {
				v.key = s.readingKey(public)
			}
			return nil // what is wrong with it, the table of benches says
		})
		if err != nil {
			return nil, err
		}
	}
	if err := s.Lost(); IsLost(err) {
		v.say(databaseFile, "%v", err)
	}
	if s.server != nil {
		if s.own != nil && v.own != "" {
			handed, err := s.handedHeads(v)
			if err != nil {
				return nil, err
			}
			older = slices.Concat(older, handed)
		}
		if err := v.base(s.server, older); err != nil || s.own == nil {
			return v.out, err
		}
		older = nil
	}
	err := v.base(s.own, older)
	return v.out, err
}

// verifier collects damage.
type verifier struct {
	t     *tx
	out   []record.Damage
	heads map[string]ledger.Head

	own    string     // key word of this bench; empty: none
	public string     // what bench.key.pub beside its database says; empty: none
	key    ledger.Key // its private key; zero: not at hand
}

func (v *verifier) say(what, format string, a ...any) {
	switch {
	case len(v.out) < maxDamage:
		v.out = append(v.out, record.Damage{Record: what, Problem: fmt.Sprintf(format, a...)})
	case len(v.out) == maxDamage:
		v.out = append(v.out, record.Damage{Record: "store", Problem: fmt.Sprintf("there is more damage than these %d", maxDamage)})
	}
}

// full says that enough is known.
func (v *verifier) full() bool { return len(v.out) > maxDamage }

// benchState is what the table of benches says.
type benchState struct {
	bench, public string
	own, size     int64
	head          []byte
}

// base verifies one database, in one unchanging view of it.
func (v *verifier) base(b *base, older []ledger.Head) error {
	v.heads = map[string]ledger.Head{}
	if !b.pg {
		v.integrity(b)
	}
	// A large store takes longer than any other exchange.
	return b.runIn(context.Background(), &sql.TxOptions{ReadOnly: true, Isolation: b.snapshot()}, func(t *tx) error {
		v.t = t
		benches, err := v.benches()
		if err != nil {
			return err
		}
		for _, s := range benches {
			v.bench(s)
		}
		v.strays(benches)
		v.blobs()
		if !b.pg {
			v.drafts(v.own, v.key)
		}
		for _, h := range older {
			v.older(h)
		}
		return nil
	})
}

// benches reads the table of benches.
func (v *verifier) benches() ([]benchState, error) {
	var out []benchState
	err := v.t.each("SELECT coalesce("+capped("bench", maxName)+", '-'), coalesce("+capped("public", maxPublic)+", ''), own, size, "+capped("head", maxHead)+" FROM benches ORDER BY bench LIMIT 100000", nil, func(scan func(...any) error) error {
		var s benchState
		err := scan(&s.bench, &s.public, &s.own, &s.size, &s.head)
		out = append(out, s)
		return err
	})
	return out, err
}

// bench verifies one bench's log.
func (v *verifier) bench(s benchState) {
	name := "bench " + s.bench
	if !record.IsKey(s.bench) {
		v.say(name, "its name is none")
		return
	}
	if v.t.b.pg {
		if s.bench == v.own && v.public != "" && v.public != s.public {
			v.say(name, "the server holds another public key for it than %s.pub in its own folder", keyFile)
		}
	} else {
		if s.own != 1 {
			v.say(name, "it is not the bench of this folder")
		}
		if v.public == "" && s.size > 0 {
			v.say(name, "%s.pub is missing beside the database, so that nothing but the database itself vouches for its key", keyFile)
		} else if v.public != "" && v.public != s.public {
			v.say(name, "the database holds another public key than %s.pub", keyFile)
		}
	}
	head, err := ledger.ParseHead(s.head, s.public)
	switch {
	case err != nil:
		v.say(name, "its head is damaged: %v", err)
	case head.Bench != s.bench:
		v.say(name, "its head is that of bench %s", head.Bench)
	case head.Size != s.size:
		v.say(name, "its head stands for %d records, the table of benches says %d", head.Size, s.size)
	default:
		v.heads[s.bench] = head
	}
	size := s.size
	if err == nil && head.Bench == s.bench {
		size = head.Size // what is signed, and not what a table says
	}
	l := &logCheck{v: v, bench: s.bench}
	size = l.clamp(size)
	for from := int64(1); from <= size && !v.full(); from += batch {
		l.batch(from, min(from+batch-1, size))
	}
	// Of fewer records than it signs, nothing can be said of its root.
	if root, ok := l.root(); !v.full() && ok && head.Signed != nil && l.n == head.Size && root != head.Root {
		v.say(name, "its records do not give the root hash that its head signs: %v", l.suspects())
	}
	l.beyond(size)
}

// strays names rows that belong to no bench.
func (v *verifier) strays(benches []benchState) {
	known := func(bench string) bool {
		return slices.ContainsFunc(benches, func(s benchState) bool { return s.bench == bench })
	}
	for _, table := range []string{"bodies", "records", "parts", "hashes"} {
		err := v.t.each("SELECT DISTINCT coalesce("+capped("bench", maxName)+", '-') FROM "+table+" LIMIT 100000", nil, func(scan func(...any) error) error {
			var bench string
			if err := scan(&bench); err != nil {
				return err
			}
			if !known(bench) {
				v.say("bench "+bench, "the table %s has rows of it, but it is no bench of this store", table)
			}
			return nil
		})
		if err != nil {
			v.say("table "+table, "it cannot be read: %v", err)
		}
	}
}

// blobs reads every blob, one at a time, and names the records of those that
// are not whole.
func (v *verifier) blobs() {
	bad := map[string]error{}
	var after []byte
	for len(bad) < maxDamage {
		var sum []byte
		err := v.t.one("SELECT sha256 FROM blobs WHERE sha256 > ? AND length(sha256) = ? ORDER BY sha256 LIMIT 1", []any{append([]byte{}, after...), hashBytes}, &sum)
		if errors.Is(err, sql.ErrNoRows) {
			break
		}
		if err != nil {
			v.say("table blobs", "it cannot be read from %x on: %v", after, err)
			break
		}
		after = sum
		b, err := v.t.blob(sum)
		if err == nil {
			err = b.check()
		}
		if err != nil {
			bad[string(sum)] = err
		}
	}
	if len(bad) > 0 {
		v.users(bad)
	}
	var nameless int
	if err := v.t.one("SELECT count(*) FROM blobs WHERE length(sha256) <> ?", []any{hashBytes}, &nameless); err != nil || nameless > 0 {
		v.say("table blobs", "%d of them are under no hash (%v)", nameless, err)
	}
}

// users names the records that the bad blobs belong to.
func (v *verifier) users(bad map[string]error) {
	err := v.t.each("SELECT coalesce("+capped("bench", maxName)+", '-'), seq, coalesce("+capped("name", maxName)+", '-'), "+capped("sha256", hashBytes)+" FROM parts ORDER BY bench, seq, name", nil, func(scan func(...any) error) error {
		var id record.ID
		var name string
		var sum []byte
		if err := scan(&id.Bench, &id.Seq, &name, &sum); err != nil {
			return err
		}
		if why := bad[string(sum)]; why != nil {
			v.say(id.String(), "its %s was changed: %v", name, why)
		}
		return nil
	})
	if err != nil {
		v.say("table parts", "it cannot be read: %v", err)
	}
}

// older says whether a bench's log extends a head that was kept elsewhere.
func (v *verifier) older(h ledger.Head) {
	name := "bench " + h.Bench
	now, ok := v.heads[h.Bench]
	if !ok {
		v.say(name, "this store holds no log of it whose own head holds; the head that you kept names %d records of it: its database was lost or replaced, or that head is of another store", h.Size)
		return
	}
	var proof ledger.Proof
	if h.Size > 0 && h.Size <= now.Size {
		var err error
		if proof, err = ledger.Extension(h.Size, now.Size, v.t.hashes(h.Bench)); err != nil {
			v.say(name, "%v", err)
			return
		}
	}
	if err := ledger.CheckExtension(now, h, proof); err != nil {
		v.say(name, "%v", err)
	}
}
