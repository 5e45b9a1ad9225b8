package store

import (
	"errors"
	"io/fs"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/record"
)

// Brief gives what Get does but for trace, profile text and files, and finds
// what was changed in the record and its result.
func TestBrief(t *testing.T) {
	s := opened(t, t.TempDir())
	r := sample("A1")
	r.Trace = []byte("t_s,duty_pct,current_A\n0.5,0,0\n1,0,0\n20.25,50,1\n")
	id, err := s.Put(r)
	require.NoError(t, err)
	odd := sample("B2")
	odd.Trace, odd.Result = []byte("no trace at all"), nil
	_, err = s.Put(odd)
	require.NoError(t, err)

	whole, err := s.Get(id)
	require.NoError(t, err)
	brief, covered_s, err := s.Brief(record.ID{Seq: 1})
	require.NoError(t, err)
	assert.InDelta(t, 19.75, covered_s, 1e-9)
	assert.Equal(t, whole.Result, brief.Result)
	whole.Trace, whole.Files, whole.Profile.Text, whole.Result, brief.Result = nil, nil, nil, nil, nil
	assert.Equal(t, whole, brief)

	brief, covered_s, err = s.Brief(record.ID{Seq: 2})
	require.NoError(t, err)
	assert.True(t, math.IsNaN(covered_s))
	assert.Nil(t, brief.Result)

	_, _, err = s.Brief(record.ID{Seq: 3})
	assert.True(t, errors.Is(err, fs.ErrNotExist))
}
