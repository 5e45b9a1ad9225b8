package record

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// edit changes a file of a record.
func edit(t *testing.T, path, from, to string) {
	t.Helper()
	data, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Contains(t, string(data), from)
	require.NoError(t, os.WriteFile(path, []byte(strings.Replace(string(data), from, to, 1)), 0o644))
}

// reseal makes a changed record.json and its hash fit again.
func reseal(t *testing.T, d *Dir, seq int) {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(d.folder(seq), bodyFile))
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(d.folder(seq), sumFile), sumLine(hash(data)), 0o644))
}

func move(t *testing.T, from, to string) {
	t.Helper()
	require.NoError(t, os.Rename(from, to))
}

func copyFolder(t *testing.T, from, to string) {
	t.Helper()
	require.NoError(t, os.CopyFS(to, os.DirFS(from)))
}

// Every kind of change is found and the record named. Five records; the
// record at hand is the third, unless the case says otherwise.
func TestTampering(t *testing.T) {
	in := func(d *Dir, seq int, file string) string { return filepath.Join(d.folder(seq), file) }
	cases := []struct {
		name  string
		do    func(t *testing.T, d *Dir)
		named []string // in the order of the report; a number is a record
	}{
		{"sample changed", func(t *testing.T, d *Dir) { edit(t, in(d, 3, traceFile), "0,0,0", "0,0,1") }, []string{"3"}},
		{"trace cut", func(t *testing.T, d *Dir) { require.NoError(t, os.Truncate(in(d, 3, traceFile), 5)) }, []string{"3"}},
		{"trace gone", func(t *testing.T, d *Dir) { require.NoError(t, os.Remove(in(d, 3, traceFile))) }, []string{"3"}},
		{"profile changed", func(t *testing.T, d *Dir) { edit(t, in(d, 3, profileFile), "medium", "Medium") }, []string{"3"}},
		{"verdict changed", func(t *testing.T, d *Dir) { edit(t, in(d, 3, resultFile), "fail", "pass") }, []string{"3"}},
		{"operator changed", func(t *testing.T, d *Dir) { edit(t, in(d, 3, bodyFile), "<B>", "<C>") }, []string{"3"}},
		{"operator changed, own hash renewed", func(t *testing.T, d *Dir) {
			edit(t, in(d, 3, bodyFile), "<B>", "<C>")
			reseal(t, d, 3)
		}, []string{"3"}},
		{"last one changed, own hash renewed", func(t *testing.T, d *Dir) {
			edit(t, in(d, 5, bodyFile), "<B>", "<C>")
			reseal(t, d, 5)
		}, []string{"5"}},
		{"trace changed, all hashes of the record renewed", func(t *testing.T, d *Dir) {
			data := []byte("t_s,duty_pct,current_A\n0,0,7\n")
			r, err := d.Get(ID{Seq: 3})
			require.NoError(t, err)
			require.NoError(t, os.WriteFile(in(d, 3, traceFile), data, 0o644))
			edit(t, in(d, 3, bodyFile), hash(r.Trace), hash(data))
			reseal(t, d, 3)
		}, []string{"3"}},
		{"link changed, own hash renewed", func(t *testing.T, d *Dir) {
			r, err := d.Get(ID{Seq: 3})
			require.NoError(t, err)
			edit(t, in(d, 3, bodyFile), r.Previous, strings.Repeat("0", 64))
			reseal(t, d, 3)
		}, []string{"3"}},
		{"verdict in the record only", func(t *testing.T, d *Dir) {
			edit(t, in(d, 3, bodyFile), `"verdict": "fail"`, `"verdict": "pass"`)
			reseal(t, d, 3)
		}, []string{"3"}},
		{"a blank in the record", func(t *testing.T, d *Dir) {
			edit(t, in(d, 3, bodyFile), `"seq": 3`, `"seq":  3`)
			reseal(t, d, 3)
		}, []string{"3"}},
		{"key added", func(t *testing.T, d *Dir) {
			edit(t, in(d, 3, bodyFile), `"format": 2,`, `"format": 2, "more": 1,`)
			reseal(t, d, 3)
		}, []string{"3"}},
		{"own hash changed", func(t *testing.T, d *Dir) { edit(t, in(d, 3, sumFile), "  ", " ") }, []string{"3"}},
		{"own hash gone", func(t *testing.T, d *Dir) { require.NoError(t, os.Remove(in(d, 3, sumFile))) }, []string{"3"}},
		{"file added", func(t *testing.T, d *Dir) { require.NoError(t, os.WriteFile(in(d, 3, "note.txt"), nil, 0o644)) }, []string{"3"}},
		{"trace is a link", func(t *testing.T, d *Dir) {
			move(t, in(d, 3, traceFile), filepath.Join(d.path, "elsewhere"))
			require.NoError(t, os.Symlink(filepath.Join(d.path, "elsewhere"), in(d, 3, traceFile)))
		}, []string{"3"}},
		{"folder is a link", func(t *testing.T, d *Dir) {
			move(t, d.folder(3), filepath.Join(d.path, "elsewhere"))
			require.NoError(t, os.Symlink(filepath.Join(d.path, "elsewhere"), d.folder(3)))
		}, []string{"records/000003", "3"}},
		{"record gone", func(t *testing.T, d *Dir) { require.NoError(t, os.RemoveAll(d.folder(3))) }, []string{"3"}},
		{"first gone", func(t *testing.T, d *Dir) { require.NoError(t, os.RemoveAll(d.folder(1))) }, []string{"1"}},
		{"last two gone", func(t *testing.T, d *Dir) {
			require.NoError(t, os.RemoveAll(d.folder(4)))
			require.NoError(t, os.RemoveAll(d.folder(5)))
		}, []string{"4", "5"}},
		{"all gone", func(t *testing.T, d *Dir) {
			for seq := 1; seq <= 5; seq++ {
				require.NoError(t, os.RemoveAll(d.folder(seq)))
			}
		}, []string{"1", "2", "3", "4", "5"}},
		{"two swapped", func(t *testing.T, d *Dir) {
			move(t, d.folder(2), d.folder(9))
			move(t, d.folder(3), d.folder(2))
			move(t, d.folder(9), d.folder(3))
		}, []string{"2", "3"}},
		{"two swapped and renumbered", func(t *testing.T, d *Dir) {
			move(t, d.folder(2), d.folder(9))
			move(t, d.folder(3), d.folder(2))
			move(t, d.folder(9), d.folder(3))
			edit(t, in(d, 2, bodyFile), `"seq": 3`, `"seq": 2`)
			edit(t, in(d, 3, bodyFile), `"seq": 2`, `"seq": 3`)
			reseal(t, d, 2)
			reseal(t, d, 3)
		}, []string{"2", "3"}},
		{"copy appended", func(t *testing.T, d *Dir) { copyFolder(t, d.folder(3), d.folder(6)) }, []string{"6"}},
		{"copy appended and renumbered", func(t *testing.T, d *Dir) {
			copyFolder(t, d.folder(3), d.folder(6))
			edit(t, in(d, 6, bodyFile), `"seq": 3`, `"seq": 6`)
			reseal(t, d, 6)
		}, []string{"6"}},
		{"inserted, the later ones moved up", func(t *testing.T, d *Dir) {
			for seq := 5; seq >= 3; seq-- {
				move(t, d.folder(seq), d.folder(seq+1))
			}
			copyFolder(t, d.folder(2), d.folder(3))
		}, []string{"3", "4", "5", "6"}},
		{"record of another bench", func(t *testing.T, d *Dir) {
			other := open(t)
			put(t, other, "A1", "A2", "A3")
			require.NoError(t, os.RemoveAll(d.folder(3)))
			copyFolder(t, other.folder(3), d.folder(3))
		}, []string{"3"}},
		{"stray file among the records", func(t *testing.T, d *Dir) {
			require.NoError(t, os.WriteFile(filepath.Join(d.path, "records", "x"), nil, 0o644))
		}, []string{"records/x"}},
		{"head gone", func(t *testing.T, d *Dir) { require.NoError(t, os.Remove(filepath.Join(d.path, "head.json"))) }, []string{"head.json"}},
		{"head damaged", func(t *testing.T, d *Dir) { edit(t, filepath.Join(d.path, "head.json"), `"seq": 5`, `"seq": "5"`) }, []string{"head.json"}},
		{"key gone", func(t *testing.T, d *Dir) { require.NoError(t, os.Remove(filepath.Join(d.path, "bench.json"))) }, []string{"bench.json"}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			d := open(t)
			put(t, d, "A1", "A2", "A3", "A4", "A5")
			clean(t, d)
			key, err := d.Key()
			require.NoError(t, err)
			c.do(t, d)
			damage, err := d.Verify()
			require.NoError(t, err)
			var named []string
			for _, x := range damage {
				name := x.Record
				if id, err := ParseID(name); err == nil && id.Bench == key {
					name = fmt.Sprint(id.Seq)
				}
				named = append(named, name)
				assert.NotEmpty(t, x.Problem)
				if c.name == "record of another bench" {
					assert.Contains(t, x.Problem, c.name)
				}
			}
			assert.Equal(t, c.named, named, "%v", damage)
		})
	}
}

func TestDamagedKeyIsAnError(t *testing.T) {
	d := open(t)
	put(t, d, "A1")
	require.NoError(t, os.WriteFile(filepath.Join(d.path, "bench.json"), []byte("{}"), 0o644))
	_, err := d.Verify()
	require.ErrorContains(t, err, "bring it back from a copy")
	_, err = d.Put(sample("A2"))
	require.Error(t, err)
	require.NoError(t, os.Remove(filepath.Join(d.path, "bench.json")))
	_, err = d.Put(sample("A2"))
	require.ErrorContains(t, err, "missing beside its records")
}

func TestDamageDoesNotStopKeeping(t *testing.T) {
	d := open(t)
	put(t, d, "A1", "A2", "A3")
	require.NoError(t, os.RemoveAll(d.folder(3)))
	r := put(t, d, "A4")[0]
	assert.Equal(t, 4, r.ID.Seq)
	require.NoError(t, os.Remove(filepath.Join(d.path, "head.json")))
	r = put(t, d, "A5")[0]
	assert.Equal(t, 5, r.ID.Seq)
	damage, err := d.Verify()
	require.NoError(t, err)
	require.Len(t, damage, 1)
	assert.Contains(t, damage[0].String(), "-000003: it is missing; nothing vouches for record 000002 any more")

	// Something in the way is left alone.
	require.NoError(t, os.MkdirAll(filepath.Join(d.folder(6), "x"), 0o755))
	_, err = d.Put(sample("A6"))
	assert.ErrorContains(t, err, "in the way")
}

func TestStrayNumberDoesNotMakeTheSearchEndless(t *testing.T) {
	d := open(t)
	put(t, d, "A1")
	copyFolder(t, d.folder(1), d.folder(maxSeq))
	damage, err := d.Verify()
	require.NoError(t, err)
	assert.Len(t, damage, 1002)
}

// A record alone, without its neighbours, must agree with itself.
func TestGetChecksTheRecordItself(t *testing.T) {
	for _, change := range [][2]string{
		{`"verdict": "fail"`, `"verdict": "pass"`}, {`"cause": "mechanical"`, `"cause": "hydraulic"`},
		{`"seq": 1`, `"seq":  1`}, {`"seq": 1`, `"seq": 2`}, {`"format": 2`, `"format": 3`},
	} {
		d := open(t)
		put(t, d, "A1")
		edit(t, filepath.Join(d.folder(1), bodyFile), change[0], change[1])
		reseal(t, d, 1)
		_, err := d.Get(ID{Seq: 1})
		assert.ErrorContains(t, err, "is damaged", "%q", change)
	}
}

// Any single byte of any file of a record, changed, is found.
func TestEveryByteCounts(t *testing.T) {
	d := open(t)
	put(t, d, "A1", "A2", "A3")
	for _, file := range []string{bodyFile, sumFile, traceFile, profileFile, resultFile} {
		path := filepath.Join(d.folder(2), file)
		f, err := os.OpenFile(path, os.O_RDWR, 0)
		require.NoError(t, err)
		info, err := f.Stat()
		require.NoError(t, err)
		var was [1]byte
		for i := range info.Size() {
			_, err := f.ReadAt(was[:], i)
			require.NoError(t, err)
			_, err = f.WriteAt([]byte{was[0] ^ 1}, i)
			require.NoError(t, err)
			_, err = d.read(2)
			require.Error(t, err, "%s byte %d", file, i)
			_, err = f.WriteAt(was[:], i)
			require.NoError(t, err)
		}
		require.NoError(t, f.Close())
	}
	clean(t, d)
}
