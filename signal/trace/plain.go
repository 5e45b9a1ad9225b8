package trace

import (
	"bytes"
	"encoding/binary"
	"math"
	"math/bits"
)

// Rows of plain numbers are read eight bytes at a time, straight from the
// buffer. Whatever is not plain goes the careful way, which also finds the
// words for what is wrong.

// beyond is how many bytes behind the end of the buffer may be looked at, to
// no effect: a sign, eight digits, what ends them and a line feed.
const beyond = 16

// lane is a column while rows of plain numbers are read into it.
type lane struct {
	values    []float64
	low, high float64 // of what the column can hold
	rises     bool    // low is the value before
	binary    bool    // 0 or 1
	optional  bool    // may be empty

	// A command stays the same for thousands of rows: the cell before, with
	// what ended it, as the lowest bytes of text, its value and its width.
	// mask is 0 when there is none to compare with.
	steady     bool
	text, mask uint64
	value      float64
	width      int
}

func (b *builder) lane(room int) lane {
	l := lane{values: b.values[:room], low: math.Inf(-1), high: math.Inf(1), optional: !b.required}
	switch b.name {
	case ColTime:
		l.rises = true
		if n := len(b.values); n > 0 {
			l.low = b.values[n-1]
		}
	case ColDuty, ColLineDuty:
		l.low, l.high, l.steady = 0, 100, true
	case ColSupplyOn:
		l.low, l.high, l.binary, l.steady = 0, 1, true, true
	}
	return l
}

// plain reads the rows that lie whole in the buffer, up to the first that
// needs more care. It says nothing and refuses nothing: such a row is left
// as it was.
func (r *reader) plain() {
	limit := r.start + bytes.LastIndexByte(r.buf[r.start:r.end], '\n') + 1
	if limit == r.start || r.rows == r.room {
		return
	}
	r.lanes = r.lanes[:0]
	for c := range r.columns {
		b := &r.columns[c]
		if b.isText {
			return
		}
		r.lanes = append(r.lanes, b.lane(r.room))
	}
	rows, pos, gaps := plainRows(r.buf[:cap(r.buf)], r.start, limit, r.lanes, r.rows, r.room)
	for c := range r.columns {
		b := &r.columns[c]
		b.values = b.values[:rows]
		if gaps && !b.required {
			for _, v := range b.values[r.rows:] {
				if v != v {
					b.missing++
				}
			}
		}
	}
	r.consumed += int64(pos - r.start)
	r.number += rows - r.rows
	r.start, r.rows = pos, rows
}

// Eight bytes at once: a byte of ones in each, '0' in each, what lifts a byte
// above 9 to its highest bit, and the highest bits.
const (
	eachByte = 0x0101010101010101
	zeros    = '0' * eachByte
	above9   = (0x80 - 10) * eachByte
	highBits = 0x80 * eachByte
)

// plainRows reads from buf[pos:limit], which ends with a line feed, into rows
// row up to room. gaps says that a cell was empty.
func plainRows(buf []byte, pos, limit int, lanes []lane, row, room int) (rows, end int, gaps bool) {
	last := len(lanes) - 1
	for pos < limit && row < room {
		at := pos
		for c := range lanes {
			l := &lanes[c]
			begin := at
			x := binary.LittleEndian.Uint64(buf[at:])
			if l.mask != 0 && x&l.mask == l.text {
				l.values[row] = l.value
				at += l.width
				continue
			}
			first := x
			negative := byte(x) == '-'
			if negative {
				at++
				x = binary.LittleEndian.Uint64(buf[at:])
			}
			// The first byte that is no digit, and after a point the second.
			d := x ^ zeros
			odd := (d + above9 | d) & highBits
			n := bits.TrailingZeros64(odd) >> 3
			digits, decimals := n, 0
			if byte(x>>(8*n&63)) == '.' {
				whole := uint64(1)<<(8*n&63) - 1
				d = d&whole | d>>8&^whole
				n = bits.TrailingZeros64(odd&(odd-1)) >> 3
				decimals, digits = n-digits-1, n-1
			}
			at += n
			var v float64
			ended := buf[at] == ',' && c < last
			if c == last {
				if buf[at] == '\r' {
					at++
				}
				ended = buf[at] == '\n'
			}
			switch {
			case ended && digits > 0:
				// Digits join to pairs, pairs to fours, fours to eight.
				d <<= (64 - 8*digits) & 63
				d = (d*10 + d>>8) & 0x00ff00ff00ff00ff
				d = (d*100 + d>>16) & 0x0000ffff0000ffff
				d = (d*10000 + d>>32) & 0xffffffff
				v = float64(int64(d)) / pow10[decimals&7]
				if negative {
					v = -v
				}
			case ended && n == 0 && !negative && l.optional:
				v, gaps = math.NaN(), true
			default:
				var ok bool
				if v, at, ok = longNumber(buf[:limit], begin, c == last); !ok {
					return row, pos, gaps
				}
			}
			if v < l.low || v > l.high || l.binary && v != 0 && v != 1 {
				return row, pos, gaps
			}
			if l.rises {
				l.low = v
			}
			l.values[row] = v
			at++
			if l.steady {
				l.width, l.mask = at-begin, 0
				if l.width <= 8 && v == v {
					l.mask = 1<<(8*l.width) - 1
					l.text, l.value = first&l.mask, v
				}
			}
		}
		row++
		pos = at
	}
	return row, pos, gaps
}

// longNumber reads a cell that holds a number of more than eight characters or
// with an exponent. end is where its comma is, or its line feed.
func longNumber(buf []byte, begin int, last bool) (v float64, end int, ok bool) {
	stop := byte(',')
	if last {
		stop = '\n'
	}
	if v, n := fastFloat(buf[begin:]); n > 0 && buf[begin+n] == stop {
		return v, begin + n, true
	}
	n := bytes.IndexByte(buf[begin:], stop)
	if n < 0 {
		return 0, 0, false
	}
	cell := buf[begin : begin+n]
	if last {
		cell = bytes.TrimSuffix(cell, []byte{'\r'})
	}
	v, f := parseFloat(cell)
	return v, begin + n, f == fine
}
