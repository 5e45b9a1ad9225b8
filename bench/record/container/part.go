package container

import (
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"math"
	"unicode/utf8"
)

const (
	magic    = "dbtrace\x01"
	endMagic = "dbt-end\x01"

	kindHead  = 'H'
	kindBlock = 'B'
	kindIndex = 'I'

	partHead  = 1 + 4 // kind and length
	partExtra = partHead + 4

	tailLen int64 = 8 + int64(len(endMagic))
)

// errCut marks data that end before they should.
var errCut = errors.New("it ends too early")

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// appendPart adds a part with what the function adds as its content.
func appendPart(dst []byte, kind byte, content func([]byte) []byte) ([]byte, error) {
	from := len(dst)
	dst = append(dst, kind, 0, 0, 0, 0)
	dst = content(dst)
	n := len(dst) - from - partHead
	if n > math.MaxInt32 {
		return dst, errors.New("a part would be larger than 2 GiB; keep a shorter trace")
	}
	binary.LittleEndian.PutUint32(dst[from+1:], uint32(n))
	return binary.LittleEndian.AppendUint32(dst, crc32.Checksum(dst[from:], castagnoli)), nil
}

// parsePart reads the part that data begin with. n is its whole length.
func parsePart(data []byte) (kind byte, content []byte, n int, err error) {
	if len(data) < partExtra {
		return 0, nil, 0, errCut
	}
	length := binary.LittleEndian.Uint32(data[1:])
	if uint64(length) > uint64(len(data)-partExtra) {
		return 0, nil, 0, errCut
	}
	n = int(length) + partExtra
	if crc32.Checksum(data[:n-4], castagnoli) != binary.LittleEndian.Uint32(data[n-4:]) {
		return 0, nil, 0, errors.New("its checksum is wrong")
	}
	return data[0], data[partHead : n-4], n, nil
}

// cursor reads a part's content. After the first fault it gives zeros.
type cursor struct {
	b   []byte
	err error
}

func (c *cursor) fail(format string, args ...any) {
	if c.err == nil {
		c.err = fmt.Errorf(format, args...)
	}
}

func (c *cursor) byte() byte {
	if b := c.take(1); b != nil {
		return b[0]
	}
	return 0
}

// take gives the next n bytes; nil when there are fewer.
func (c *cursor) take(n int) []byte {
	if c.err != nil || n > len(c.b) {
		c.fail("%w", errCut)
		return nil
	}
	b := c.b[:n:n]
	c.b = c.b[n:]
	return b
}

func (c *cursor) uvarint() uint64 {
	v, n := binary.Uvarint(c.b)
	if c.err != nil || n <= 0 {
		c.fail("a whole number is cut off or too large")
		return 0
	}
	if n > 1 && c.b[n-1] == 0 {
		c.fail("a whole number is longer than needed")
		return 0
	}
	c.b = c.b[n:]
	return v
}

func (c *cursor) varint() int64 {
	u := c.uvarint()
	return unzigzag(u)
}

// count is a uvarint from least to most.
func (c *cursor) count(what string, least, most int) int {
	v := c.uvarint()
	if c.err == nil && (v < uint64(least) || v > uint64(most)) {
		c.fail("%s is %d, not from %d to %d", what, v, least, most)
	}
	if c.err != nil {
		return least
	}
	return int(v)
}

func (c *cursor) float() float64 {
	if b := c.take(8); b != nil {
		return math.Float64frombits(binary.LittleEndian.Uint64(b))
	}
	return 0
}

func (c *cursor) text() string {
	b := c.take(c.count("the length of a text", 0, len(c.b)))
	if c.err == nil && !utf8.Valid(b) {
		c.fail("a text is not UTF-8")
	}
	return string(b)
}

// end is the first fault, or that something is left.
func (c *cursor) end() error {
	if len(c.b) > 0 {
		c.fail("%d bytes are left at its end", len(c.b))
	}
	return c.err
}

func appendText(dst []byte, s string) []byte {
	return append(binary.AppendUvarint(dst, uint64(len(s))), s...)
}

func appendFloat(dst []byte, v float64) []byte {
	return binary.LittleEndian.AppendUint64(dst, math.Float64bits(v))
}

func zigzag(v int64) uint64   { return uint64(v)<<1 ^ uint64(v>>63) }
func unzigzag(u uint64) int64 { return int64(u>>1) ^ -int64(u&1) }
