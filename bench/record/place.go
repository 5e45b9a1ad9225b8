package record

import (
	"crypto/rand"
	"errors"
	"path/filepath"
	"strings"
)

// Location is where records live, a folder or a server's URL: what --store
// says, else DUTYBENCH_STORE, else a folder in the user's data directory (XDG_DATA_HOME, else
// ~/.local/share).
func Location(flag string, getenv func(string) string) (string, error) {
	if flag != "" {
		return flag, nil
	}
	if s := getenv("DUTYBENCH_STORE"); s != "" {
		return s, nil
	}
	// A relative XDG_DATA_HOME is to be ignored (XDG Base Directory
	// Specification, from memory).
	if s := getenv("XDG_DATA_HOME"); filepath.IsAbs(s) {
		return filepath.Join(s, "dutybench"), nil
	}
	if s := getenv("HOME"); filepath.IsAbs(s) {
		return filepath.Join(s, ".local", "share", "dutybench"), nil
	}
	return "", errors.New("record: there is no home folder to keep records in; give a folder with --store DIR or DUTYBENCH_STORE")
}

const (
	keyLength = 10
	// keyLetters leaves out those that look like others.
	keyLetters = "0123456789abcdefghjkmnpqrstvwxyz"
)

// IsKey says whether a word can be the key word of a bench.
func IsKey(s string) bool {
	return len(s) == keyLength && strings.Trim(s, keyLetters) == ""
}

// NewKey is a key word for a bench that has none yet.
func NewKey() string {
	var b [keyLength]byte
	_, _ = rand.Read(b[:]) // never fails (crypto/rand)
	for i := range b {
		b[i] = keyLetters[int(b[i])%len(keyLetters)]
	}
	return string(b[:])
}
