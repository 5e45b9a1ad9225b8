package container

import (
	"bytes"
	"errors"
	"io"
	"math"
	"math/rand/v2"
	"sort"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/signal/trace"
)

// counter counts the bytes that are read.
type counter struct {
	io.ReaderAt
	n int
}

func (c *counter) ReadAt(b []byte, at int64) (int, error) {
	n, err := c.ReaderAt.ReadAt(b, at)
	c.n += n
	return n, err
}

// rowsOf cuts rows out of a trace, as the CSV of only them would be.
func rowsOf(tr *trace.Trace, from, to int) *trace.Trace {
	out := &trace.Trace{Meta: tr.Meta}
	for _, c := range tr.Columns {
		if c.Text != nil {
			c.Text = c.Text[from:to]
		} else {
			c.Values = c.Values[from:to]
		}
		out.Columns = append(out.Columns, c)
	}
	return out
}

func TestAnyRows(t *testing.T) {
	tr := bench{seconds: 1.5, noise: 3, sparse: true, seed: 5}.noisy()
	state := make([]string, tr.Len())
	for i := range state {
		state[i] = []string{"a", "b", ""}[i/1000%3]
	}
	tr.Columns = append(tr.Columns, trace.Column{Name: "state", Text: state})
	data, err := Encode(tr)
	require.NoError(t, err)
	f, err := Open(bytes.NewReader(data), int64(len(data)))
	require.NoError(t, err)
	assert.Equal(t, tr.Len(), f.Len())
	assert.Equal(t, tr.Meta, f.Meta())
	assert.Equal(t, "state", f.Columns()[8])
	first, last := f.Times()
	assert.Equal(t, []float64{tr.Time()[0], tr.Time()[tr.Len()-1]}, []float64{first, last})

	r := rand.New(rand.NewPCG(6, 6))
	cases := [][2]int{{0, tr.Len()}, {0, 1}, {tr.Len() - 1, tr.Len()}, {blockRows - 1, blockRows + 1}, {blockRows, 2 * blockRows}}
	for range 40 {
		a, b := r.IntN(tr.Len()), r.IntN(tr.Len())
		cases = append(cases, [2]int{min(a, b), max(a, b) + 1})
	}
	for _, c := range cases {
		got, err := f.Rows(c[0], c[1])
		require.NoError(t, err)
		want := rowsOf(tr, c[0], c[1])
		require.True(t, bytes.Equal(csv(t, want), csv(t, got)), "%v", c)
		require.NoError(t, want.Complete())
		equal(t, want, got)
	}
	for _, c := range [][2]int{{-1, 2}, {3, 2}, {0, tr.Len() + 1}} {
		_, err := f.Rows(c[0], c[1])
		assert.ErrorContains(t, err, "container: there are 30000 rows")
	}
	none, err := f.Rows(7, 7)
	require.NoError(t, err)
	assert.Zero(t, none.Len())
	assert.Len(t, none.Columns, 9)
}

func TestBetween(t *testing.T) {
	rows := 3*blockRows + 5
	tr := of(rows)
	for i := range rows {
		tr.Columns[0].Values[i] = float64(i/3) / 100 // three rows a time
	}
	data, err := Encode(tr)
	require.NoError(t, err)
	f, err := Open(bytes.NewReader(data), int64(len(data)))
	require.NoError(t, err)
	time := tr.Time()
	r := rand.New(rand.NewPCG(7, 7))
	end := time[rows-1]
	for i := range 60 {
		from, to := end*(1.2*r.Float64()-0.1), end*(1.2*r.Float64()-0.1)
		if i%2 == 0 {
			from, to = time[r.IntN(rows)], time[r.IntN(rows)]
		}
		got, err := f.Between(from, to)
		require.NoError(t, err)
		a, b := sort.SearchFloat64s(time, from), sort.SearchFloat64s(time, to)
		require.Equal(t, time[a:max(a, b)], got.Time())
	}
	all, err := f.Between(math.Inf(-1), math.Inf(1))
	require.NoError(t, err)
	assert.Equal(t, rows, all.Len())
}

// TestSeekReadsLittle: a piece from the middle costs its block and the ends.
func TestSeekReadsLittle(t *testing.T) {
	tr := bench{seconds: 10, noise: 3, seed: 5}.noisy()
	data, err := Encode(tr)
	require.NoError(t, err)
	c := &counter{ReaderAt: bytes.NewReader(data)}
	f, err := Open(c, int64(len(data)))
	require.NoError(t, err)
	opened := c.n
	_, err = f.Rows(100_000, 100_010)
	require.NoError(t, err)
	t.Logf("%d bytes, %d read to open, %d for ten rows", len(data), opened, c.n-opened)
	assert.Less(t, opened, 2000)
	assert.Less(t, c.n-opened, len(data)/10)
}

func TestSeveralReaders(t *testing.T) {
	tr, data := short(t)
	f, err := Open(bytes.NewReader(data), int64(len(data)))
	require.NoError(t, err)
	var wait sync.WaitGroup
	for i := range 4 {
		wait.Go(func() {
			for k := range 20 {
				from := (i*4001 + k*997) % (tr.Len() - 50)
				got, err := f.Rows(from, from+50)
				if assert.NoError(t, err) {
					assert.Equal(t, tr.Columns[3].Values[from:from+50], got.Columns[3].Values)
				}
			}
		})
	}
	wait.Wait()
}

// broken fails to read from a place on.
type broken struct {
	io.ReaderAt
	from int64
}

var errDisk = errors.New("the disk is gone")

func (b broken) ReadAt(p []byte, at int64) (int, error) {
	if at+int64(len(p)) > b.from {
		return 0, errDisk
	}
	return b.ReaderAt.ReadAt(p, at)
}

func TestReaderFails(t *testing.T) {
	_, data := short(t)
	_, err := Open(broken{bytes.NewReader(data), 100}, int64(len(data)))
	require.ErrorIs(t, err, errDisk)
}

func TestJoin(t *testing.T) {
	tr := bench{seconds: 2, noise: 3, sparse: true, seed: 8}.noisy()
	var pieces [][]byte
	for from := 0; from < tr.Len(); from += 9000 {
		piece := rowsOf(tr, from, min(from+9000, tr.Len()))
		data, err := Block(piece)
		require.NoError(t, err)
		back, err := ParseBlock(data)
		require.NoError(t, err)
		require.Equal(t, csv(t, piece), csv(t, back))
		pieces = append(pieces, data)
	}
	got, err := Join(pieces)
	require.NoError(t, err)
	require.Equal(t, csv(t, tr), csv(t, got))
	read, err := trace.Read(bytes.NewReader(csv(t, tr)), got.Source)
	require.NoError(t, err)
	read.SHA256 = ""
	equal(t, read, got)

	bad := append([][]byte{}, pieces...)
	bad[2] = bytes.Clone(bad[2])
	bad[2][len(bad[2])/2] ^= 1
	got, err = Join(bad)
	require.ErrorContains(t, err, "container: piece 3 of 5")
	require.ErrorContains(t, err, "rows before that were kept")
	require.GreaterOrEqual(t, got.Len(), 18000)
	require.Less(t, got.Len(), 27000)
	require.Equal(t, csv(t, rowsOf(tr, 0, got.Len())), csv(t, got))

	cut := append([][]byte{}, pieces...)
	cut[4] = cut[4][:len(cut[4])-3]
	got, err = Join(cut)
	require.ErrorContains(t, err, "piece 5 of 5")
	require.Equal(t, tr.Len(), got.Len(), "all its blocks are whole")

	got, err = Join([][]byte{pieces[0], pieces[2], pieces[1]})
	require.ErrorContains(t, err, "before the end of the one before")
	require.Equal(t, 18000, got.Len())

	other, err := Block(of(3))
	require.NoError(t, err)
	got, err = Join([][]byte{pieces[0], other})
	require.ErrorContains(t, err, "its columns are others")
	require.Equal(t, 9000, got.Len())

	got, err = Join([][]byte{{1, 2, 3}, pieces[0]})
	require.ErrorContains(t, err, "piece 1 of 2")
	require.Nil(t, got)
	_, err = Join(nil)
	require.Error(t, err)
}
