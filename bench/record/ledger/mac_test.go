package ledger

import (
	"crypto/hkdf"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestMAC builds it anew from the standards' own pieces.
func TestMAC(t *testing.T) {
	key := benchKey(t)
	// PRIVATE+KEY+name+hash+base64, and base64 has plus signs of its own.
	text := strings.SplitN(key.private, "+", 5)
	require.Len(t, text, 5)
	data, err := base64.StdEncoding.DecodeString(text[4])
	require.NoError(t, err)
	require.Len(t, data, 33, "the algorithm's byte and the seed")
	seed := data[1:]
	under, err := hkdf.Key(sha256.New, seed, nil, "dutybench: bench's own notes, HMAC-SHA-256, 1", 32)
	require.NoError(t, err)
	h := hmac.New(sha256.New, under)
	h.Write([]byte("\x00\x00\x00\x00\x00\x00\x00\x05draft\x00\x00\x00\x00\x00\x00\x00\x02ab\x00\x00\x00\x00\x00\x00\x00\x00"))
	assert.Equal(t, h.Sum(nil), key.MAC("draft", []byte("ab"), nil))
}

// TestMACTellsApart holds that it changes with the key, the purpose, each part
// and where one part ends; and that a key that was kept gives the same.
func TestMACTellsApart(t *testing.T) {
	key := benchKey(t)
	path := filepath.Join(t.TempDir(), "bench.key")
	require.NoError(t, key.Save(path))
	again, err := LoadKey(path)
	require.NoError(t, err)
	mac := key.MAC("draft", []byte("ab"), []byte("c"))
	assert.Equal(t, mac, again.MAC("draft", []byte("ab"), []byte("c")))
	other, err := NewKey(key.Name())
	require.NoError(t, err)
	for name, m := range map[string][]byte{
		"another key":      other.MAC("draft", []byte("ab"), []byte("c")),
		"another purpose":  key.MAC("chunk", []byte("ab"), []byte("c")),
		"another part":     key.MAC("draft", []byte("ab"), []byte("d")),
		"parts cut anew":   key.MAC("draft", []byte("a"), []byte("bc")),
		"parts in one":     key.MAC("draft", []byte("abc")),
		"an empty part":    key.MAC("draft", []byte("ab"), []byte("c"), nil),
		"purpose to part":  key.MAC("drafta", []byte("b"), []byte("c")),
		"of no key at all": Key{}.MAC("draft", []byte("ab"), []byte("c")),
	} {
		assert.NotEqual(t, mac, m, name)
	}
	assert.Nil(t, Key{}.MAC("draft"))
}
