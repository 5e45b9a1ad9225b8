package trial_test

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"hash/crc32"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"dutybench/bench/record"
	"dutybench/bench/record/bundle"
	"dutybench/bench/record/ledger"
	"dutybench/bench/record/store"
)

// file is one file of a bundle.
type file struct {
	name string
	data []byte
}

// bundled is a bundle of which copies are changed.
type bundled struct {
	o     *original
	key   string
	raw   []byte
	files []file
	// owner is which record each byte of the archive belongs to; 0: none.
	owner []int
}

// makeBundle saves some of the store's records.
func makeBundle(t *testing.T, o *original) *bundled {
	t.Helper()
	s, err := store.Open(o.dir, store.Options{ReadOnly: true})
	require.NoError(t, err)
	defer s.Close()
	var ids []record.ID
	for seq := 2; seq <= o.n; seq += 3 {
		ids = append(ids, record.ID{Bench: o.bench, Seq: seq})
	}
	path := filepath.Join(t.TempDir(), "some.bundle")
	require.NoError(t, bundle.Save(path, s, ids, bundle.Options{Older: o.older[:1]}))
	b := &bundled{o: o}
	b.key, err = s.Key(o.bench)
	require.NoError(t, err)
	b.raw, err = os.ReadFile(path)
	require.NoError(t, err)
	b.read(t)
	// What the generator packs is as good as what the program packs.
	found, by := b.judge(t, packed(b.files), nil)
	require.False(t, found, by)
	return b
}

// read unpacks the bundle and learns whose each byte is.
func (b *bundled) read(t *testing.T) {
	t.Helper()
	z, err := zip.NewReader(bytes.NewReader(b.raw), int64(len(b.raw)))
	require.NoError(t, err)
	b.owner = make([]int, len(b.raw))
	from := int64(0)
	for _, f := range z.File {
		r, err := f.Open()
		require.NoError(t, err)
		data, err := io.ReadAll(r)
		require.NoError(t, err)
		b.files = append(b.files, file{f.Name, data})
		at, err := f.DataOffset()
		require.NoError(t, err)
		for end := at + int64(f.CompressedSize64); from < end; from++ {
			b.owner[from] = seqOf(f.Name)
		}
	}
}

func seqOf(name string) int {
	rest, ok := strings.CutPrefix(name, "records/")
	if !ok || len(rest) < 6 {
		return 0
	}
	seq, _ := strconv.Atoi(rest[:6])
	return seq
}

// packed is an archive in the form of a bundle.
func packed(files []file) []byte {
	var out bytes.Buffer
	z := zip.NewWriter(&out)
	for _, f := range files {
		//lint:ignore SA1019 raw headers take the date only so
		h := &zip.FileHeader{Name: f.name, CRC32: crc32.ChecksumIEEE(f.data), UncompressedSize64: uint64(len(f.data)), ModifiedDate: 1<<5 | 1}
		data := f.data
		if strings.HasSuffix(f.name, "trace.csv") {
			var small bytes.Buffer
			w, _ := flate.NewWriter(&small, flate.DefaultCompression)
			_, _ = w.Write(data)
			_ = w.Close()
			h.Method, data = zip.Deflate, small.Bytes()
		}
		h.CompressedSize64 = uint64(len(data))
		w, err := z.CreateRaw(h)
		if err == nil {
			_, err = w.Write(data)
		}
		if err != nil {
			panic(err)
		}
	}
	if err := z.Close(); err != nil {
		panic(err)
	}
	return out.Bytes()
}

// judge checks a bundle as somebody does who kept the bench's key and heads
// (unless keys are given).
func (b *bundled) judge(t *testing.T, data []byte, c *change) (found bool, by []string) {
	path := filepath.Join(t.TempDir(), "changed.bundle")
	require.NoError(t, os.WriteFile(path, data, 0o600))
	defer os.Remove(path)
	x, err := bundle.Open(path)
	if err != nil {
		return true, []string{"open: " + err.Error()}
	}
	defer x.Close()
	e := bundle.Expectations{Keys: []string{b.key}}
	if c != nil && c.heads {
		e.Older = b.o.older[:1]
	}
	check, err := x.Verify(e)
	if err != nil {
		return true, []string{"verify: " + err.Error()}
	}
	for _, d := range check.Damages {
		by = append(by, d.String())
	}
	return !check.Whole(), by
}

// bundleNamed says that a record is named in what was found.
func (b *bundled) named(by []string, seqs []int) bool {
	for _, line := range by {
		for _, seq := range seqs {
			if strings.Contains(line, b.o.id(seq)) || strings.Contains(line, fmt.Sprintf("records/%06d/", seq)) {
				return true
			}
		}
	}
	return len(seqs) == 0
}

// change makes one changed bundle; seqs are the records that it belongs to.
func (b *bundled) change(rng *rand.Rand) (data []byte, c *change, seqs []int) {
	files := slices.Clone(b.files)
	i, j := rng.IntN(len(files)), rng.IntN(len(files))
	c = &change{what: files[i].name}
	own := func(names ...string) {
		for _, n := range names {
			if s := seqOf(n); s > 0 {
				seqs = append(seqs, s)
			}
		}
	}
	switch rng.IntN(10) {
	case 0, 1, 2:
		at := rng.IntN(len(b.raw))
		data = bytes.Clone(b.raw)
		data[at] ^= 1 << rng.IntN(8)
		c.kind, c.what = "bundle: bit in the archive", fmt.Sprintf("byte %d of %d", at, len(data))
		if s := b.owner[at]; s > 0 {
			seqs = []int{s}
		}
		return data, c, seqs
	case 3, 4:
		c.kind = "bundle: bytes of a file, well packed"
		files[i].data = other(files[i].data, rng).([]byte)
		own(files[i].name)
	case 5:
		c.kind = "bundle: a file for another"
		c.what += " by " + files[j].name
		files[i].data = files[j].data
		own(files[i].name)
	case 6:
		c.kind = "bundle: file left out"
		own(files[i].name)
		files = slices.Delete(files, i, i+1)
	case 7:
		c.kind = "bundle: files in another order, or twice"
		c.what += " and " + files[j].name
		if i == j {
			files = slices.Insert(files, i, files[i])
		}
		files[i%len(b.files)], files[j] = files[j], files[i%len(b.files)]
	case 8:
		return b.renamed(files, c, rng)
	case 9:
		return b.forged(files, c, rng)
	}
	return packed(files), c, seqs
}

// renamed gives a record another's number, or a file another name.
func (b *bundled) renamed(files []file, c *change, rng *rand.Rand) ([]byte, *change, []int) {
	i := rng.IntN(len(files))
	from := seqOf(files[i].name)
	if from == 0 || rng.IntN(2) == 0 {
		c.kind = "bundle: file renamed"
		files[i].name = other(files[i].name, rng).(string)
		c.what += " to " + files[i].name
		return packed(files), c, nil // what it was called is nowhere else
	}
	to := 1 + rng.IntN(b.o.n+3)
	c.kind, c.what = "bundle: record renumbered", fmt.Sprintf("%d to %d", from, to)
	var rest, moved []file
	for _, f := range files {
		if seqOf(f.name) == from {
			moved = append(moved, file{fmt.Sprintf("records/%06d/%s", to, f.name[len("records/000000/"):]), f.data})
		} else if seqOf(f.name) != to || from == to {
			rest = append(rest, f)
		}
	}
	at := slices.IndexFunc(rest, func(f file) bool { return seqOf(f.name) > to })
	if at < 0 {
		at = len(rest)
	}
	return packed(slices.Insert(rest, at, moved...)), c, []int{from, to}
}

// forged changes a trace and all hashes up to where a signature stands; or
// signs with a key of its own under the bench's name; or is the bench itself,
// which has another past.
func (b *bundled) forged(files []file, c *change, rng *rand.Rand) ([]byte, *change, []int) {
	var traces []int
	for i, f := range files {
		if strings.HasSuffix(f.name, "/trace.csv") {
			traces = append(traces, i)
		}
	}
	t := traces[rng.IntN(len(traces))]
	seq := seqOf(files[t].name)
	body := slices.IndexFunc(files, func(f file) bool { return f.name == fmt.Sprintf("records/%06d/record.json", seq) })
	at := bytes.LastIndexByte(bytes.TrimRight(files[t].data, "\n"), ',') + 1
	changed := bytes.Clone(files[t].data)
	changed[at] = '9'
	was, is := sha256.Sum256(files[t].data), sha256.Sum256(changed)
	files[t].data = changed
	files[body].data = bytes.Replace(files[body].data, []byte(hex.EncodeToString(was[:])), []byte(hex.EncodeToString(is[:])), 1)
	c.what = fmt.Sprintf("trace of %d", seq)
	if rng.IntN(2) == 0 {
		c.kind = "bundle: trace forged, hashes redone"
		return packed(files), c, []int{seq}
	}
	// A log of one record, true in itself.
	c.kind, c.what = "bundle: forged, signed by another key", ""
	key, err := ledger.NewKey(ledger.Origin(b.o.bench))
	if err != nil {
		panic(err)
	}
	head, err := ledger.ParseHead(b.file("head.txt"), b.key)
	if err == nil {
		head, err = key.Sign(b.o.bench, head.Size, head.Root)
	}
	if err != nil {
		panic(err)
	}
	files = slices.Clone(b.files)
	for i := range files {
		switch files[i].name {
		case "head.txt":
			files[i].data = head.Signed
		case "keys.txt":
			files[i].data = []byte(key.Public() + "\n")
		}
	}
	return packed(files), c, nil
}

func (b *bundled) file(name string) []byte {
	for _, f := range b.files {
		if f.name == name {
			return f.data
		}
	}
	return nil
}

// same says that a changed bundle is the old one after all.
func (b *bundled) same(data []byte) bool {
	return bytes.Equal(data, b.raw) || bytes.Equal(data, packed(b.files))
}
