package bundle

import (
	"bytes"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/record"
	"dutybench/bench/record/ledger"
)

const bench = "k3v7q2m9xw"

// shelf is a store in memory.
type shelf struct {
	key     ledger.Key
	records []*record.Record
	bodies  [][]byte
	hashes  []ledger.Hash
}

func (s *shelf) ReadHashes(indexes []int64) ([]ledger.Hash, error) {
	var out []ledger.Hash
	for _, i := range indexes {
		if i < 0 || i >= int64(len(s.hashes)) {
			return nil, fmt.Errorf("no hash %d", i)
		}
		out = append(out, s.hashes[i])
	}
	return out, nil
}

func (s *shelf) Hashes(string) ledger.HashReader { return s }
func (s *shelf) Key(string) (string, error)      { return s.key.Public(), nil }

func (s *shelf) Get(id record.ID) (*record.Record, error) {
	if id.Seq < 1 || id.Seq > len(s.records) {
		return nil, fs.ErrNotExist
	}
	r := *s.records[id.Seq-1]
	return &r, nil
}

func (s *shelf) Body(id record.ID) ([]byte, error) { return s.bodies[id.Seq-1], nil }

func (s *shelf) Head(string) (ledger.Head, error) { return s.headAt(len(s.bodies)) }

func (s *shelf) headAt(n int) (ledger.Head, error) {
	root, err := ledger.Root(int64(n), s)
	if err != nil {
		return ledger.Head{}, err
	}
	return s.key.Sign(bench, int64(n), root)
}

// newShelf holds n records; every second one has a profile, every third a
// result, and each as many files as its number leaves at a division by three.
func newShelf(t testing.TB, n int) *shelf {
	key, err := ledger.NewKey(ledger.Origin(bench))
	require.NoError(t, err)
	s := &shelf{key: key}
	at := record.Place{Bench: bench}
	for i := 1; i <= n; i++ {
		r := &record.Record{
			When: time.Date(2026, 11, 25, 9, i, 0, 0, time.UTC), Purpose: "incoming", Program: "dutybench test",
			Rig: record.Rig{Name: "fast"}, At: record.Circumstances{Unit: fmt.Sprintf("SN-%03d", i), Kind: "pump", Notes: "ä \"<b>"},
			Trace: []byte("# trace: 1\nt_s,duty_pct,current_A\n" + strings.Repeat(fmt.Sprintf("0.%03d,0,0.05\n", i), 40)),
		}
		if i%2 == 0 {
			r.Profile = record.Profile{Name: "aux", Revision: 2, Text: []byte("name = \"aux\"\n")}
		}
		if i%3 == 0 {
			r.Result = []byte(`{"schema":1,"verdict":"undecided","cause":"wiring"}`)
		}
		for j := range i % 3 {
			r.Files = append(r.Files, record.File{Name: fmt.Sprintf("photo-%d.jpg", j+1), Data: fmt.Appendf(nil, "picture %d of %d", j, i)})
		}
		s.put(t, r, &at)
	}
	return s
}

func (s *shelf) put(t testing.TB, r *record.Record, at *record.Place) {
	at.Seq = len(s.records) + 1
	body, err := record.Seal(r, *at)
	require.NoError(t, err)
	h, err := ledger.Append(int64(len(s.bodies)), body, s)
	require.NoError(t, err)
	s.records, s.bodies, s.hashes = append(s.records, r), append(s.bodies, body), append(s.hashes, h...)
	at.Previous, at.After = r.Hash, r.When
}

func ids(seqs ...int) []record.ID {
	var out []record.ID
	for _, n := range seqs {
		out = append(out, record.ID{Bench: bench, Seq: n})
	}
	return out
}

func written(t testing.TB, s *shelf, list []record.ID, o Options) []byte {
	var b bytes.Buffer
	require.NoError(t, Write(&b, s, list, o))
	return b.Bytes()
}

func opened(t testing.TB, data []byte) *Bundle {
	b, err := read(bytes.NewReader(data), int64(len(data)))
	require.NoError(t, err)
	return b
}

func checked(t testing.TB, data []byte, x Expectations) *Check {
	c, err := opened(t, data).Verify(x)
	require.NoError(t, err)
	return c
}

func TestABundleVouchesForItsRecords(t *testing.T) {
	s := newShelf(t, 9)
	data := written(t, s, ids(7, 2, 3, 2, 9), Options{})
	assert.Equal(t, data, written(t, s, ids(2, 3, 7, 9), Options{}), "the same records give the same bytes")
	c := checked(t, data, Expectations{Keys: []string{s.key.Public() + "\n"}})
	require.Empty(t, c.Damages)
	assert.True(t, c.Whole())
	assert.True(t, c.Trusted)
	assert.Equal(t, bench, c.Bench)
	assert.EqualValues(t, 9, c.Head.Size)
	require.Len(t, c.Records, 4)
	for i, seq := range []int{2, 3, 7, 9} {
		assert.Equal(t, seq, c.Records[i].ID.Seq)
		assert.Equal(t, s.records[seq-1].Hash, c.Records[i].Hash)
	}
	assert.Equal(t, "wiring", string(c.Records[1].Cause))
	assert.Contains(t, c.Proved[0], "key that you gave")

	c = checked(t, data, Expectations{})
	assert.True(t, c.Whole())
	assert.False(t, c.Trusted)
	assert.Contains(t, strings.Join(c.Open, "\n"), "vouches for itself only")
	assert.Contains(t, strings.Join(c.Open, "\n"), ledger.Fingerprint(s.key.Public()))

	other := newShelf(t, 1)
	c = checked(t, data, Expectations{Keys: []string{other.key.Public()}})
	require.NotEmpty(t, c.Damages)
	assert.Contains(t, c.Damages[0].Problem, ledger.Fingerprint(other.key.Public()))
	_, err := opened(t, data).Verify(Expectations{Keys: []string{"nonsense"}})
	assert.ErrorContains(t, err, "no public key")

	// One record alone: an empty proof, and the root is its leaf.
	c = checked(t, written(t, other, ids(1), Options{}), Expectations{Keys: []string{other.key.Public()}})
	assert.Empty(t, c.Damages)
}

func TestEarlierHeads(t *testing.T) {
	s := newShelf(t, 23)
	desk, err := ledger.NewKey("desk.example")
	require.NoError(t, err)
	at := func(n int) ledger.Head {
		h, err := s.headAt(n)
		require.NoError(t, err)
		return h
	}
	line := func(n int) ledger.Head {
		h, err := ledger.ParseLine(at(n).String())
		require.NoError(t, err)
		return h
	}
	signed, err := desk.Countersign(at(12), s.key.Public())
	require.NoError(t, err)
	o := Options{Older: []ledger.Head{line(5), signed, at(23)}, Keys: []string{desk.Public()}}
	data := written(t, s, ids(3, 20), o)
	trust := []string{s.key.Public(), desk.Public()}
	c := checked(t, data, Expectations{Keys: trust, Older: []ledger.Head{line(5), at(12), line(23)}})
	require.Empty(t, c.Damages)
	assert.Contains(t, strings.Join(c.Proved, "\n"), "desk.example, whose key you gave, countersigned the log when it held 12 records")
	assert.Contains(t, strings.Join(c.Proved, "\n"), "begins with the 5 records")

	c = checked(t, data, Expectations{Keys: trust[:1]})
	assert.True(t, c.Whole())
	assert.Contains(t, strings.Join(c.Open, "\n"), "That desk.example countersigned 12 records")

	// Somebody else's key of the same name vouches for nothing.
	impostor, err := ledger.NewKey("desk.example")
	require.NoError(t, err)
	c = checked(t, data, Expectations{Keys: []string{s.key.Public(), impostor.Public()}})
	require.Len(t, c.Damages, 1)
	assert.Contains(t, c.Damages[0].Problem, "nothing in the bundle is signed by desk.example")

	forged := newShelf(t, 23)
	forged.key = s.key
	rewritten := func(n int) ledger.Head {
		h := line(n)
		h.Root[3] ^= 1
		return h
	}
	elsewhere := line(5)
	elsewhere.Bench = "0123456789"
	for _, x := range []struct {
		h    ledger.Head
		want string
	}{
		{rewritten(5), "another log"}, {rewritten(23), "another log"}, {line(7), "--since"},
		{ledger.Head{Bench: bench, Size: 24, Root: line(5).Root}, "tail was cut"}, {elsewhere, "of bench 0123456789"},
	} {
		c := checked(t, data, Expectations{Keys: trust, Older: []ledger.Head{x.h}})
		require.Len(t, c.Damages, 1, x.want)
		assert.Contains(t, c.Damages[0].Problem, x.want)
	}
	stranger := newShelf(t, 12)
	kept, err := stranger.headAt(12)
	require.NoError(t, err)
	c = checked(t, data, Expectations{Older: []ledger.Head{kept}})
	require.Len(t, c.Damages, 1)
	assert.Contains(t, c.Damages[0].Problem, "signed by none of the keys")

	// A log that was written anew cannot be bundled since the old one's head,
	// nor can the old bundle be passed off.
	s.bodies, s.records, s.hashes = nil, nil, nil
	place := record.Place{Bench: bench}
	for i := range 23 {
		s.put(t, &record.Record{When: time.Date(2026, 11, 25, 9, i, 0, 0, time.UTC), Trace: []byte("another\n")}, &place)
	}
	var b bytes.Buffer
	err = Write(&b, s, ids(3), Options{Older: []ledger.Head{signed}})
	assert.ErrorContains(t, err, "does not extend")
	c = checked(t, written(t, s, ids(3), Options{}), Expectations{Keys: trust[:1], Older: []ledger.Head{signed}})
	assert.False(t, c.Whole())
}

func TestTheClock(t *testing.T) {
	s := newShelf(t, 2)
	at := record.Place{Bench: bench, Previous: s.records[1].Hash, After: s.records[1].When}
	s.put(t, &record.Record{When: time.Date(2026, 11, 20, 0, 0, 0, 0, time.UTC), Trace: []byte("x\n")}, &at)
	c := checked(t, written(t, s, ids(1, 2, 3), Options{}), Expectations{})
	assert.True(t, c.Whole())
	all := strings.Join(c.Open, "\n")
	assert.Contains(t, all, "k3v7q2m9xw-000003 says 2026-11-20 00:00 UTC and stands after k3v7q2m9xw-000002")
	assert.Contains(t, all, "one record says itself that its clock is in doubt")
}

func TestADamagedStoreGivesNoBundle(t *testing.T) {
	for name, hurt := range map[string]func(s *shelf){
		"trace":  func(s *shelf) { s.records[2].Trace = []byte("other") },
		"result": func(s *shelf) { s.records[2].Result = nil },
		"body":   func(s *shelf) { s.bodies[2] = s.bodies[1] },
		"hash":   func(s *shelf) { s.hashes[4][0] ^= 1 },
		"files":  func(s *shelf) { s.records[2].Files = []record.File{{Name: "x"}} },
	} {
		s := newShelf(t, 4)
		hurt(s)
		err := Write(&bytes.Buffer{}, s, ids(3), Options{})
		require.Error(t, err, name)
		assert.ErrorContains(t, err, "k3v7q2m9xw-000003", name)
	}
	s := newShelf(t, 2)
	assert.ErrorContains(t, Write(&bytes.Buffer{}, s, nil, Options{}), "no record")
	assert.ErrorContains(t, Write(&bytes.Buffer{}, s, []record.ID{{Bench: bench, Seq: 1}, {Bench: "0123456789", Seq: 1}}, Options{}), "two benches")
	assert.ErrorIs(t, Write(&bytes.Buffer{}, s, ids(3), Options{}), fs.ErrNotExist)
	assert.ErrorContains(t, Write(&bytes.Buffer{}, s, ids(1), Options{Keys: []string{"x"}}), "no public key")
	s.records[0].Files = []record.File{{Name: "A.jpg"}, {Name: "a.jpg"}}
	at := record.Place{Bench: bench}
	s.put(t, s.records[0], &at)
	assert.ErrorContains(t, Write(&bytes.Buffer{}, s, ids(3), Options{}), "case of letters")
}

func TestSave(t *testing.T) {
	s := newShelf(t, 3)
	dir := t.TempDir()
	path := filepath.Join(dir, "claim.zip")
	require.NoError(t, Save(path, s, ids(1, 2, 3), Options{}))
	b, err := Open(path)
	require.NoError(t, err)
	c, err := b.Verify(Expectations{Keys: []string{s.key.Public()}})
	require.NoError(t, err)
	assert.Empty(t, c.Damages)
	assert.ErrorContains(t, Save(path, s, ids(1), Options{}), "there already")
	assert.Error(t, Save(filepath.Join(dir, "none", "x.zip"), s, ids(1), Options{}))
	assert.Error(t, Save(filepath.Join(dir, "bad.zip"), s, ids(9), Options{}))
	list, err := os.ReadDir(dir)
	require.NoError(t, err)
	assert.Len(t, list, 1, "a bundle that fails leaves nothing")

	out := filepath.Join(dir, "out")
	require.NoError(t, b.Extract(out))
	assert.ErrorContains(t, b.Extract(out), "not there yet")
	trace, err := os.ReadFile(filepath.Join(out, "records", "000002", "trace.csv"))
	require.NoError(t, err)
	assert.Equal(t, s.records[1].Trace, trace)
	photo, err := os.ReadFile(filepath.Join(out, "records", "000002", "files", "photo-2.jpg"))
	require.NoError(t, err)
	assert.Equal(t, s.records[1].Files[1].Data, photo)
	require.NoError(t, b.Close())
	byHand(t, out, s)
}

// byHand runs what README.txt tells people to run.
func byHand(t *testing.T, folder string, s *shelf) {
	for _, tool := range []string{"sh", "env", "sed", "sha256sum", "base64"} {
		if _, err := exec.LookPath(tool); err != nil {
			t.Log("not checked by hand:", err)
			return
		}
	}
	_, script, ok := strings.Cut(readme, "       n=000012\n")
	require.True(t, ok)
	script, _, _ = strings.Cut(script, "\n   The last two lines")
	cmd := exec.Command("sh", "-c", "n=000002\n"+script)
	cmd.Dir = folder
	out, err := cmd.CombinedOutput()
	require.NoError(t, err, string(out))
	root, err := ledger.Root(3, s)
	require.NoError(t, err)
	assert.Equal(t, root.String()+"\n"+root.String()+"\n", string(out))
	cmd = exec.Command("sh", "-c", "sed -n 1p keys.txt | tr -d '\\n' | sha256sum | cut -c1-32")
	cmd.Dir = folder
	out, err = cmd.CombinedOutput()
	require.NoError(t, err)
	assert.Equal(t, strings.ReplaceAll(ledger.Fingerprint(s.key.Public()), " ", "")+"\n", string(out))
}
