package container

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"sort"

	"dutybench/signal/trace"
)

// File is a container that is read in pieces. Several goroutines may use it
// at once, if they may use its reader so.
type File struct {
	r      io.ReaderAt
	head   *head
	blocks []place
	rows   int
}

// Open reads head and index of a container of a size in bytes. A container
// without its end can be read with Recover.
func Open(r io.ReaderAt, size int64) (*File, error) {
	f := &File{r: r}
	if err := f.open(size); err != nil {
		return nil, fmt.Errorf("container: %w; take the trace from a backup or a bundle", err)
	}
	return f, nil
}

func (f *File) open(size int64) error {
	first, err := f.bytes(0, min(size, int64(len(magic))+partHead))
	if err != nil {
		return err
	}
	rest, err := cutMagic(first)
	if err != nil {
		return err
	}
	if len(rest) < partHead || size < int64(len(magic))+tailLen {
		return errCut
	}
	content, blocksAt, err := f.part(kindHead, int64(len(magic)), size)
	if err != nil {
		return fmt.Errorf("the head is damaged: %w", err)
	}
	d, err := takeDecoder()
	if err != nil {
		return err
	}
	defer decoders.Put(d)
	if f.head, err = d.head(content); err != nil {
		return fmt.Errorf("the head is damaged: %w", err)
	}
	tail, err := f.bytes(size-tailLen, tailLen)
	if err != nil {
		return err
	}
	at := binary.LittleEndian.Uint64(tail)
	if string(tail[8:]) != endMagic || at > math.MaxInt64 || int64(at) < blocksAt {
		return errors.New("its end is cut off or damaged")
	}
	content, end, err := f.part(kindIndex, int64(at), size)
	if err == nil && end != size-tailLen {
		err = errors.New("something follows it")
	}
	if err == nil {
		f.blocks, err = f.head.parseIndex(content, int64(at)-blocksAt)
	}
	if err != nil {
		return fmt.Errorf("the index is damaged: %w", err)
	}
	for i := range f.blocks {
		p := &f.blocks[i]
		p.at = blocksAt
		blocksAt += int64(p.length)
		f.rows += p.rows
	}
	return nil
}

// bytes reads n bytes, which the size allows, from a place.
func (f *File) bytes(at, n int64) ([]byte, error) {
	b := make([]byte, n)
	if _, err := f.r.ReadAt(b, at); err != nil && !errors.Is(err, io.EOF) {
		return nil, fmt.Errorf("it cannot be read: %w", err)
	} else if err != nil {
		// At the very end, a reader may say so with the last bytes.
		if m, _ := f.r.ReadAt(b, at); int64(m) < n {
			return nil, errCut
		}
	}
	return b, nil
}

// part reads the part of a kind from a place on, and where it ends.
func (f *File) part(kind byte, at, size int64) (content []byte, end int64, err error) {
	if at > size-partExtra {
		return nil, 0, errCut
	}
	first, err := f.bytes(at, partHead)
	if err != nil {
		return nil, 0, err
	}
	n := int64(binary.LittleEndian.Uint32(first[1:])) + partExtra
	if first[0] != kind || n > size-at {
		return nil, 0, errCut
	}
	data, err := f.bytes(at, n)
	if err != nil {
		return nil, 0, err
	}
	_, content, _, err = parsePart(data)
	return content, at + n, err
}

// Len is the number of rows.
func (f *File) Len() int { return f.rows }

// Columns are the columns' names.
func (f *File) Columns() []string { return slices.Clone(f.head.names) }

// Meta is the comment lines.
func (f *File) Meta() []trace.Entry { return slices.Clone(f.head.meta) }

// Times are the times of the first and last row in seconds.
func (f *File) Times() (first_s, last_s float64) {
	return f.blocks[0].first, f.blocks[len(f.blocks)-1].last
}

// Rows reads the rows from one up to before another, and no block but theirs.
// Resolution, missing values and warnings are those of these rows.
func (f *File) Rows(from, to int) (*trace.Trace, error) {
	if from < 0 || to < from || to > f.rows {
		return nil, fmt.Errorf("container: there are %d rows, none from %d to %d; ask for some of them", f.rows, from, to)
	}
	t := &trace.Trace{Meta: f.Meta(), Columns: f.head.columns()}
	if from == to {
		return t, nil
	}
	first := sort.Search(len(f.blocks), func(i int) bool { return f.blocks[i].row > from }) - 1
	beyond := sort.Search(len(f.blocks), func(i int) bool { return f.blocks[i].row >= to })
	if err := f.read(t, first, beyond); err != nil {
		return nil, err
	}
	from, to = from-f.blocks[first].row, to-f.blocks[first].row
	for i := range t.Columns {
		if c := &t.Columns[i]; c.Text != nil {
			c.Text = c.Text[from:to:to]
		} else {
			c.Values = c.Values[from:to:to]
		}
	}
	if err := t.Complete(); err != nil {
		return nil, fmt.Errorf("container: its content is no trace: %w", err)
	}
	return t, nil
}

// read reads whole blocks.
func (f *File) read(t *trace.Trace, first, beyond int) error {
	d, err := takeDecoder()
	if err != nil {
		return err
	}
	defer decoders.Put(d)
	t.Columns = f.head.columns()
	_, err = d.blocks(t.Columns, f.blocks[first:beyond], func(p place) ([]byte, error) {
		content, _, err := f.part(kindBlock, p.at, p.at+int64(p.length))
		return content, err
	})
	if err != nil {
		return fmt.Errorf("container: %w; take the trace from a backup or a bundle", err)
	}
	return nil
}

// Between reads the rows with from ≤ t < to, in seconds, and no block that
// holds none of them but the one before.
func (f *File) Between(from_s, to_s float64) (*trace.Trace, error) {
	from, err := f.row(from_s)
	if err != nil {
		return nil, err
	}
	to, err := f.row(to_s)
	if err != nil {
		return nil, err
	}
	return f.Rows(from, max(from, to))
}

// row is the first row that is not before a time.
func (f *File) row(t_s float64) (int, error) {
	i := sort.Search(len(f.blocks), func(i int) bool { return f.blocks[i].last >= t_s })
	if i == len(f.blocks) || f.blocks[i].first >= t_s {
		if i == len(f.blocks) {
			return f.rows, nil
		}
		return f.blocks[i].row, nil
	}
	var t trace.Trace
	if err := f.read(&t, i, i+1); err != nil {
		return 0, err
	}
	time := t.Time()
	return f.blocks[i].row + sort.SearchFloat64s(time, t_s), nil
}
