package ledger

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"strings"

	"golang.org/x/mod/sumdb/note"
)

const originPrefix = "dutybench/"

// Origin is the name of a bench's log and of the key that signs it.
func Origin(bench string) string { return originPrefix + bench }

// KeyName is whose public key this is. Blanks around it do not matter; all
// else is read in the one form that Public writes.
func KeyName(key string) (string, error) {
	v, err := verifier(key)
	if err != nil {
		return "", err
	}
	return v.Name(), nil
}

// KeyBench is the bench whose log a public key signs; false where it is the
// key of somebody who countersigns.
func KeyBench(key string) (bench string, ok bool) {
	name, err := KeyName(key)
	if err != nil {
		return "", false
	}
	return strings.CutPrefix(name, originPrefix)
}

// Fingerprint is a public key in 32 digits that two people can compare over
// the telephone: the first 16 bytes of the SHA-256 of its line, in hex. 128
// bits are chosen: to find a second key for a given fingerprint is out of
// reach.
func Fingerprint(key string) string {
	sum := sha256.Sum256([]byte(strings.TrimSpace(key)))
	digits := hex.EncodeToString(sum[:16])
	var b strings.Builder
	for i := 0; i < len(digits); i += 4 {
		if i > 0 {
			b.WriteByte(' ')
		}
		b.WriteString(digits[i : i+4])
	}
	return b.String()
}

// verifier reads a public key.
func verifier(key string) (note.Verifier, error) {
	key = strings.TrimSpace(key)
	if strings.HasPrefix(key, "PRIVATE+") {
		return nil, errors.New("ledger: this is a private key, which nobody but its owner should have; give the public one, whose file ends in .pub")
	}
	const most = 256 // bytes; a name of 64 and 54 around it are 118
	v, err := note.NewVerifier(key)
	if err != nil || len(key) > most || !isName(v.Name()) {
		return nil, fmt.Errorf("ledger: %.80q is no public key as dutybench prints it: a name, +, eight digits, +, and 44 characters", key)
	}
	// The digits may be written large, too; one form is enough.
	name, rest, _ := strings.Cut(key, "+")
	if digits, _, _ := strings.Cut(rest, "+"); name != v.Name() || digits != fmt.Sprintf("%08x", v.KeyHash()) {
		return nil, fmt.Errorf("ledger: %.80q is not written as dutybench prints a public key", key)
	}
	return v, nil
}

// isName says whether a key may have this name: letters, digits and ._-/@,
// 64 at most. A name is shown on terminals and pages.
func isName(s string) bool {
	for _, r := range s {
		if !(r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || strings.ContainsRune("._-/@", r)) {
			return false
		}
	}
	return s != "" && len(s) <= 64
}
