// Package ledger makes the records of one bench a transparency log: an
// append-only hash tree (RFC 6962, section 2.1) with signed heads.
//
// A leaf is a record's record.json, byte for byte. A head is text as the open
// specifications C2SP tlog-checkpoint and C2SP signed-note lay it down: the
// log's origin, its size, its root hash, a blank line, and one line for each
// signature (Ed25519, RFC 8032). The origin is "dutybench/" and the bench's
// key word, and the bench signs under that name. Others may sign the same
// head: that is a countersignature.
//
// Whoever holds the bench's private key can sign a second, different log. A
// head that was countersigned, or only kept, elsewhere shows it: the second
// log does not extend that head.
//
// Everything is read in one form only, the one that is written: no byte of a
// head, key or proof can be changed without an error.
package ledger

import (
	"errors"
	"fmt"

	"golang.org/x/mod/sumdb/tlog"
)

// Hash is a node of the tree, SHA-256.
type Hash = tlog.Hash

// HashReader gives stored hashes by their index in the order of tlog.
type HashReader = tlog.HashReader

// MaxSize is the most records that a log can hold. It also bounds proofs: to
// 30 hashes of inclusion, 31 of extension.
const MaxSize = 999_999_999

// errSize also keeps sizes near 2⁶³ from the tree's arithmetic, which does not
// end there.
var errSize = fmt.Errorf("ledger: a log holds 0 to %d records", MaxSize)

// Leaf is the hash of a record's body as a leaf of the tree.
func Leaf(body []byte) Hash { return tlog.RecordHash(body) }

// Node is the hash of two neighbours: the left one, and the right one.
func Node(left, right Hash) Hash { return tlog.NodeHash(left, right) }

// Append gives the hashes to store, in their order, when a body becomes the
// leaf number size (from 0) of a log whose hashes r gives.
func Append(size int64, body []byte, r HashReader) ([]Hash, error) {
	if size < 0 || size >= MaxSize {
		return nil, errSize
	}
	h, err := tlog.StoredHashes(size, body, r)
	if err != nil {
		return nil, fmt.Errorf("ledger: the log's hashes cannot be read: %w", err)
	}
	return h, nil
}

// Stored is how many hashes a log of this size stores.
func Stored(size int64) int64 { return tlog.StoredHashCount(size) }

// Root is the root hash of a log's first size records.
func Root(size int64, r HashReader) (Hash, error) {
	if size < 0 || size > MaxSize {
		return Hash{}, errSize
	}
	h, err := tlog.TreeHash(size, r)
	if err != nil {
		return Hash{}, fmt.Errorf("ledger: the root of %d records cannot be had: %w", size, err)
	}
	return h, nil
}

// Proof is the hashes that lead from a leaf, or from an older head, to a head.
type Proof []Hash

// Inclusion proves that the record of this number (from 1) is among the
// first size.
func Inclusion(size int64, seq int, r HashReader) (Proof, error) {
	if size < 0 || size > MaxSize {
		return nil, errSize
	}
	p, err := tlog.ProveRecord(size, int64(seq)-1, r)
	if err != nil {
		return nil, fmt.Errorf("ledger: record %06d cannot be proved among %d: %w", seq, size, err)
	}
	return Proof(p), nil
}

// CheckInclusion is nil where the body is the record of this number in the
// head's log.
func CheckInclusion(h Head, seq int, body []byte, p Proof) error {
	if h.Size > MaxSize {
		return errSize
	}
	if seq < 1 || int64(seq) > h.Size {
		return fmt.Errorf("ledger: record %06d is not among the head's %d", seq, h.Size)
	}
	if err := tlog.CheckRecord(tlog.RecordProof(p), h.Size, h.Root, int64(seq)-1, Leaf(body)); err != nil {
		return fmt.Errorf("ledger: record %06d is not the one in the log of head %s: %w", seq, h, err)
	}
	return nil
}

// Sides says of each hash in an inclusion proof, in its order, whether it
// stands on the left of what has been reached (RFC 9162, section 2.1.3.2).
func Sides(size int64, seq int) ([]bool, error) {
	if seq < 1 || int64(seq) > size || size > MaxSize {
		return nil, errors.New("ledger: there is no record of this number in a log of this size")
	}
	var left []bool
	for f, s := int64(seq)-1, size-1; s > 0; f, s = f>>1, s>>1 {
		switch {
		case f&1 == 1:
			left = append(left, true)
		case f < s:
			left = append(left, false)
		}
		// Where f is the last, even one of its level, it rises alone.
	}
	return left, nil
}

// Extension proves that the first newer records begin with the first older.
// Of an empty older log there is nothing to prove.
func Extension(older, newer int64, r HashReader) (Proof, error) {
	if older < 0 || newer > MaxSize {
		return nil, errSize
	}
	if older == 0 {
		return nil, nil
	}
	p, err := tlog.ProveTree(newer, older, r)
	if err != nil {
		return nil, fmt.Errorf("ledger: a log of %d records cannot be proved to extend one of %d: %w", newer, older, err)
	}
	return Proof(p), nil
}

// CheckExtension is nil where the newer head's log begins with the older's.
func CheckExtension(newer, older Head, p Proof) error {
	switch {
	case newer.Bench != older.Bench:
		return fmt.Errorf("ledger: the heads are of two benches, %s and %s", newer.Bench, older.Bench)
	case older.Size < 0 || newer.Size > MaxSize:
		return errSize
	case newer.Size < older.Size:
		return fmt.Errorf("ledger: the log holds %d records, but held %d when the older head was signed: its tail was cut", newer.Size, older.Size)
	case older.Size == 0 && older.Root != emptyRoot:
		return fmt.Errorf("ledger: %s is no head of an empty log", older)
	case older.Size == 0 || newer.Size == older.Size && newer.Root == older.Root:
		if len(p) > 0 {
			return errors.New("ledger: of these heads there is nothing to prove, but there is a proof")
		}
		return nil
	case newer.Size == older.Size:
		return fmt.Errorf("ledger: there are two logs of %d records, with the roots %s and %s: records were changed, and one of the two was shown to somebody", newer.Size, newer.Root, older.Root)
	}
	if err := tlog.CheckTree(tlog.TreeProof(p), newer.Size, newer.Root, older.Size, older.Root); err != nil {
		return fmt.Errorf("ledger: the log does not extend the older head %s: records were changed, removed or put in between: %w", older, err)
	}
	return nil
}

// emptyRoot is the root of an empty log, the hash of nothing (RFC 6962,
// section 2.1).
var emptyRoot, _ = tlog.TreeHash(0, nil)
