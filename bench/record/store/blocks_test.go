package store

import (
	"bytes"
	"io"
	"math"
	"math/rand/v2"
	"runtime"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/record/container"
	"dutybench/signal/trace"
)

// A large trace comes out piece by piece as it comes out whole.
func TestUnpackBlocks(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 9))
	for _, rows := range []int{1, 1 << 15, 1<<15 + 1, 100_001} {
		tr := samples(0, rows)
		tr.Meta = append(tr.Meta, trace.Entry{Value: "free words, with a comma"}, trace.Entry{Key: "empty"})
		odd := trace.Column{Name: "supply_V", Values: make([]float64, rows)}
		words := trace.Column{Name: "a \"name\", quoted", Text: make([]string, rows)}
		for i := range rows {
			if odd.Values[i] = rng.NormFloat64(); i%3 == 0 {
				odd.Values[i] = math.NaN()
			}
			words.Text[i] = []string{"", "x", "a, \"b\""}[rng.IntN(3)]
		}
		tr.Columns = append(tr.Columns, odd, words)
		data, err := container.Encode(tr)
		require.NoError(t, err)
		var whole, pieces bytes.Buffer
		require.NoError(t, trace.Write(&whole, tr))
		require.NoError(t, unpackBlocks(&pieces, data, whole.Len()), rows)
		require.True(t, bytes.Equal(whole.Bytes(), pieces.Bytes()), rows)
		assert.ErrorContains(t, unpackBlocks(io.Discard, data, 3*rows), "more rows than")
	}
}

// watchful is how much memory is in use at the most while it is written to.
type watchful struct{ n, most uint64 }

func (w *watchful) Write(p []byte) (int, error) {
	if w.n++; w.n%64 == 1 {
		var m runtime.MemStats
		runtime.GC()
		runtime.ReadMemStats(&m)
		w.most = max(w.most, m.HeapAlloc)
	}
	return len(p), nil
}

// A few bytes that stand for millions of rows fill no memory, whatever the
// table says of their size.
func TestUnpackHostile(t *testing.T) {
	const rows = 2_000_000
	data, err := container.Encode(samples(0, rows))
	require.NoError(t, err)
	var before runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	var w watchful
	b := blob{codec: inBlocks, bytes: maxPart, data: data}
	require.NoError(t, b.unpack(&w))
	assert.Less(t, w.most-before.HeapAlloc, uint64(16<<20), "all rows take %d MB", rows*3*8>>20)
}
