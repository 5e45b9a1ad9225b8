package ledger

import (
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/mod/sumdb/tlog"
)

func unhex(t testing.TB, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(s)
	require.NoError(t, err)
	return b
}

func hexed(p []Hash) []string {
	out := []string{}
	for _, h := range p {
		out = append(out, hex.EncodeToString(h[:]))
	}
	return out
}

// The reference trees of Certificate Transparency: the published test data of
// its log of RFC 6962, eight leaves and the roots of the first 0 to 8.
var (
	referenceLeaves = []string{"", "00", "10", "2021", "3031", "40414243", "5051525354555657", "606162636465666768696a6b6c6d6e6f"}
	referenceRoots  = []string{
		"e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855", // SHA-256 of nothing (RFC 6962, 2.1)
		"6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
		"fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
		"aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
		"d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
		"4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
		"76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
		"ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
		"5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
	}
)

func reference(t *testing.T) (memory, [][]byte) {
	var bodies [][]byte
	for _, s := range referenceLeaves {
		bodies = append(bodies, unhex(t, s))
	}
	return logOf(t, bodies), bodies
}

func TestReferenceTrees(t *testing.T) {
	m, _ := reference(t)
	for n, want := range referenceRoots {
		root, err := Root(int64(n), m)
		require.NoError(t, err)
		assert.Equal(t, want, hex.EncodeToString(root[:]), "%d leaves", n)
	}
	// The published audit paths and consistency proofs of the same trees.
	for _, c := range []struct {
		seq  int
		size int64
		want []string
	}{
		{1, 1, []string{}},
		{1, 8, []string{"96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7",
			"5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
			"6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4"}},
		{6, 8, []string{"bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b",
			"ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0",
			"d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7"}},
	} {
		p, err := Inclusion(c.size, c.seq, m)
		require.NoError(t, err)
		assert.Equal(t, c.want, hexed(p), "record %d of %d", c.seq, c.size)
	}
	for _, c := range []struct {
		older, newer int64
		want         []string
	}{
		{1, 8, []string{"96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7",
			"5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
			"6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4"}},
		{6, 8, []string{"0ebc5d3437fbe2db158b9f126a1d118e308181031d0a949f8dededebc558ef6a",
			"ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0",
			"d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7"}},
		{2, 5, []string{"5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
			"bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b"}},
	} {
		p, err := Extension(c.older, c.newer, m)
		require.NoError(t, err)
		assert.Equal(t, c.want, hexed(p), "%d after %d", c.newer, c.older)
	}
}

// mth, path and proof are RFC 6962, sections 2.1, 2.1.1 and 2.1.2, word for
// word: slow, and of nobody's making but the standard's.
func mth(d [][]byte) Hash {
	switch n := len(d); n {
	case 0:
		return sha256.Sum256(nil)
	case 1:
		return sha256.Sum256(append([]byte{0}, d[0]...))
	default:
		k := split(n)
		l, r := mth(d[:k]), mth(d[k:])
		return sha256.Sum256(append(append([]byte{1}, l[:]...), r[:]...))
	}
}

// split is the largest power of two smaller than n.
func split(n int) int {
	k := 1
	for 2*k < n {
		k *= 2
	}
	return k
}

func path(m int, d [][]byte) []Hash {
	n := len(d)
	if n == 1 {
		return nil
	}
	if k := split(n); m < k {
		return append(path(m, d[:k]), mth(d[k:]))
	} else {
		return append(path(m-k, d[k:]), mth(d[:k]))
	}
}

func subproof(m int, d [][]byte, whole bool) []Hash {
	n := len(d)
	if m == n {
		if whole {
			return nil
		}
		return []Hash{mth(d)}
	}
	if k := split(n); m <= k {
		return append(subproof(m, d[:k], whole), mth(d[k:]))
	} else {
		return append(subproof(m-k, d[k:], false), mth(d[:k]))
	}
}

// most is the largest log of the property tests: every shape of a tree of up
// to six levels, and the step to a seventh.
const most = 66

func TestTheTreeIsRFC6962(t *testing.T) {
	m, bodies := grow(t, most)
	for n := range most + 1 {
		root, err := Root(int64(n), m)
		require.NoError(t, err)
		require.Equal(t, mth(bodies[:n]), root, "root of %d", n)
		require.EqualValues(t, len(logOf(t, bodies[:n])), Stored(int64(n)))
		h := Head{Bench: "k3v7q2m9xw", Size: int64(n), Root: root}
		for i := range n {
			p, err := Inclusion(int64(n), i+1, m)
			require.NoError(t, err)
			require.Equal(t, hexed(path(i, bodies[:n])), hexed(p), "record %d of %d", i+1, n)
			require.NoError(t, CheckInclusion(h, i+1, bodies[i], p))
			require.LessOrEqual(t, len(p), 7)
			require.Equal(t, root, climb(t, int64(n), i+1, bodies[i], p), "by the sides")
		}
		for older := 1; older <= n; older++ {
			p, err := Extension(int64(older), int64(n), m)
			require.NoError(t, err)
			require.Equal(t, hexed(subproof(older, bodies[:n], true)), hexed(p), "%d after %d", n, older)
			require.NoError(t, CheckExtension(h, Head{Bench: h.Bench, Size: int64(older), Root: mth(bodies[:older])}, p))
		}
	}
}

// climb goes from a leaf to the root by the sides that are told.
func climb(t *testing.T, size int64, seq int, body []byte, p Proof) Hash {
	left, err := Sides(size, seq)
	require.NoError(t, err)
	require.Len(t, left, len(p))
	h := Leaf(body)
	for i, other := range p {
		if left[i] {
			h = Node(other, h)
		} else {
			h = Node(h, other)
		}
	}
	return h
}

func logOf(t testing.TB, bodies [][]byte) memory {
	var m memory
	for i, b := range bodies {
		h, err := Append(int64(i), b, m)
		require.NoError(t, err)
		m = append(m, h...)
	}
	return m
}

// TestSignatures holds the signer to RFC 8032, section 7.1, tests 1 and 3.
func TestSignatures(t *testing.T) {
	for _, c := range []struct{ seed, public, message, signature string }{
		{"9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60", "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a", "",
			"e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b"},
		{"c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7", "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025", "af82",
			"6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a"},
	} {
		// The key hash is that of C2SP signed-note: the first four bytes of
		// SHA-256 over name, line feed, algorithm 1, public key.
		const name = "dutybench/k3v7q2m9xw"
		sum := sha256.Sum256(append([]byte(name+"\n\x01"), unhex(t, c.public)...))
		file := filepath.Join(t.TempDir(), "bench.key")
		private := fmt.Sprintf("PRIVATE+KEY+%s+%x+%s\n", name, sum[:4], base64.StdEncoding.EncodeToString(append([]byte{1}, unhex(t, c.seed)...)))
		require.NoError(t, os.WriteFile(file, []byte(private), 0o600))
		k, err := LoadKey(file)
		require.NoError(t, err)
		assert.Equal(t, fmt.Sprintf("%s+%x+%s", name, sum[:4], base64.StdEncoding.EncodeToString(append([]byte{1}, unhex(t, c.public)...))), k.Public())
		sig, err := k.signer.Sign(unhex(t, c.message))
		require.NoError(t, err)
		assert.Equal(t, c.signature, hex.EncodeToString(sig))
		v, err := verifier(k.Public())
		require.NoError(t, err)
		assert.True(t, v.Verify(unhex(t, c.message), sig))
	}
}

var _ tlog.HashReader = memory(nil)
