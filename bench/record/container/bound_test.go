package container

import (
	"bytes"
	"runtime"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/signal/trace"
)

// A few bytes of a container that stand for millions of rows take no memory
// where the CSV is known to be smaller; a trace's own CSV is always enough.
func TestDecodeOfIsBounded(t *testing.T) {
	for _, rows := range []int{1, 7, 3 * blockRows} {
		tr := of(rows)
		for i := range tr.Columns {
			for j := range tr.Columns[i].Values {
				tr.Columns[i].Values[j] = 0 // the shortest cells
			}
		}
		data := round(t, tr)
		var csv bytes.Buffer
		require.NoError(t, trace.Write(&csv, tr))
		_, err := DecodeOf(data, "x", csv.Len())
		assert.NoError(t, err, rows)
	}
	tr := of(1_000_000)
	data, err := Encode(tr)
	require.NoError(t, err)
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	_, err = DecodeOf(data, "x", 100_000)
	runtime.ReadMemStats(&after)
	assert.ErrorContains(t, err, "more rows than 100000 bytes of CSV can hold")
	assert.Less(t, after.TotalAlloc-before.TotalAlloc, uint64(4<<20))
}
