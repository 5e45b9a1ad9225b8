package ledger

import (
	"bytes"
	"encoding/base64"
	"encoding/binary"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"
)

// maxHead bounds a head's text in bytes, countersignatures included.
const maxHead = 1 << 16

// Head says how long a log is and what it holds.
type Head struct {
	Bench string
	Size  int64 // records
	Root  Hash
	// Signed is the text with its signatures; nil of a head that was only
	// printed.
	Signed []byte
	// By names the keys whose signatures were checked, the bench's first.
	By []string
	// Unchecked names the signatures by keys that were not given.
	Unchecked []string
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
	given := map[string]bool{}
	for _, k := range keys {
		v, err := verifier(k)
		if err != nil {
			return Head{}, err
		}
		// The same key twice is one. Two keys of one name and one key hash,
		// which has 32 bits only, are an attack, and Open refuses them.
		if k = strings.TrimSpace(k); !given[k] {
			given[k] = true
			known = append(known, v)
		}
	}
	if err := oneForm(signed); err != nil {
		return Head{}, err
	}
	n, err := note.Open(signed, note.VerifierList(known...))
	if err != nil {
		if none := (*note.UnverifiedNoteError)(nil); errors.As(err, &none) {
			return Head{}, fmt.Errorf("ledger: the head is signed by none of the keys given; it is signed by %s: get that bench's public key, or the right head", signers(none.Note.UnverifiedSigs))
		}
		return Head{}, fmt.Errorf("ledger: the head's signature does not hold, so it was changed or is no head: %w", err)
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
	for _, s := range n.UnverifiedSigs {
		h.Unchecked = append(h.Unchecked, s.Name)
	}
	return h, nil
}

func signers(list []note.Signature) string {
	var names []string
	for _, s := range list {
		names = append(names, s.Name)
	}
	return strings.Join(names, ", ")
}

// oneForm refuses what the signatures leave open: another spelling of the
// same base64, a signature twice, names that could steer a terminal.
func oneForm(signed []byte) error {
	bad := errors.New("ledger: the head is not written the way a bench writes it; take it from its file unchanged")
	i := bytes.LastIndex(signed, []byte("\n\n"))
	if i < 0 {
		return errors.New("ledger: this is no signed head; a head has the log's name, its size and its root hash, a blank line, and a line for each signature")
	}
	seen := map[string]bool{}
	for line := range strings.Lines(string(signed[i+2:])) {
		words, ok := strings.CutPrefix(line, "— ")
		name, rest, ok2 := strings.Cut(words, " ")
		sig, ok3 := strings.CutSuffix(rest, "\n")
		raw, err := base64.StdEncoding.Strict().DecodeString(sig)
		if !ok || !ok2 || !ok3 || !isName(name) || err != nil || len(raw) < 5 {
			return bad
		}
		who := fmt.Sprintf("%s+%08x", name, binary.BigEndian.Uint32(raw))
		if seen[who] {
			return bad
		}
		seen[who] = true
	}
	return nil
}

// parseText reads what is signed.
func parseText(s string) (Head, error) {
	bad := errors.New("ledger: the text is no head of a log; a head has three lines: the log's name, its size, its root hash")
	lines := strings.Split(s, "\n")
	if len(lines) != 4 || lines[3] != "" {
		return Head{}, bad
	}
	bench, ok := strings.CutPrefix(lines[0], originPrefix)
	size, err := strconv.ParseInt(lines[1], 10, 64)
	root, err2 := ParseHash(lines[2])
	if !ok || !isName(bench) || err != nil || err2 != nil || size < 0 || size > MaxSize || text(bench, size, root) != s {
		return Head{}, bad
	}
	return Head{Bench: bench, Size: size, Root: root}, nil
}

// ParseLine reads a head as String writes it, as on a printed report. It bears
// no signature: it proves what the log held for whoever had it from a page
// that they trust, and nothing for others.
func ParseLine(line string) (Head, error) {
	words := strings.Fields(line)
	if len(words) != 3 {
		return Head{}, errors.New("ledger: the line is no head as reports print it: the log's name, its size, its root hash, with blanks between")
	}
	h, err := parseText(strings.Join(words, "\n") + "\n")
	if err != nil {
		return Head{}, fmt.Errorf("ledger: %.120q is no head as reports print it; compare it with the page letter by letter", line)
	}
	return h, nil
}

// Unverified reads a head, signed or on a line, without asking who signed it.
// It tells which key is needed; what it says counts when ParseHead has taken
// Signed, or when somebody vouches for the line.
func Unverified(head []byte) (Head, error) {
	i := bytes.LastIndex(head, []byte("\n\n"))
	switch {
	case len(head) > maxHead:
		return Head{}, fmt.Errorf("ledger: a head larger than %d bytes is none", maxHead)
	case i < 0:
		return ParseLine(string(head))
	}
	if err := oneForm(head); err != nil {
		return Head{}, err
	}
	h, err := parseText(string(head[:i+1]))
	if err != nil {
		return Head{}, err
	}
	h.Signed = slices.Clone(head)
	return h, nil
}

// ParseHash reads a hash as String of it writes: base64, 44 characters.
func ParseHash(s string) (Hash, error) {
	data, err := base64.StdEncoding.Strict().DecodeString(s)
	if err != nil || len(data) != tlog.HashSize || Hash(data).String() != s {
		return Hash{}, fmt.Errorf("ledger: %q is no hash", s)
	}
	return Hash(data), nil
}
