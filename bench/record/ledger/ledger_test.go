package ledger

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// memory is a log's stored hashes.
type memory []Hash

func (m memory) ReadHashes(indexes []int64) ([]Hash, error) {
	out := make([]Hash, len(indexes))
	for i, x := range indexes {
		if x < 0 || x >= int64(len(m)) {
			return nil, fmt.Errorf("no hash %d", x)
		}
		out[i] = m[x]
	}
	return out, nil
}

func grow(t testing.TB, n int) (memory, [][]byte) {
	var bodies [][]byte
	for i := range n {
		bodies = append(bodies, fmt.Appendf(nil, "record %d", i+1))
	}
	return logOf(t, bodies), bodies
}

const bench = "k3v7q2m9xw"

func benchKey(t testing.TB) Key {
	k, err := NewKey(Origin(bench))
	require.NoError(t, err)
	return k
}

func TestAHeadVouchesForItsRecords(t *testing.T) {
	m, bodies := grow(t, 13)
	key := benchKey(t)
	root, err := Root(13, m)
	require.NoError(t, err)
	signed, err := key.Sign(bench, 13, root)
	require.NoError(t, err)
	h, err := ParseHead(signed.Signed, key.Public())
	require.NoError(t, err)
	assert.Equal(t, signed, h)
	for i, b := range bodies {
		p, err := Inclusion(13, i+1, m)
		require.NoError(t, err)
		assert.NoError(t, CheckInclusion(h, i+1, b, p))
		assert.Error(t, CheckInclusion(h, i+1, append([]byte("x"), b...), p))
	}
}

// TestAnyOtherTreeFails swaps what a proof is about: another record, number,
// size or older log, and every single hash, changed, lost or added.
func TestAnyOtherTreeFails(t *testing.T) {
	const n = 41 // chosen: five subtrees, so that proofs have several lengths
	m, bodies := grow(t, n)
	head := func(size int64) Head {
		root, err := Root(size, m)
		require.NoError(t, err)
		return Head{Bench: bench, Size: size, Root: root}
	}
	for i := range n {
		p, err := Inclusion(n, i+1, m)
		require.NoError(t, err)
		for j := range n {
			assert.Equal(t, i == j, CheckInclusion(head(n), j+1, bodies[i], p) == nil)
			assert.Equal(t, i == j, CheckInclusion(head(n), i+1, bodies[j], p) == nil)
		}
		changes(p, func(q Proof) { assert.Error(t, CheckInclusion(head(n), i+1, bodies[i], q)) })
		assert.Error(t, CheckInclusion(Head{Bench: bench, Size: n, Root: head(n - 1).Root}, i+1, bodies[i], p))
	}
	for older := int64(1); older < n; older++ {
		p, err := Extension(older, n, m)
		require.NoError(t, err)
		require.NoError(t, CheckExtension(head(n), head(older), p))
		changes(p, func(q Proof) { assert.Error(t, CheckExtension(head(n), head(older), q)) })
		for other := int64(1); other < n; other++ {
			if other == older {
				continue
			}
			wrong := head(older)
			wrong.Root = head(other).Root
			assert.Error(t, CheckExtension(head(n), wrong, p))
			assert.Error(t, CheckExtension(head(other), head(older), p), "%d after %d by the proof of %d", other, older, n)
		}
		assert.ErrorContains(t, CheckExtension(head(older), head(n), p), "tail was cut")
		elsewhere := head(older)
		elsewhere.Bench = "0000000000"
		assert.ErrorContains(t, CheckExtension(head(n), elsewhere, p), "two benches")
	}
	assert.NoError(t, CheckExtension(head(n), head(0), nil))
	assert.NoError(t, CheckExtension(head(n), head(n), nil))
	assert.Error(t, CheckExtension(head(n), head(n), Proof{{}}))
	assert.Error(t, CheckExtension(head(n), Head{Bench: bench}, nil), "the empty log has one root")
	two := head(n)
	two.Root[0] ^= 1
	assert.ErrorContains(t, CheckExtension(head(n), two, nil), "two logs")
}

// changes gives every proof with one bit of a byte turned, one hash lost,
// doubled, or swapped with the next.
func changes(p Proof, try func(Proof)) {
	for i := range p {
		for at := range p[i] {
			q := append(Proof(nil), p...)
			q[i][at] ^= 1 << (at % 8)
			try(q)
		}
		try(append(append(Proof(nil), p[:i]...), p[i+1:]...))
		try(append(append(append(Proof(nil), p[:i]...), p[i]), p[i:]...))
		if i+1 < len(p) {
			q := append(Proof(nil), p...)
			q[i], q[i+1] = q[i+1], q[i]
			try(q)
		}
	}
	try(append(append(Proof(nil), p...), Hash{}))
}

// TestSizes holds that a size from a stranger's head neither hangs nor panics.
func TestSizes(t *testing.T) {
	m, bodies := grow(t, 3)
	for _, size := range []int64{-1, math.MinInt64, MaxSize + 1, 1 << 62, math.MaxInt64} {
		h := Head{Bench: bench, Size: size}
		_, err := Root(size, m)
		assert.Error(t, err)
		_, err = Inclusion(size, 1, m)
		assert.Error(t, err)
		_, err = Extension(1, size, m)
		assert.Error(t, err)
		_, err = Append(size, nil, m)
		assert.Error(t, err)
		_, err = Sides(size, 1)
		assert.Error(t, err)
		assert.Error(t, CheckInclusion(h, 1, bodies[0], nil))
		assert.Error(t, CheckExtension(h, Head{Bench: bench, Size: 1}, nil))
		assert.Error(t, CheckExtension(Head{Bench: bench, Size: 3}, h, nil))
		_, err = parseText(text(bench, size, Hash{}))
		assert.Error(t, err)
	}
	for _, seq := range []int{-1, 0, 4, math.MaxInt} {
		_, err := Inclusion(3, seq, m)
		assert.Error(t, err)
		_, err = Sides(3, seq)
		assert.Error(t, err)
		assert.Error(t, CheckInclusion(Head{Bench: bench, Size: 3}, seq, bodies[0], nil))
	}
	_, err := Extension(4, 3, m)
	assert.Error(t, err)
	_, err = Extension(-1, 3, m)
	assert.Error(t, err)
	// The longest proofs: what a hostile head can ask for is bounded.
	left, err := Sides(MaxSize, 1)
	require.NoError(t, err)
	assert.Len(t, left, 30)
	_, err = Root(5, m)
	assert.Error(t, err, "hashes that are not there")
}
