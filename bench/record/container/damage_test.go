package container

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"runtime"
	"slices"
	"strings"
	"testing"

	"github.com/klauspost/compress/zstd"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/signal/trace"
)

// short is a trace of three blocks and its container.
func short(t testing.TB) (*trace.Trace, []byte) {
	t.Helper()
	tr := of(2*blockRows+100, column(trace.ColSupply, 2*blockRows+100, func(i int) float64 { return float64(i*i%7) / 10 }))
	tr.Meta = []trace.Entry{{Key: trace.KeyTrace, Value: "1"}, {Key: trace.KeyUnit, Value: "A-1"}}
	data, err := Encode(tr)
	require.NoError(t, err)
	return tr, data
}

func TestEveryFlippedBitIsFound(t *testing.T) {
	tr, data := short(t)
	for at := range data {
		for bit := range 8 {
			bad := bytes.Clone(data)
			bad[at] ^= 1 << bit
			_, err := Decode(bad, "x.dbt")
			require.ErrorContains(t, err, "container: x.dbt: ", "bit %d of byte %d", bit, at)
			f, err := Open(bytes.NewReader(bad), int64(len(bad)))
			if err == nil {
				_, err = f.Rows(0, tr.Len())
			}
			require.ErrorContains(t, err, "container: ", "bit %d of byte %d", bit, at)
		}
	}
}

func TestEveryCut(t *testing.T) {
	tr, data := short(t)
	s, err := scan(data)
	require.NoError(t, err)
	ends := map[int]int{} // bytes to rows
	at := len(data) - int(tailLen)
	index := int(binary.LittleEndian.Uint64(data[at:]))
	ends[index] = tr.Len()
	for i := len(s.blocks) - 1; i > 0; i-- {
		index -= s.blocks[i].length
		ends[index] = s.blocks[i].row
	}
	rows := 0
	for n := range data {
		if r, ok := ends[n]; ok {
			rows = r
		}
		_, err := Decode(data[:n], "x")
		require.Error(t, err, n)
		_, err = Open(bytes.NewReader(data[:n]), int64(n))
		require.Error(t, err, n)
		got, err := Recover(data[:n], "x")
		require.ErrorContains(t, err, "container: x: ", n)
		if rows == 0 {
			require.Nil(t, got, n)
			continue
		}
		require.Equal(t, rows, got.Len(), n)
		require.Equal(t, tr.Meta, got.Meta)
		require.Equal(t, tr.Columns[3].Values[:rows], got.Columns[3].Values)
	}
	whole, err := Recover(data, "x")
	require.NoError(t, err)
	require.Equal(t, csv(t, tr), csv(t, whole))
}

func TestRecoverStopsAtADamagedBlock(t *testing.T) {
	tr, data := short(t)
	s, err := scan(data)
	require.NoError(t, err)
	second := bytes.Index(data, s.blocks[1].content)
	const sampled = 2 + 2 + 16 + 1 // behind numbers, times and the column's length
	data[second+sampled] = 9
	got, err := Recover(data, "x")
	require.ErrorContains(t, err, "block 2, from row 8193 on, is damaged: its checksum is wrong; its first 8192 rows were recovered")
	assert.Equal(t, tr.Columns[3].Values[:blockRows], got.Columns[3].Values)
	// The same with a checksum that somebody made right.
	seal(data)
	got, err = Recover(data, "x")
	require.ErrorContains(t, err, `the block of rows 8193 to 16384 is damaged: column "t_s": rows are said to be sampled in way 9`)
	assert.Equal(t, blockRows, got.Len())
}

// seal makes the checksums of a container right, as far as its lengths are.
func seal(data []byte) {
	for at := len(magic); at+partExtra <= len(data) && data[at] != kindIndex; {
		n := binary.LittleEndian.Uint32(data[at+1:])
		if uint64(n) > uint64(len(data)-at-partExtra) {
			return
		}
		end := at + partHead + int(n)
		binary.LittleEndian.PutUint32(data[end:], crc32.Checksum(data[at:end], crc32.MakeTable(crc32.Castagnoli)))
		at = end + 4
	}
}

func TestSwappedBlocksAreFound(t *testing.T) {
	_, data := short(t)
	s, err := scan(data)
	require.NoError(t, err)
	at := bytes.Index(data, s.blocks[0].content) - partHead
	a, b := s.blocks[0].length, s.blocks[1].length
	swapped := bytes.Clone(data[:at])
	swapped = append(swapped, data[at+a:at+a+b]...)
	swapped = append(swapped, data[at:at+a]...)
	swapped = append(swapped, data[at+a+b:]...)
	_, err = Decode(swapped, "x")
	assert.ErrorContains(t, err, "it begins with row 8192 instead of 0")
}

// part is a sealed part of given content.
func part(kind byte, content []byte) []byte {
	b, err := appendPart(nil, kind, func(b []byte) []byte { return append(b, content...) })
	if err != nil {
		panic(err)
	}
	return b
}

// headOf is the head of columns of numbers.
func headOf(names ...string) []byte {
	raw := []byte{0, byte(len(names))}
	for _, n := range names {
		raw = appendText(append(raw, ofNumbers), n)
	}
	return part(kindHead, append(append(binary.AppendUvarint(nil, uint64(len(raw))), packPlain), raw...))
}

// TestHostile puts claims into containers with right checksums: each is an
// error, and takes no memory to speak of.
func TestHostile(t *testing.T) {
	names := []string{trace.ColTime, trace.ColDuty, trace.ColCurrent}
	z, err := zstd.NewWriter(nil)
	require.NoError(t, err)
	bomb := z.EncodeAll(make([]byte, 200<<20), nil)
	times := make([]byte, 16)
	uv := func(list ...uint64) (b []byte) {
		for _, v := range list {
			b = binary.AppendUvarint(b, v)
		}
		return b
	}
	framed := func(frame []byte) []byte { return append(uv(uint64(packZstd), uint64(len(frame))), frame...) }
	// whole is a container with one block, and an index that fits.
	whole := func(rows uint64, content []byte) []byte {
		b := append(headOf(names...), part(kindBlock, content)...)
		index := append(uv(1, uint64(len(content)+partExtra), rows), times...)
		at := len(magic) + len(b)
		b = append(b, part(kindIndex, index)...)
		return append(binary.LittleEndian.AppendUint64(b, uint64(at)), endMagic...)
	}
	block := func(rows uint64, columns ...[]byte) []byte {
		b := append(uv(0, rows), times...)
		for _, c := range columns {
			b = append(append(b, uv(uint64(len(c)))...), c...)
		}
		return whole(rows, b)
	}
	says := map[string]string{
		"a huge head": "the length is 1099511627776", "a bomb for a head": "a frame does not state its 1000 bytes", "many columns": "the number of columns is",
		"many comments": "the number of comment lines is", "no time": "there is no column t_s", "many rows": "the number of rows is", "no rows at all": "the number of rows is 0",
		"a bomb": "a frame does not state its 1000 bytes", "a long column": "the length of a column is", "many numbers": "the number of different numbers is",
		"a choice of choices": "numbers are listed in way 2", "a code too far": "a code stands for nothing in a list of 1", "a code too far on": "a code stands for nothing in a list of 1",
		"rows of nothing": "a whole number is cut off", "bits of no row": "the rows that were sampled are not some of 5", "unknown kind": "a part of kind 'X' is not known here", "a skippable frame": "a frame does not state its 1000 bytes",
	}
	for name, parts := range map[string][]byte{
		"nothing":             nil,
		"no head":             block(1)[len(headOf(names...)):],
		"a huge head":         part(kindHead, append(uv(1<<40), packRun, 0)),
		"a large head of air": part(kindHead, append(uv(mostPacked+1), packRun, 0)),
		"a bomb for a head":   part(kindHead, append(uv(1000), framed(bomb)...)),
		"many columns":        part(kindHead, append(append(uv(7), packPlain), uv(0, 1<<40)...)),
		"many comments":       part(kindHead, append(append(uv(7), packPlain), uv(1<<40, 0)...)),
		"no time":             headOf("x"),
		"many rows":           block(1 << 60),
		"rows of nothing":     block(maxRows),
		"no rows at all":      block(0),
		"a bomb":              block(1000, append([]byte{allSampled, listBits, 0, 0, 1}, framed(bomb)...)),
		"a long column":       whole(5, append(append(uv(0, 5), times...), uv(1<<62)...)),
		"many numbers":        block(5, append([]byte{allSampled, listChoice}, uv(1<<50)...)),
		"a choice of choices": block(5, []byte{allSampled, listChoice, 5, listChoice, 5, listChoice, 5}),
		"a code too far":      block(5, []byte{allSampled, listChoice, 1, listConstant, 0, 0, 0, 0, 0, 0, 0, 0, 0, 6, 0}),
		"a code too far on":   block(5, []byte{allSampled, listChoice, 1, listConstant, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 1, packRun, 1}),
		"bits of no row":      block(5, []byte{someSampled, packRun, 0xff}),
		"unknown kind":        append(headOf(names...), part('X', nil)...),
		"a skippable frame":   block(1000, append([]byte{allSampled, listBits, 0, 0, 1}, framed([]byte{0x50, 0x2a, 0x4d, 0x18, 0, 0, 0, 0})...)),
	} {
		t.Run(name, func(t *testing.T) {
			data := append([]byte(magic), parts...)
			var before, after runtime.MemStats
			runtime.ReadMemStats(&before)
			_, err := Decode(data, "x")
			_, rerr := Recover(data, "x")
			runtime.ReadMemStats(&after)
			require.ErrorContains(t, err, "container: x: ")
			require.ErrorContains(t, err, says[name])
			require.Error(t, rerr)
			assert.NotContains(t, err.Error(), "\n")
			t.Log(err)
			assert.Less(t, after.TotalAlloc-before.TotalAlloc, uint64(16<<20))
		})
	}
}

func TestHostileIndex(t *testing.T) {
	_, data := short(t)
	at := binary.LittleEndian.Uint64(data[len(data)-int(tailLen):])
	uv := func(list ...uint64) (b []byte) {
		for _, v := range list {
			b = binary.AppendUvarint(b, v)
		}
		return b
	}
	times := make([]byte, 16)
	for name, content := range map[string][]byte{
		"empty":          nil,
		"no blocks":      uv(0),
		"many blocks":    uv(1 << 60),
		"one long block": append(uv(1, 1<<40, 5), times...),
		"one of no rows": append(uv(1, at, 0), times...),
		"too many rows":  append(uv(1, at, 1<<40), times...),
		"too short":      append(uv(1, 20, 5), times...),
		"time runs back": append(append(uv(1, 20, 5), times[:8]...), 0, 0, 0, 0, 0, 0, 0xf0, 0xbf),
	} {
		bad := append(bytes.Clone(data[:at]), part(kindIndex, content)...)
		bad = append(bad, data[len(data)-int(tailLen):]...)
		_, err := Open(bytes.NewReader(bad), int64(len(bad)))
		assert.ErrorContains(t, err, "the index is damaged", name)
		_, err = Decode(bad, "x")
		assert.ErrorContains(t, err, "the index does not fit the blocks", name)
	}
}

// TestIndexOfAnother: an index that is right in itself and says other things
// than the blocks.
func TestIndexOfAnother(t *testing.T) {
	tr, data := short(t)
	s, err := scan(data)
	require.NoError(t, err)
	at := binary.LittleEndian.Uint64(data[len(data)-int(tailLen):])
	for name, change := range map[string]func(p []place){
		"rows":  func(p []place) { p[1].rows++ },
		"first": func(p []place) { p[1].first += 1e-3 },
		"last":  func(p []place) { p[2].last += 1e-3 },
	} {
		blocks := slices.Clone(s.blocks)
		change(blocks)
		bad := append(bytes.Clone(data[:at]), part(kindIndex, appendIndex(nil, blocks))...)
		bad = append(bad, data[len(data)-int(tailLen):]...)
		f, err := Open(bytes.NewReader(bad), int64(len(bad)))
		require.NoError(t, err, name)
		_, err = f.Rows(0, tr.Len())
		assert.ErrorContains(t, err, "it is not as the index says", name)
		_, err = Decode(bad, "x")
		assert.ErrorContains(t, err, "the index does not fit the blocks", name)
	}
}

func TestOtherFilesAreNamed(t *testing.T) {
	for text, want := range map[string]string{
		"":                         "it ends too early",
		"dbt":                      "it ends too early",
		"t_s,duty_pct,current_A\n": "it is no container of a trace",
		"dbtrace\x02":              "its layout has version 2",
	} {
		_, err := Decode([]byte(text), "x")
		assert.ErrorContains(t, err, want)
		_, err = Open(strings.NewReader(text), int64(len(text)))
		assert.ErrorContains(t, err, want)
	}
}
