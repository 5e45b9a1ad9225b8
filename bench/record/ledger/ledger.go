// Package ledger makes the records of one bench a transparency log: an
// append-only hash tree (RFC 6962, section 2.1) with signed heads.
//
// A leaf is a record's record.json, byte for byte. A head is text as the open
// specifications C2SP tlog-checkpoint and C2SP signed-note lay it down: the
// log's origin, its size, its root hash, a blank line, and one line for each
// signature (Ed25519). The origin is "dutybench/" and the bench's key word,
// and the bench signs under that name. Others may sign the same head: that is
// a countersignature.
//
// Whoever holds the bench's private key can sign a second, different log. A
// head that was countersigned, or only kept, elsewhere shows it: the second
// log does not extend that head.
package ledger

import (
	"encoding/base64"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"
)

// Hash is a node of the tree, SHA-256.
type Hash = tlog.Hash

// HashReader gives stored hashes by their index in the order of tlog.
type HashReader = tlog.HashReader

const originPrefix = "dutybench/"

// maxHead bounds a head's text in bytes, countersignatures included.
const maxHead = 1 << 16

// Origin is the name of a bench's log and of the key that signs it.
func Origin(bench string) string { return originPrefix + bench }

// Head says how long a log is and what it holds.
type Head struct {
	Bench string
	Size  int64 // records
	Root  Hash
	// Signed is the text with its signatures.
	Signed []byte
	// By names the keys whose signatures were checked, the bench's first.
	By []string
}

// String is the head on one line, short enough for a page: bench, size and
// root.
func (h Head) String() string {
	return fmt.Sprintf("%s %d %s", Origin(h.Bench), h.Size, h.Root)
}

// text is what is signed.
func text(bench string, size int64, root Hash) string {
	return fmt.Sprintf("%s\n%d\n%s\n", Origin(bench), size, root)
}

// ParseHead reads a signed head. Of the verifier keys, the first is the
// bench's and must have signed; of the others, those that signed are named in
// By. A signature by a known key that does not hold is an error, as is
// any text that Sign does not write.
func ParseHead(signed []byte, keys ...string) (Head, error) {
	if len(signed) > maxHead {
		return Head{}, fmt.Errorf("ledger: a head larger than %d bytes is none", maxHead)
	}
	if len(keys) == 0 {
		return Head{}, errors.New("ledger: a head is worth nothing without the bench's public key; give it too")
	}
	var known []note.Verifier
	for _, k := range keys {
		v, err := note.NewVerifier(strings.TrimSpace(k))
		if err != nil {
			return Head{}, fmt.Errorf("ledger: %q is no public key as dutybench prints it: %w", k, err)
		}
		known = append(known, v)
	}
	n, err := note.Open(signed, note.VerifierList(known...))
	if err != nil {
		return Head{}, fmt.Errorf("ledger: the head's signature does not hold: %w", err)
	}
	h, err := parseText(n.Text)
	if err != nil {
		return Head{}, err
	}
	h.Signed = slices.Clone(signed)
	for i, v := range known {
		if slices.ContainsFunc(n.Sigs, func(s note.Signature) bool { return s.Name == v.Name() && s.Hash == v.KeyHash() }) {
			h.By = append(h.By, v.Name())
		} else if i == 0 {
			return Head{}, errors.New("ledger: the head is not signed by the bench's own key")
		}
	}
	if h.By[0] != Origin(h.Bench) {
		return Head{}, fmt.Errorf("ledger: the head of %s is signed by %s, another bench", Origin(h.Bench), h.By[0])
	}
	return h, nil
}

func parseText(s string) (Head, error) {
	bad := errors.New("ledger: the text is no head of a log; a head has three lines: the log's name, its size, its root hash")
	lines := strings.Split(s, "\n")
	if len(lines) != 4 || lines[3] != "" {
		return Head{}, bad
	}
	bench, ok := strings.CutPrefix(lines[0], originPrefix)
	size, err := strconv.ParseInt(lines[1], 10, 64)
	root, err2 := tlog.ParseHash(lines[2])
	if !ok || bench == "" || err != nil || err2 != nil || size < 0 || text(bench, size, root) != s {
		return Head{}, bad
	}
	return Head{Bench: bench, Size: size, Root: root}, nil
}

// Leaf is the hash of a record's body as a leaf of the tree.
func Leaf(body []byte) Hash { return tlog.RecordHash(body) }

// Append gives the hashes to store, in their order, when a body becomes the
// leaf number size (from 0) of a log whose hashes r gives.
func Append(size int64, body []byte, r HashReader) ([]Hash, error) {
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
	p, err := tlog.ProveRecord(size, int64(seq)-1, r)
	if err != nil {
		return nil, fmt.Errorf("ledger: record %06d cannot be proved among %d: %w", seq, size, err)
	}
	return Proof(p), nil
}

// CheckInclusion is nil where the body is the record of this number in the
// head's log.
func CheckInclusion(h Head, seq int, body []byte, p Proof) error {
	if seq < 1 || int64(seq) > h.Size {
		return fmt.Errorf("ledger: record %06d is not among the head's %d", seq, h.Size)
	}
	if err := tlog.CheckRecord(tlog.RecordProof(p), h.Size, h.Root, int64(seq)-1, Leaf(body)); err != nil {
		return fmt.Errorf("ledger: record %06d is not the one in the log of head %s: %w", seq, h, err)
	}
	return nil
}

// Extension proves that the first newer records begin with the first older.
// Of an empty older log there is nothing to prove.
func Extension(older, newer int64, r HashReader) (Proof, error) {
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
	case newer.Size < older.Size:
		return fmt.Errorf("ledger: the log holds %d records, but held %d when the older head was signed: its tail was cut", newer.Size, older.Size)
	case older.Size == 0 || newer.Size == older.Size && newer.Root == older.Root:
		return nil
	}
	if err := tlog.CheckTree(tlog.TreeProof(p), newer.Size, newer.Root, older.Size, older.Root); err != nil {
		return fmt.Errorf("ledger: the log does not extend the older head %s: records were changed, removed or put in between: %w", older, err)
	}
	return nil
}

// ParseHash reads a hash as String of it writes: base64, 44 characters.
func ParseHash(s string) (Hash, error) {
	data, err := base64.StdEncoding.Strict().DecodeString(s)
	if err != nil || len(data) != tlog.HashSize {
		return Hash{}, fmt.Errorf("ledger: %q is no hash", s)
	}
	return Hash(data), nil
}
