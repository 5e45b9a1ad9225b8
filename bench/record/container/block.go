package container

import (
	"encoding/binary"
	"fmt"
	"math"
	"math/bits"

	"github.com/klauspost/compress/zstd"

	"dutybench/signal/trace"
)

const (
	// blockRows are the rows of a block that Encode makes, 0.4 s at 20 kHz.
	// Chosen by trial: twice as many come out 1 to 4 % smaller and read no
	// faster, and a seek reads twice as much.
	blockRows = 1 << 13
	// maxRows and maxCells bound a block that is read: 32 MB of numbers.
	maxRows  = 1 << 16
	maxCells = 1 << 22
	// firstCells is for how many numbers or texts memory is taken at first, at
	// most: for more, as blocks turn out to hold them.
	firstCells = 1 << 23
	// blockText is the length of a column's text from which on a block ends.
	blockText = 4 << 20
)

func lowest(b byte) int { return bits.TrailingZeros8(b) }

// encoder is the memory that making blocks takes.
type encoder struct {
	zstd      *zstd.Encoder
	frame     []byte
	plane     []byte
	u         []uint64
	decimals  []int64
	rank      []int64
	present   []float64
	different []float64
	slots     []uint16 // see distinct: 0 for none, else one more than the place
	listed    []byte
	content   []byte
	texts     []byte
	textBytes int // of the trace so far
}

// decoder is the memory that reading blocks takes.
type decoder struct {
	zstd      *zstd.Decoder
	plane     []byte
	codesOut  []int64
	present   []float64
	different []float64
	rows      []int32
	textLeft  int // see mostTexts
}

// block adds the content of a block of rows.
func (e *encoder) block(dst []byte, t *trace.Trace, from, to int) []byte {
	time := t.Time()
	dst = binary.AppendUvarint(dst, uint64(from))
	dst = binary.AppendUvarint(dst, uint64(to-from))
	dst = appendFloat(appendFloat(dst, time[from]), time[to-1])
	for i := range t.Columns {
		if c := &t.Columns[i]; c.Text != nil {
			e.content = e.text(e.content[:0], c.Text[from:to])
		} else {
			e.content = e.column(e.content[:0], c.Values[from:to])
		}
		dst = binary.AppendUvarint(dst, uint64(len(e.content)))
		dst = append(dst, e.content...)
	}
	return dst
}

// span is where a block stands in a trace.
type span struct {
	rows        int
	first, last float64 // times
}

// blockSpan reads the beginning of a block.
func blockSpan(c *cursor, row, columns int) span {
	if at := c.uvarint(); c.err == nil && at != uint64(row) {
		c.fail("it begins with row %d instead of %d", at, row)
	}
	s := span{rows: c.count("the number of rows", 1, min(maxRows, maxCells/columns))}
	s.first, s.last = c.float(), c.float()
	return s
}

// block reads a block's columns into rows from row on of out, which have room
// for them.
func (d *decoder) block(c *cursor, out []trace.Column, row int, s span) error {
	for i := range out {
		col := &out[i]
		part := cursor{b: c.take(c.count("the length of a column", 0, len(c.b)))}
		if c.err != nil {
			break
		}
		if col.Text != nil {
			d.text(&part, col.Text[row:row+s.rows])
		} else {
			d.column(&part, col.Values[row:row+s.rows])
		}
		if err := part.end(); err != nil {
			return fmt.Errorf("column %q: %w", col.Name, err)
		}
		if col.Name == trace.ColTime && (!same(col.Values[row], s.first) || !same(col.Values[row+s.rows-1], s.last)) {
			return fmt.Errorf("column %q: the times are not those that the block states", col.Name)
		}
	}
	return c.end()
}

func same(a, b float64) bool { return math.Float64bits(a) == math.Float64bits(b) }
