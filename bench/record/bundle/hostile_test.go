package bundle

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	"encoding/binary"
	"hash/crc32"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// archive writes a zip with whatever headers, by the standard library.
func archive(t testing.TB, list []entry, change func(i int, h *zip.FileHeader)) []byte {
	var b bytes.Buffer
	w := zip.NewWriter(&b)
	for i, e := range list {
		packed := e.data
		h := header(e.name, crc32.ChecksumIEEE(e.data), int64(len(e.data)), int64(len(e.data)))
		if h.Method == zip.Deflate {
			var d bytes.Buffer
			c, err := flate.NewWriter(&d, 9)
			require.NoError(t, err)
			_, err = c.Write(e.data)
			require.NoError(t, err)
			require.NoError(t, c.Close())
			packed = d.Bytes()
			h.CompressedSize64 = uint64(len(packed))
		}
		change(i, h)
		out, err := w.CreateRaw(h)
		require.NoError(t, err)
		if len(packed) > 0 && !strings.HasSuffix(h.Name, "/") { // Writer refuses content of a folder
			_, err = out.Write(packed)
			require.NoError(t, err)
		}
	}
	require.NoError(t, w.Close())
	return b.Bytes()
}

// TestNamesCannotLeave tries every way for a name to lead elsewhere, beside
// and in place of what belongs there.
func TestNamesCannotLeave(t *testing.T) {
	s := newShelf(t, 2)
	list := apart(t, written(t, s, ids(2), Options{}))
	for _, name := range []string{
		"../evil", "/etc/evil", "records/../../evil", "records/000002/../../../evil", "records/000002/files/../../../../evil",
		`..\evil`, `records\000002\evil`, `records/000002/files/..\evil`, "C:/evil", "C:evil", "//host/evil", "records//000002/evil",
		"records/000002/files/", "records/000002/", "records/", "records/000002/files/a/b", "records/000002/files/.hidden", "records/000002/files/..",
		"records/000002/files/a\x00b", "records/000002/files/\x1b[2J", "records/000002/files/photo-1.jpg/x", "readme.txt", "README.TXT",
		"records/000002/../x", "records/000002/./x", "records/000002/more.txt", "records/000002/files", "records/2/trace.csv", "records/1000000000/trace.csv",
		"records/000002/files/PHOTO-1.jpg", "records/000002/Trace.csv", "records/000002/trace.csv", "", ".", "evil", "records/000002", "records/-00002/x",
		"records/+00002/trace.csv", "records/000000/trace.csv", "records/٠٠٠٠٠٢/trace.csv", "older/02-head.txt", "older/00-head.txt",
	} {
		data := archive(t, append(append([]entry(nil), list...), entry{name, []byte("evil")}), func(int, *zip.FileHeader) {})
		// Refused by Open: whoever unpacks it need not have verified it.
		_, err := read(bytes.NewReader(data), int64(len(data)))
		require.Error(t, err, "%q", name)
		assert.NotContains(t, err.Error(), "\x1b")
	}
	// A whole folder of another name, and as many as there are.
	dir := t.TempDir()
	path := filepath.Join(dir, "b.zip")
	require.NoError(t, os.WriteFile(path, archive(t, append(list, entry{"../evil", nil}), func(int, *zip.FileHeader) {}), 0o644))
	_, err := Open(path)
	assert.ErrorContains(t, err, "have it sent again")
	_, err = Open(dir)
	assert.ErrorContains(t, err, "no file")
	_, err = Open(filepath.Join(dir, "none"))
	assert.ErrorIs(t, err, os.ErrNotExist)
}

// TestOneFormOnly tries headers that other tools read otherwise.
func TestOneFormOnly(t *testing.T) {
	s := newShelf(t, 2)
	data := written(t, s, ids(2), Options{})
	list := apart(t, data)
	last := len(list) - 1
	for name, change := range map[string]func(*zip.FileHeader){
		"a link":        func(h *zip.FileHeader) { h.SetMode(os.ModeSymlink | 0o777) },
		"a device":      func(h *zip.FileHeader) { h.SetMode(os.ModeDevice | 0o777) },
		"a mode":        func(h *zip.FileHeader) { h.SetMode(0o4755) },
		"a version":     func(h *zip.FileHeader) { h.CreatorVersion = 3 << 8 },
		"a comment":     func(h *zip.FileHeader) { h.Comment = "x" },
		"an extra":      func(h *zip.FileHeader) { h.Extra = []byte{1, 0, 0, 0} },
		"encrypted":     func(h *zip.FileHeader) { h.Flags |= 1 },
		"UTF-8":         func(h *zip.FileHeader) { h.Flags |= 0x800 },
		"descriptor":    func(h *zip.FileHeader) { h.Flags |= 8 },
		"another CRC":   func(h *zip.FileHeader) { h.CRC32 ^= 1 },
		"unknown":       func(h *zip.FileHeader) { h.Method = 99 },
		"packed":        func(h *zip.FileHeader) { h.Method = zip.Deflate },
		"larger":        func(h *zip.FileHeader) { h.UncompressedSize64++ },
		"smaller":       func(h *zip.FileHeader) { h.UncompressedSize64-- },
		"huge":          func(h *zip.FileHeader) { h.UncompressedSize64 = 1 << 31 },
		"beyond 32 bit": func(h *zip.FileHeader) { h.UncompressedSize64 = 1 << 40 },
		"beyond all":    func(h *zip.FileHeader) { h.UncompressedSize64 = 1<<64 - 1 },
		"longer inside": func(h *zip.FileHeader) { h.CompressedSize64 = 1 << 31 },
	} {
		hurt := archive(t, list, func(i int, h *zip.FileHeader) {
			if i == last {
				change(h)
			}
		})
		assert.NotEmpty(t, refused(hurt, Expectations{}), name)
	}
	// What lies between, before, behind or inside, where the directory does
	// not tell of it.
	gap := append(append(bytes.Clone(data[:len(data)-endLength]), "hidden"...), data[len(data)-endLength:]...)
	assert.NotEmpty(t, refused(gap, Expectations{}))
	end := bytes.Clone(data)
	binary.LittleEndian.PutUint16(end[len(end)-2:], 3)
	assert.NotEmpty(t, refused(append(end, "abc"...), Expectations{}))
	two := bytes.Replace(data, []byte("head.txtdutybench"), []byte("HEAD.txtdutybench"), 1) // the local name, not the directory's
	assert.Contains(t, refused(two, Expectations{}), "head.txt is not packed")
	local := bytes.Replace(data, []byte("000002/proof.txt"), []byte("000003/proof.txt"), 1)
	assert.Contains(t, refused(local, Expectations{}), "k3v7q2m9xw-000002: proof.txt is not packed")
	at := bytes.LastIndex(data, []byte("records/000002/trace.csv")) - 8 // the directory's attributes
	dated := bytes.Clone(data)
	dated[at]++
	assert.Contains(t, refused(dated, Expectations{}), "trace.csv is not packed")
}

// TestBombs holds that what would unpack to much costs little.
func TestBombs(t *testing.T) {
	s := newShelf(t, 1)
	list := apart(t, written(t, s, ids(1), Options{}))
	zeros := make([]byte, 64<<20)
	began := time.Now()
	for i, e := range list {
		if _, what, _ := recordOf(e.name); what != traceFile {
			continue
		}
		bomb := append([]entry(nil), list...)
		bomb[i].data = zeros
		data := archive(t, bomb, func(int, *zip.FileHeader) {})
		require.Less(t, len(data), 200<<10)
		assert.Contains(t, refused(data, Expectations{}), "trace.csv was changed", "as large as it says: read, and not kept")
		data = archive(t, bomb, func(_ int, h *zip.FileHeader) {
			if h.Method == zip.Deflate {
				h.UncompressedSize64 = 10
			}
		})
		assert.Contains(t, refused(data, Expectations{}), "not as long as the bundle says")
	}
	// What a trace's stream ends before, in a form that is right otherwise.
	var b bytes.Buffer
	w := zip.NewWriter(&b)
	for _, e := range list {
		var one bytes.Buffer
		z := zip.NewWriter(&one)
		require.NoError(t, add(z, e.name, e.data))
		require.NoError(t, z.Close())
		r, err := zip.NewReader(bytes.NewReader(one.Bytes()), int64(one.Len()))
		require.NoError(t, err)
		raw, err := r.File[0].OpenRaw()
		require.NoError(t, err)
		packed, err := io.ReadAll(raw)
		require.NoError(t, err)
		if deflated(e.name) {
			packed = append(packed, "hidden"...)
		}
		out, err := w.CreateRaw(header(e.name, crc32.ChecksumIEEE(e.data), int64(len(packed)), int64(len(e.data))))
		require.NoError(t, err)
		_, err = out.Write(packed)
		require.NoError(t, err)
	}
	require.NoError(t, w.Close())
	assert.Contains(t, refused(b.Bytes(), Expectations{}), "k3v7q2m9xw-000001: trace.csv: something is hidden behind its end")

	for i, e := range list {
		if e.name == headFile || e.name == keysFile || strings.HasSuffix(e.name, proofFile) {
			large := append([]entry(nil), list...)
			large[i].data = make([]byte, maxText+1)
			assert.Contains(t, refused(joined(t, large), Expectations{}), "it may have 65536")
		}
	}
	// Many files, none of them of a bundle, and a directory that only says so.
	many := make([]entry, maxEntries+1)
	for i := range many {
		many[i].name = "x"
	}
	assert.Contains(t, refused(archive(t, many, func(int, *zip.FileHeader) {}), Expectations{}), "at most")
	data := written(t, s, ids(1), Options{})
	for _, at := range []int{10, 12, 16} {
		lie := bytes.Clone(data)
		lie[len(lie)-endLength+at+1] ^= 0x7f
		assert.NotEmpty(t, refused(lie, Expectations{}))
	}
	// Each may be as large as it may be, all together may not.
	var large []entry
	large = append(large, list[:3]...)
	for i := range 5 {
		large = append(large, entry{recordName(i+1, bodyFile), nil}, entry{recordName(i+1, proofFile), nil}, entry{recordName(i+1, traceFile), nil})
	}
	got := refused(archive(t, large, func(_ int, h *zip.FileHeader) {
		if h.Method == zip.Deflate {
			h.UncompressedSize64 = maxTrace
		}
	}), Expectations{})
	assert.Contains(t, got, "unpacked it would take more")
	assert.Less(t, time.Since(began), 20*time.Second)
}

// FuzzOpen looks for a panic, and for a bundle that is taken although its
// files are not those that were put in.
func FuzzOpen(f *testing.F) {
	s := newShelf(f, 4)
	data := written(f, s, ids(2, 3), Options{})
	f.Add(data)
	list := apart(f, data)
	f.Add(archive(f, list[:4], func(int, *zip.FileHeader) {}))
	f.Add(archive(f, list, func(_ int, h *zip.FileHeader) { h.UncompressedSize64 = 1 << 40 }))
	f.Add([]byte("PK\x05\x06"))
	x := Expectations{Keys: []string{s.key.Public()}}
	f.Fuzz(func(t *testing.T, data []byte) {
		if refused(data, x) == "" {
			for _, e := range apart(t, data) {
				require.Contains(t, list, e)
			}
		}
		_ = refused(data, Expectations{})
	})
}
