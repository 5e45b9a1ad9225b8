package ledger

import (
	"bytes"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func headOf(t testing.TB, key Key, n int) Head {
	m, _ := grow(t, n)
	root, err := Root(int64(n), m)
	require.NoError(t, err)
	h, err := key.Sign(bench, int64(n), root)
	require.NoError(t, err)
	return h
}

// TestEveryByteOfAHeadCounts turns each bit of a head with two signatures, and
// cuts, doubles and adds.
func TestEveryByteOfAHeadCounts(t *testing.T) {
	key := benchKey(t)
	witness, err := NewKey("warranty.example/desk")
	require.NoError(t, err)
	h, err := witness.Countersign(headOf(t, key, 7), key.Public())
	require.NoError(t, err)
	whole := func(signed []byte) bool {
		got, err := ParseHead(signed, key.Public(), witness.Public())
		return err == nil && len(got.By) == 2
	}
	require.True(t, whole(h.Signed))
	for i := range h.Signed {
		for bit := range 8 {
			b := bytes.Clone(h.Signed)
			b[i] ^= 1 << bit
			require.False(t, whole(b), "byte %d, bit %d", i, bit)
		}
		require.False(t, whole(h.Signed[:i]), "cut at %d", i)
		require.False(t, whole(append(bytes.Clone(h.Signed[:i]), h.Signed[i+1:]...)), "without byte %d", i)
	}
	lines := strings.SplitAfter(string(h.Signed), "\n")
	for _, add := range []string{"\n", " ", lines[4], lines[5], "— x AAAAAAA=\n— x AAAAAAA=\n", "— \x1b[2J AAAAAAA=\n", "— x AAAAAAB=\n"} {
		require.False(t, whole(append(bytes.Clone(h.Signed), add...)), "%q added", add)
	}
}

func TestCountersignatures(t *testing.T) {
	key := benchKey(t)
	one, err := NewKey("warranty-desk")
	require.NoError(t, err)
	two, err := NewKey("insurer@example.org")
	require.NoError(t, err)
	h := headOf(t, key, 5)
	h1, err := one.Countersign(h, key.Public())
	require.NoError(t, err)
	assert.Equal(t, []string{"dutybench/k3v7q2m9xw", "warranty-desk"}, h1.By)
	h2, err := two.Countersign(h1, key.Public())
	require.NoError(t, err)
	again, err := two.Countersign(h2, key.Public())
	require.NoError(t, err)
	assert.Equal(t, h2.Signed, again.Signed, "twice is once")

	got, err := ParseHead(h2.Signed, key.Public(), one.Public(), two.Public(), one.Public(), " "+key.Public()+"\n")
	require.NoError(t, err)
	assert.Equal(t, []string{"dutybench/k3v7q2m9xw", "warranty-desk", "insurer@example.org"}, got.By)
	assert.Empty(t, got.Unchecked)
	got, err = ParseHead(h2.Signed, key.Public(), two.Public())
	require.NoError(t, err)
	assert.Equal(t, []string{"dutybench/k3v7q2m9xw", "insurer@example.org"}, got.By)
	assert.Equal(t, []string{"warranty-desk"}, got.Unchecked)

	// A key of the same name that is another's is not taken for it.
	impostor, err := NewKey("warranty-desk")
	require.NoError(t, err)
	got, err = ParseHead(h1.Signed, key.Public(), impostor.Public())
	require.NoError(t, err)
	assert.Equal(t, []string{"dutybench/k3v7q2m9xw"}, got.By)

	_, err = ParseHead(h1.Signed, one.Public(), key.Public())
	assert.ErrorContains(t, err, "another bench", "the bench's key comes first")
	_, err = ParseHead(h.Signed, one.Public())
	assert.ErrorContains(t, err, "none of the keys given")
	_, err = ParseHead(h.Signed)
	assert.ErrorContains(t, err, "public key")
	stranger := benchKey(t)
	_, err = ParseHead(h1.Signed, stranger.Public(), one.Public())
	assert.ErrorContains(t, err, "own key", "another's signature does not stand for the bench's")
	_, err = one.Countersign(h, stranger.Public())
	assert.ErrorContains(t, err, "not countersigned")
	_, err = key.Countersign(h, key.Public())
	assert.ErrorContains(t, err, "own log")
	_, err = Key{}.Countersign(h, key.Public())
	assert.Error(t, err)
	_, err = one.Sign(bench, 1, Hash{})
	assert.ErrorContains(t, err, "without its key")
	_, err = Key{}.Sign(bench, 1, Hash{})
	assert.Error(t, err)
	// Another bench may countersign; it stays the second.
	other, err := NewKey(Origin("0123456789"))
	require.NoError(t, err)
	got, err = other.Countersign(h, key.Public())
	require.NoError(t, err)
	assert.Equal(t, []string{"dutybench/k3v7q2m9xw", "dutybench/0123456789"}, got.By)
}

func TestTheLineOnAReport(t *testing.T) {
	key := benchKey(t)
	h := headOf(t, key, 5)
	got, err := ParseLine("  " + h.String() + "\n")
	require.NoError(t, err)
	assert.Equal(t, Head{Bench: bench, Size: 5, Root: h.Root}, got)
	words := strings.Fields(h.String())
	for _, s := range []string{"", words[0], words[0] + " 5", h.String() + " x", strings.Replace(h.String(), " 5 ", " 05 ", 1),
		strings.Replace(h.String(), " 5 ", " -5 ", 1), "otherbench/x 5 " + words[2], words[0] + " 5 " + words[2][1:], words[0] + " 9999999999999 " + words[2],
		"dutybench/ 5 " + words[2], "dutybench/\x1b[2J 5 " + words[2]} {
		_, err := ParseLine(s)
		assert.Error(t, err, "%q", s)
	}
	for _, s := range []string{h.String(), string(h.Signed)} {
		b, err := Unverified([]byte(s))
		require.NoError(t, err)
		assert.Equal(t, h.String(), b.String())
	}
	for _, s := range []string{"", "\n", "x", "\n\n", "dutybench/a\x00b", strings.Repeat("d", 1<<20), string(h.Signed) + "\n", string(h.Signed) + "x"} {
		_, err := Unverified([]byte(s))
		assert.Error(t, err)
	}
}

// FuzzParseHead looks for a head that is taken and is not the one that was
// signed, and for a panic.
func FuzzParseHead(f *testing.F) {
	key := benchKey(f)
	witness, err := NewKey("desk")
	require.NoError(f, err)
	h := headOf(f, key, 7)
	h2, err := witness.Countersign(h, key.Public())
	require.NoError(f, err)
	f.Add(h.Signed)
	f.Add(h2.Signed)
	f.Add([]byte(h.String()))
	f.Add([]byte("dutybench/k3v7q2m9xw\n9223372036854775807\n47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU=\n\n— x AAAAAAA=\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		if got, err := ParseHead(data, key.Public(), witness.Public()); err == nil {
			require.Equal(t, h.String(), got.String())
			require.True(t, bytes.HasPrefix(data, h.Signed))
		}
		if got, err := ParseLine(string(data)); err == nil {
			require.Equal(t, strings.Join(strings.Fields(string(data)), " "), got.String())
		}
		if got, err := Unverified(data); err == nil {
			require.True(t, isName(got.Bench))
			require.LessOrEqual(t, got.Size, int64(MaxSize))
		}
		if name, err := KeyName(string(data)); err == nil {
			require.True(t, isName(name))
		}
	})
}
