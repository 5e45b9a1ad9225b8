package bundle

import (
	"bytes"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/record"
)

// What comes out is what the store gave, whole.
func TestGet(t *testing.T) {
	s := newShelf(t, 12)
	data := written(t, s, ids(2, 3, 5, 6, 12), Options{})
	b := opened(t, data)
	c, err := b.Verify(Expectations{})
	require.NoError(t, err)
	require.Len(t, c.Records, 5)
	for i := range c.Records {
		e := &c.Records[i]
		got, err := b.Get(e)
		require.NoError(t, err)
		want, err := s.Get(e.ID)
		require.NoError(t, err)
		assert.Equal(t, want, got)
	}
	_, err = b.Get(&record.Entry{ID: record.ID{Bench: bench, Seq: 4}})
	assert.ErrorContains(t, err, "not in this bundle")

	// A file that was changed after it was verified.
	for _, part := range []string{bodyFile, resultFile} {
		f := b.folders[3].files[part] // record 6 has all
		at, err := f.DataOffset()
		require.NoError(t, err)
		for _, crc := range []bool{false, true} {
			changed := bytes.Clone(data)
			changed[at] ^= 1
			if crc { // and what the archive says of it
				was, err := b.bytes(f)
				require.NoError(t, err)
				was[0] ^= 1
				list := apart(t, data)
				for i := range list {
					if list[i].name == f.Name {
						list[i].data = was
					}
				}
				changed = joined(t, list)
			}
			_, err = opened(t, changed).Get(&c.Records[3])
			assert.Error(t, err, "%s, %v", part, crc)
		}
	}
}
