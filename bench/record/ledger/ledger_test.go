package ledger

import (
	"fmt"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/mod/sumdb/tlog"
)

// memory is a log's stored hashes.
type memory []Hash

func (m memory) read(indexes []int64) ([]Hash, error) {
	out := make([]Hash, len(indexes))
	for i, x := range indexes {
		if x < 0 || x >= int64(len(m)) {
			return nil, fmt.Errorf("no hash %d", x)
		}
		out[i] = m[x]
	}
	return out, nil
}

func grow(t *testing.T, n int) (memory, [][]byte) {
	var m memory
	var bodies [][]byte
	for i := range n {
		b := fmt.Appendf(nil, "record %d", i+1)
		h, err := Append(int64(i), b, tlog.HashReaderFunc(m.read))
		require.NoError(t, err)
		m, bodies = append(m, h...), append(bodies, b)
	}
	return m, bodies
}

func TestAHeadVouchesForItsRecords(t *testing.T) {
	m, bodies := grow(t, 13)
	r := tlog.HashReaderFunc(m.read)
	key, err := NewKey(Origin("k3v7q2m9xw"))
	require.NoError(t, err)
	root, err := Root(13, r)
	require.NoError(t, err)
	signed, err := key.Sign("k3v7q2m9xw", 13, root)
	require.NoError(t, err)
	h, err := ParseHead(signed.Signed, key.Public())
	require.NoError(t, err)
	assert.Equal(t, signed, h)
	for i, b := range bodies {
		p, err := Inclusion(13, i+1, r)
		require.NoError(t, err)
		assert.NoError(t, CheckInclusion(h, i+1, b, p))
		assert.Error(t, CheckInclusion(h, i+1, append([]byte("x"), b...), p))
	}
	old, err := Root(5, r)
	require.NoError(t, err)
	p, err := Extension(5, 13, r)
	require.NoError(t, err)
	assert.NoError(t, CheckExtension(h, Head{Bench: h.Bench, Size: 5, Root: old}, p))
	assert.Error(t, CheckExtension(h, Head{Bench: h.Bench, Size: 5, Root: root}, p))
}

func TestKeyFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "bench.key")
	key, err := NewKey(Origin("k3v7q2m9xw"))
	require.NoError(t, err)
	require.NoError(t, key.Save(path))
	again, err := LoadKey(path)
	require.NoError(t, err)
	assert.Equal(t, key.Public(), again.Public())
	assert.Equal(t, key.Name(), again.Name())
}
