package bundle

import (
	"archive/zip"
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/record"
	"dutybench/bench/record/ledger"
)

// entry is one file of a bundle, taken apart.
type entry struct {
	name string
	data []byte
}

func apart(t testing.TB, data []byte) []entry {
	b := opened(t, data)
	var out []entry
	for _, f := range b.zip.File {
		d, err := b.bytes(f)
		require.NoError(t, err)
		out = append(out, entry{f.Name, d})
	}
	return out
}

func joined(t testing.TB, list []entry) []byte {
	var b bytes.Buffer
	w := zip.NewWriter(&b)
	for _, e := range list {
		require.NoError(t, add(w, e.name, e.data))
	}
	require.NoError(t, w.Close())
	return b.Bytes()
}

// refused says why a bundle is not whole; empty where it is.
func refused(data []byte, x Expectations) string {
	b, err := read(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		return err.Error()
	}
	c, err := b.Verify(x)
	if err != nil {
		return err.Error()
	}
	var out []string
	for _, d := range c.Damages {
		out = append(out, d.String())
	}
	return strings.Join(out, "\n")
}

// TestEveryByteCounts changes one byte at a time of a whole bundle, to a
// seeded other value, cuts it there, and puts a byte in.
func TestEveryByteCounts(t *testing.T) {
	s := newShelf(t, 5)
	desk, err := ledger.NewKey("desk")
	require.NoError(t, err)
	h, err := s.headAt(3)
	require.NoError(t, err)
	h, err = desk.Countersign(h, s.key.Public())
	require.NoError(t, err)
	data := written(t, s, ids(2, 3), Options{Older: []ledger.Head{h}, Keys: []string{desk.Public()}})
	x := Expectations{Keys: []string{s.key.Public(), desk.Public()}}
	require.Empty(t, refused(data, x))
	whole := apart(t, data)
	rng := rand.New(rand.NewPCG(5, 1))
	// Where the records' entries lie, headers and all.
	from, to := bytes.Index(data, []byte("records/000002/record.json"))-30, bytes.Index(data, []byte("PK\x01\x02"))
	missed, step := 0, 11 // chosen: so many that the test takes a second
	if os.Getenv("DUTYBENCH_CAMPAIGN") == "full" {
		step = 1
	}
	for i := rng.IntN(step); i < len(data); i += step {
		b := bytes.Clone(data)
		b[i] ^= byte(1 + rng.IntN(255))
		got := refused(b, x)
		if i >= from && i < to {
			assert.Regexp(t, "00000[23]", got, "byte %d: the record is named", i)
		}
		if got == "" {
			// Bits that only fill up a byte of a packed trace carry nothing:
			// what comes out is the same.
			require.Equal(t, whole, apart(t, b), "byte %d", i)
			missed++
		}
	}
	assert.LessOrEqual(t, missed, 4, "of %d", len(data))
	for range 100 {
		i := rng.IntN(len(data))
		require.NotEmpty(t, refused(data[:i], x), "cut at %d", i)
		b := append(bytes.Clone(data[:i]), byte(rng.IntN(256)))
		require.NotEmpty(t, refused(append(b, data[i:]...), x), "put in at %d", i)
	}
	require.NotEmpty(t, refused(append(bytes.Clone(data), 0), x))
	require.NotEmpty(t, refused(append([]byte{0}, data...), x))
	t.Logf("every %d. of %d bytes; %d changes left the same files", step, len(data), missed)
}

// TestForgedBundles makes well-formed bundles whose content is not the log's.
func TestForgedBundles(t *testing.T) {
	s := newShelf(t, 12)
	older, err := s.headAt(4)
	require.NoError(t, err)
	data := written(t, s, ids(3, 6, 8), Options{Older: []ledger.Head{older}})
	x := Expectations{Keys: []string{s.key.Public()}}
	list := apart(t, data)
	require.Equal(t, data, joined(t, list))
	get := func(list []entry, name string) []byte {
		for _, e := range list {
			if e.name == name {
				return e.data
			}
		}
		t.Fatal(name)
		return nil
	}
	put := func(name string, d []byte) []entry {
		out := append([]entry(nil), list...)
		for i := range out {
			if out[i].name == name {
				out[i].data = d
			}
		}
		return out
	}
	rename := func(from, to string) []entry {
		out := append([]entry(nil), list...)
		for i := range out {
			out[i].name = strings.Replace(out[i].name, from, to, 1)
		}
		return out
	}
	without := func(name string) []entry {
		var out []entry
		for _, e := range list {
			if e.name != name {
				out = append(out, e)
			}
		}
		return out
	}
	with := func(after, name string, d []byte) []entry {
		var out []entry
		for _, e := range list {
			if out = append(out, e); e.name == after {
				out = append(out, entry{name, d})
			}
		}
		return out
	}
	const three, six, eight = "records/000003/", "records/000006/", "records/000008/"
	id := "k3v7q2m9xw-000006: "
	body := get(list, six+bodyFile)
	swap := put(six+bodyFile, get(list, three+bodyFile))
	evil := newShelf(t, 12) // the same records, signed by another key
	for i, c := range []struct {
		list []entry
		want string
	}{
		{put(six+bodyFile, bytes.Replace(body, []byte("SN-006"), []byte("SN-007"), 1)), id + "its record.json or its proof was changed"},
		{put(six+bodyFile, bytes.Replace(body, []byte("09:06"), []byte("09:07"), 1)), id},
		{swap, id},
		{put(six+traceFile, []byte("t_s\n")), id + "trace.csv was changed"},
		{put(six+resultFile, []byte(`{"schema":1,"verdict":"pass"}`)), id + "result.json was changed"},
		{put(six+profileFile, nil), id + "profile.toml was changed"},
		{put(six+proofFile, get(list, eight+proofFile)), id},
		{put(six+proofFile, nil), id},
		{put(six+proofFile, bytes.ToUpper(get(list, six+proofFile))), id},
		{put(six+proofFile, bytes.ReplaceAll(get(list, six+proofFile), []byte("left"), []byte("right"))), id},
		{put(six+proofFile, append(bytes.Clone(get(list, six+proofFile)), '\n')), id},
		{put(six+proofFile, bytes.TrimSuffix(get(list, six+proofFile), []byte("\n"))), id},
		{without(six + resultFile), id + "result.json is missing"},
		{without(six + bodyFile), id},
		{without(six + proofFile), id},
		{without(eight + filesFolder + "photo-1.jpg"), "k3v7q2m9xw-000008: files/photo-1.jpg is missing"},
		{with(six+resultFile, six+"files/extra.txt", []byte("x")), id + `"files/extra.txt" lies with it`},
		{with(six+resultFile, six+"more.txt", []byte("x")), "no place"},
		{append(append([]entry(nil), list[:12]...), list[13], list[12]), id + "profile.toml is not where it belongs"},
		{rename(six, "records/000007/"), "k3v7q2m9xw-000007"},
		{rename(eight, "records/000013/"), "k3v7q2m9xw-000013"},
		{rename(six, "records/0000006/"), "no place"},
		{put(headFile, mustHead(t, evil, 12)), "none of the keys"},
		{put(headFile, older.Signed), "is not among the head's 4"},
		{put(keysFile, []byte(evil.key.Public()+"\n")), "not signed by the bench's own key"},
		{put(keysFile, []byte(s.key.Public())), "keys.txt"},
		{put(keysFile, []byte(s.key.Public()+"\n\n")), "keys.txt"},
		{put(keysFile, []byte(s.key.Public()+"\r\n")), "keys.txt"},
		{put(keysFile, []byte(strings.Repeat(s.key.Public()+"\n", 2))), "keys.txt"},
		{put(readmeFile, []byte("Trust me.\n")), "README.txt"},
		{put(olderName(0, proofFile), nil), "older/01-head.txt"},
		{put(olderName(0, proofFile), bytes.ToUpper(get(list, olderName(0, proofFile)))), "older/01-head.txt"},
		{put(olderName(0, headFile), mustHead(t, evil, 4)), "older/01-head.txt"},
		{put(olderName(0, headFile), mustHead(t, s, 5)), "older/01-head.txt"},
		{put(olderName(0, headFile), []byte(" "+older.String()+"\n")), "older/01-head.txt"},
		{without(olderName(0, proofFile)), "no place"},
		{list[:3], "no records"},
		{list[1:], "README.txt is not where"},
		{append(append([]entry(nil), list[1]), list...), "twice"},
		{append(append(append([]entry(nil), list[:5]...), list[10:]...), list[5:10]...), "not where it belongs"},
	} {
		got := refused(joined(t, c.list), x)
		assert.Contains(t, got, c.want, "forgery %d", i)
	}
	// A log of one's own under the bench's name is of one piece, and only the
	// key from elsewhere tells.
	own := written(t, evil, ids(3, 6, 8), Options{})
	assert.Empty(t, refused(own, Expectations{}))
	assert.Contains(t, refused(own, x), "somebody made a log under this bench's name")
}

// forge changes a record.json and signs the log anew.
func (s *shelf) forge(t *testing.T, seq int, from, to string) {
	require.Contains(t, string(s.bodies[seq-1]), from)
	s.bodies[seq-1] = bytes.Replace(s.bodies[seq-1], []byte(from), []byte(to), 1)
	s.hashes = nil
	for i, b := range s.bodies {
		h, err := ledger.Append(int64(i), b, s)
		require.NoError(t, err)
		s.hashes = append(s.hashes, h...)
	}
}

func mustHead(t *testing.T, s *shelf, n int) []byte {
	h, err := s.headAt(n)
	require.NoError(t, err)
	return h.Signed
}

// TestAForgedChain is a record that does not name the one before it, signed by
// the bench's own key.
func TestAForgedChain(t *testing.T) {
	s := newShelf(t, 2)
	at := record.Place{Bench: bench, Previous: s.records[0].Hash}
	s.put(t, &record.Record{When: s.records[1].When, Trace: []byte("x\n")}, &at)
	data := written(t, s, ids(1, 2, 3), Options{})
	assert.Contains(t, refused(data, Expectations{}), "k3v7q2m9xw-000003: it does not name record 000002")

	// A verdict that its result does not hold.
	s = newShelf(t, 3)
	s.forge(t, 3, `"undecided"`, `"pass"`)
	data = written(t, s, ids(3), Options{})
	assert.Contains(t, refused(data, Expectations{}), "k3v7q2m9xw-000003: its verdict is not the one in result.json")
	assert.NotContains(t, fmt.Sprint(checked(t, data, Expectations{}).Proved), "whole")

	// A size that its file has not.
	s = newShelf(t, 2)
	s.forge(t, 2, `"bytes": 14`, `"bytes": 15`)
	data = written(t, s, ids(2), Options{})
	assert.Contains(t, refused(data, Expectations{}), "k3v7q2m9xw-000002: files/photo-1.jpg has not the size")

	// A record of another place.
	s = newShelf(t, 2)
	s.forge(t, 2, `"seq": 2`, `"seq": 3`)
	data = written(t, s, ids(2), Options{})
	assert.Contains(t, refused(data, Expectations{}), "k3v7q2m9xw-000002: its record.json says that it is k3v7q2m9xw-000003")
}
