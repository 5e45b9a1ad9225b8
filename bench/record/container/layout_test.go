package container

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"dutybench/signal/trace"
)

// TestLayout types a container from the package comment, byte by byte: the
// program must read what another one wrote by it.
func TestLayout(t *testing.T) {
	float := func(list ...float64) (b []byte) {
		for _, v := range list {
			b = binary.LittleEndian.AppendUint64(b, math.Float64bits(v))
		}
		return b
	}
	join := func(list ...[]byte) []byte { return bytes.Join(list, nil) }
	part := func(kind byte, content []byte) []byte {
		b := join([]byte{kind}, binary.LittleEndian.AppendUint32(nil, uint32(len(content))), content)
		return binary.LittleEndian.AppendUint32(b, crc32.Checksum(b, crc32.MakeTable(crc32.Castagnoli)))
	}
	column := func(content ...[]byte) []byte {
		b := join(content...)
		return append([]byte{byte(len(b))}, b...)
	}
	head := join(
		[]byte{1, 4}, []byte("unit"), []byte{3}, []byte("A-1"),
		[]byte{10},
		[]byte{0, 3}, []byte("t_s"), []byte{0, 8}, []byte("duty_pct"), []byte{0, 9}, []byte("current_A"),
		[]byte{0, 8}, []byte("supply_V"), []byte{0, 1}, []byte("n"), []byte{0, 1}, []byte("o"), []byte{0, 1}, []byte("p"),
		[]byte{0, 1}, []byte("q"), []byte{0, 1}, []byte("r"), []byte{1, 5}, []byte("state"))
	// A frame of RFC 8878, 3.1.1: magic number, a descriptor that says single
	// segment and a size of one byte, the size, and one last raw block.
	frame := join([]byte{0x28, 0xb5, 0x2f, 0xfd, 0x20, 4, 4<<3 | 1, 0, 0}, []byte{3, 0, 1, 2})
	block := join(
		[]byte{0, 4}, float(1, 1.5),
		// Times 1.00, 1.10, 1.30, 1.50 with two decimals: 100, 110, 130, 150;
		// order 1: 0, +10, +20, +20 as 0, 20, 40, 40.
		column([]byte{0, 1, 2, 1, 0xc8, 1, 1, 1, 0, 20, 40, 40}),
		// Constant 50.
		column([]byte{0, 0}, float(50)),
		// A choice of -1, 0.5, 2, 300 (all by their bits) with the codes 3, 0, 1, 2.
		column([]byte{0, 2, 4}, []byte{3, 0, 0, 8, 1},
			[]byte{0, 0, 0, 0}, []byte{1, 0, 0, 0, 0}, []byte{1, 0, 0, 0, 0}, []byte{1, 0, 0, 0, 0}, []byte{1, 0, 0, 0, 0},
			[]byte{1, 0, 0, 0, 0xc0}, []byte{1, 0xf0, 0xe0, 0, 0x72}, []byte{1, 0xbf, 0x3f, 0x40, 0x40},
			[]byte{0, 0, 1, 2, 13}, frame),
		// Sampled in rows 0, 1 and 3, bits 1011: 13.5 always.
		column([]byte{2, 0, 0b1011, 0}, float(13.5)),
		// Never sampled.
		column([]byte{1}),
		// No decimals, order 0 with the base -2 (varint 3) and 1, 0, 2, 3:
		// codes -1, -2, 0, 1, which are -0, -1, 0, 1.
		column([]byte{0, 1, 0, 0, 3, 1, 1, 1, 0, 2, 3}),
		// Order 2, base 5 (varint 10), step 3 (6): steps 3, 3, 2 by z 0, 0, -1:
		// 5, 8, 11, 13; what stands before is 0.
		column([]byte{0, 1, 0, 2, 10, 6, 1, 1, 0, 0, 0, 1}),
		// Two planes: 0x0100, 0x0201, 0, 0xffff.
		column([]byte{0, 1, 0, 0, 0, 2}, []byte{1, 0, 1, 0, 0xff}, []byte{1, 1, 2, 0, 0xff}),
		// No plane at all, order 1: 7 (varint 14) in every row.
		column([]byte{0, 1, 1, 1, 14, 0}),
		// Two texts, "" and "on", and the codes 0, 1, 1, 0.
		column([]byte{2, 4, 1, 0, 2}, []byte("on"), []byte{0, 0, 1, 1, 0, 1, 1, 0}),
	)
	data := join([]byte("dbtrace\x01"), part('H', join([]byte{byte(len(head)), 1}, head)))
	length := len(part('B', block))
	data = append(data, part('B', block)...)
	index := len(data)
	data = append(data, part('I', join(binary.AppendUvarint([]byte{1}, uint64(length)), []byte{4}, float(1, 1.5)))...)
	data = append(binary.LittleEndian.AppendUint64(data, uint64(index)), "dbt-end\x01"...)

	require.Less(t, len(head), 128, "one byte for its length")
	got, err := Decode(data, "by hand")
	require.NoError(t, err)
	nan, negative := math.NaN(), math.Copysign(0, -1)
	want := &trace.Trace{Source: "by hand", Meta: []trace.Entry{{Key: "unit", Value: "A-1"}}, Columns: []trace.Column{
		{Name: "t_s", Values: []float64{1, 1.1, 1.3, 1.5}},
		{Name: "duty_pct", Values: []float64{50, 50, 50, 50}},
		{Name: "current_A", Values: []float64{300, -1, 0.5, 2}},
		{Name: "supply_V", Values: []float64{13.5, 13.5, nan, 13.5}},
		{Name: "n", Values: []float64{nan, nan, nan, nan}},
		{Name: "o", Values: []float64{negative, -1, 0, 1}},
		{Name: "p", Values: []float64{5, 8, 11, 13}},
		{Name: "q", Values: []float64{0x100, 0x201, 0, 0xffff}},
		{Name: "r", Values: []float64{0.7, 0.7, 0.7, 0.7}},
		{Name: "state", Text: []string{"", "on", "on", ""}},
	}}
	require.NoError(t, want.Complete())
	equal(t, want, got)
	f, err := Open(bytes.NewReader(data), int64(len(data)))
	require.NoError(t, err)
	rows, err := f.Rows(1, 3)
	require.NoError(t, err)
	require.Equal(t, []float64{-1, 0.5}, rows.Current())
}

// TestCRC: the check value of CRC-32C is that of RFC 9260's polynomial over
// "123456789", 0xE3069283 (from memory: catalogues of CRCs print it).
func TestCRC(t *testing.T) {
	require.Equal(t, uint32(0xE3069283), crc32.Checksum([]byte("123456789"), castagnoli))
}
