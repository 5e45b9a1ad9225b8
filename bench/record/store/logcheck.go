package store

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"maps"
	"slices"
	"strings"

	"dutybench/bench/record"
	"dutybench/bench/record/ledger"
)

// batch is how many records are read at once.
const batch = 100

// logCheck goes through one bench's records in their order and builds its
// hash tree anew (RFC 6962, section 2.1): a node is the hash of a byte 1 and
// its two halves. Stored are, in this order, each leaf and the nodes that it
// completes.
type logCheck struct {
	v     *verifier
	bench string
	// peaks are the roots of the whole subtrees so far, the largest first.
	peaks []ledger.Hash
	n     int64  // leaves so far
	hash  string // content hash of the record before; empty: not known
	lost  bool   // a leaf cannot be had
	bad   []int64
}

// rows is what a batch of records has in the tables.
type rows struct {
	bodies  map[int64][]byte
	records map[int64][]any
	parts   map[int64]map[string]string
	hashes  map[int64][]byte
	err     error
}

// clamp bounds a damaged size by what is there, so that it cannot make the
// check endless.
func (l *logCheck) clamp(size int64) int64 {
	var most int64
	if err := l.v.t.one("SELECT coalesce(max(seq), 0) FROM bodies WHERE bench = ?", []any{l.bench}, &most); err != nil {
		most = size
	}
	const missing = 1000
	if size > most+missing {
		l.v.say(l.name(most+missing+1), "it is missing, and all after it up to %06d", size)
		l.lost = true
		return most + missing
	}
	return size
}

func (l *logCheck) name(seq int64) string {
	return record.ID{Bench: l.bench, Seq: int(seq)}.String()
}

// batch checks the records of these numbers, both included.
func (l *logCheck) batch(from, to int64) {
	r := l.read(from, to)
	if r.err != nil && from < to {
		// Something among them cannot be read: find out which.
		for seq := from; seq <= to; seq++ {
			l.batch(seq, seq)
		}
		return
	}
	if r.err != nil {
		l.say(from, "it cannot be read: %v", r.err)
	}
	for seq := from; seq <= to; seq++ {
		l.record(seq, &r)
	}
}

func (l *logCheck) say(seq int64, format string, a ...any) {
	if len(l.bad) < 10 && !slices.Contains(l.bad, seq) {
		l.bad = append(l.bad, seq)
	}
	l.v.say(l.name(seq), format, a...)
}

// record checks one record.
func (l *logCheck) record(seq int64, r *rows) {
	first := ledger.Stored(seq - 1)
	stored := r.hashes[first]
	body, ok := r.bodies[seq]
	if !ok {
		if r.err == nil {
			l.say(seq, "it is missing")
		}
		l.grow(seq, first, stored, nil, r)
		l.hash = ""
		return
	}
	leaf := ledger.Leaf(body)
	sound := l.body(seq, body, r)
	if !bytes.Equal(leaf[:], stored) {
		if len(stored) == 0 {
			l.say(seq, "its leaf is missing in the log")
		} else {
			l.say(seq, "its record.json is not the leaf that the log holds in its place: one of the two was changed")
		}
		// Where the body itself is sound, the stored leaf was changed.
		if !sound && len(stored) == len(leaf) {
			leaf = ledger.Hash(stored)
		}
	}
	l.grow(seq, first, stored, &leaf, r)
}

// grow adds a leaf to the tree and compares the nodes that it completes.
func (l *logCheck) grow(seq, first int64, stored []byte, leaf *ledger.Hash, r *rows) {
	var node ledger.Hash
	switch {
	case leaf != nil:
		node = *leaf
	case len(stored) == len(node):
		node = ledger.Hash(stored)
	default:
		l.lost = true
	}
	n := l.n
	l.n++
	for place := first + 1; n&1 == 1; place++ {
		left := l.peaks[len(l.peaks)-1]
		l.peaks = l.peaks[:len(l.peaks)-1]
		node = sha256.Sum256(slices.Concat([]byte{1}, left[:], node[:]))
		have := r.hashes[place]
		if !bytes.Equal(have, node[:]) && r.err == nil && !l.lost {
			l.say(seq, "hash number %d of the log, which it completes, does not follow from the records", place)
		}
		n >>= 1
	}
	l.peaks = append(l.peaks, node)
}

// root is the tree's root hash; ok is false when it cannot be told.
func (l *logCheck) root() (root ledger.Hash, ok bool) {
	if l.lost {
		return ledger.Hash{}, false
	}
	if len(l.peaks) == 0 {
		root, err := ledger.Root(0, nil)
		return root, err == nil
	}
	root = l.peaks[len(l.peaks)-1]
	for i := len(l.peaks) - 2; i >= 0; i-- {
		root = sha256.Sum256(slices.Concat([]byte{1}, l.peaks[i][:], root[:]))
	}
	return root, true
}

// suspects says which records were named.
func (l *logCheck) suspects() string {
	if len(l.bad) == 0 {
		return "each agrees with its own hashes, so the log was written anew by who does not hold the key"
	}
	var names []string
	for _, seq := range l.bad {
		names = append(names, fmt.Sprintf("%06d", seq))
	}
	return "see " + strings.Join(names, ", ")
}

// body checks a record.json against itself, its place and the other tables;
// sound says that it is the one that its row's hash stands for.
func (l *logCheck) body(seq int64, body []byte, r *rows) (sound bool) {
	e, parts, previous, err := record.Examine(body)
	if err != nil {
		l.say(seq, "its record.json is damaged: %v", err)
		l.hash = ""
		return false
	}
	if e.ID.Bench != l.bench || int64(e.ID.Seq) != seq {
		l.say(seq, "it holds record %s, which belongs elsewhere", e.ID)
		l.hash = ""
		return false
	}
	if l.hash != "" && previous != l.hash {
		l.say(seq, "it does not follow from record %06d", seq-1)
	}
	l.hash = e.Hash
	have, want := r.records[seq], row(&e)
	switch {
	case r.err != nil:
	case have == nil:
		l.say(seq, "its row in the table of records is missing, so it is not found")
	default:
		sound = equal(have[2], want[2])
		for i, name := range strings.Split(rowColumns(), ", ") {
			if i >= 2 && !equal(have[i], want[i]) {
				l.say(seq, "the table of records says another %s than its record.json", name)
			}
		}
	}
	l.parts(seq, parts, r)
	return sound
}

// parts checks that the record has the parts that it vouches for, and no other.
func (l *logCheck) parts(seq int64, p record.Parts, r *rows) {
	want := partsByName(p)
	for _, f := range p.Files {
		want[filePrefix+f.Name] = f.SHA256
	}
	have := r.parts[seq]
	if r.err != nil || maps.Equal(want, have) {
		return
	}
	for name, sum := range want {
		if have[name] == "" {
			l.say(seq, "its %s is missing", name)
		} else if have[name] != sum {
			l.say(seq, "its %s is not the one that record.json holds the hash of", name)
		}
	}
	for name := range have {
		if want[name] == "" {
			l.say(seq, "it has a %q that does not belong to it", name)
		}
	}
}
