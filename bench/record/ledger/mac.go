package ledger

import (
	"crypto/ed25519"
	"crypto/hkdf"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"errors"
	"strings"
)

// macInfo sets the key of MAC apart from every other use of the seed. It is
// never changed: what was written under it could not be told any more.
const macInfo = "dutybench: bench's own notes, HMAC-SHA-256, 1"

// MAC vouches for data that only this bench itself reads again, such as a
// test under way: HMAC-SHA-256 (RFC 2104), 32 bytes, under a key that HKDF
// (RFC 5869, SHA-256, no salt) derives from the seed of the private key. what
// says what the data is, so that one thing never passes for another; it and
// each part go in with their length before them. Compare with hmac.Equal. Of
// the zero Key it is nil, which is no MAC.
func (k Key) MAC(what string, data ...[]byte) []byte {
	seed, err := seedOf(k.private)
	if err != nil {
		return nil
	}
	key, err := hkdf.Key(sha256.New, seed, nil, macInfo, sha256.Size)
	if err != nil {
		return nil
	}
	h := hmac.New(sha256.New, key)
	for i := -1; i < len(data); i++ {
		part := []byte(what)
		if i >= 0 {
			part = data[i]
		}
		h.Write(binary.BigEndian.AppendUint64(nil, uint64(len(part))))
		h.Write(part)
	}
	return h.Sum(nil)
}

// seedOf is the seed of a private key, whose text ends in the algorithm's byte
// and the seed (documentation of golang.org/x/mod/sumdb/note).
func seedOf(private string) ([]byte, error) {
	parts := strings.SplitN(private, "+", 5)
	if len(parts) != 5 {
		return nil, errors.New("it is no private key")
	}
	data, err := base64.StdEncoding.DecodeString(parts[4])
	if err != nil || len(data) != 1+ed25519.SeedSize {
		return nil, errors.New("it is no private key")
	}
	return data[1:], nil
}
