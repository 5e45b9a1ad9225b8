package store

import (
	"bytes"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/record/container"
)

// A blob gives no more bytes than it says, whatever is packed in it.
func TestUnpackIsBounded(t *testing.T) {
	rows, err := container.Encode(samples(0, 5000))
	require.NoError(t, err)
	much := bytes.Repeat([]byte("x"), 1<<20)
	packed := pack(much)
	for name, b := range map[string]blob{
		"plain":  {codec: plain, data: much, bytes: 10},
		"zstd":   {codec: zstdded, data: packed.data, bytes: 10},
		"blocks": {codec: inBlocks, data: rows, bytes: 10},
		"none":   {codec: zstdded, data: packed.data},
	} {
		var out bytes.Buffer
		err := b.unpack(&out)
		assert.Error(t, err, name)
		assert.Regexp(t, "more bytes than the table of blobs says|more rows than 10 bytes of CSV", err.Error(), name)
		assert.LessOrEqual(t, out.Len(), b.bytes, name)
		_, err = b.original()
		assert.Error(t, err, name)
	}
	data, err := packed.original()
	require.NoError(t, err)
	assert.Equal(t, much, data)
}
