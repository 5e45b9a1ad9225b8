package trial_test

import (
	"bytes"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// eventKind is what a process did.
type eventKind int

const (
	spoke     eventKind = iota // a line over its voice
	created                    // a file or folder came to be
	removed                    // a name was taken away
	renamed                    // a name was changed
	wrote                      // bytes were written
	truncated                  // a file was given a size
	synced                     // a file, or a folder's names, were put on the disk
)

func (k eventKind) String() string {
	return [...]string{"said", "create", "remove", "rename", "write", "truncate", "sync"}[k]
}

// never is the end of a write that did not come back.
const never = 1 << 60

// event is one thing that a process did to a folder, in the order of doing.
type event struct {
	kind     eventKind
	file     int    // its number, which stays when its name changes; -1 for a folder
	path, to string // below the folder; to is a rename's
	at       int64  // where a write begins; the size that truncate gives
	data     []byte // of a write
	since    int    // of a sync: when it began
	end      int    // when it was done; never for a write that did not come back
	text     string // what was said
}

func (e event) String() string {
	switch e.kind {
	case spoke:
		return "said: " + e.text
	case wrote:
		return fmt.Sprintf("write %s, %d bytes at %d", e.path, len(e.data), e.at)
	case renamed:
		return fmt.Sprintf("rename %s to %s", e.path, e.to)
	case truncated:
		return fmt.Sprintf("truncate %s to %d", e.path, e.at)
	case synced:
		if e.file < 0 {
			return fmt.Sprintf("sync folder %q", e.path)
		}
	}
	return fmt.Sprintf("%v %s", e.kind, e.path)
}

// sector is what a disk writes whole or not at all, in bytes. Disks promise
// no more than that (common practice; newer ones have 4096).
const sector = 512

// loss is how much of what was not yet synced a power cut takes away.
type loss struct {
	content float64 // the chance of each write to be on the disk
	torn    float64 // the chance that only some of its sectors are
	names   float64 // the chance of each change of a name
	inOrder bool    // names are kept up to a moment, as file systems with a journal do
}

// losses are the ways in which power is cut, in turn: nothing more than what
// was synced, all of it, and what lies between.
func losses(n int, rng *rand.Rand) loss {
	switch n % 8 {
	case 0:
		return loss{}
	case 1:
		return loss{content: 1, names: 1}
	case 2:
		return loss{content: 1, torn: 0.2, inOrder: true, names: 0.9}
	case 3:
		return loss{names: 1}
	case 4:
		return loss{content: 1}
	}
	return loss{content: rng.Float64(), torn: rng.Float64(), names: rng.Float64(), inOrder: rng.IntN(2) == 0}
}

// disk is a state of the folder: what its names lead to, folders as nil.
type disk map[string][]byte

// diskAfter is a state in which the disk may be found when the power was cut
// behind the events: what was synced, and by chance of the rest.
func diskAfter(events []event, l loss, rng *rand.Rand) disk {
	fileSync, nameSync := map[int]int{}, map[string]int{}
	for _, e := range events {
		if e.kind == synced && e.file >= 0 {
			fileSync[e.file] = max(fileSync[e.file], e.since)
		} else if e.kind == synced {
			nameSync[e.path] = max(nameSync[e.path], e.since)
		}
	}
	content := map[int][]byte{}
	names := map[string]int{}
	lost := false // with names in order, all after the first lost one
	for _, e := range events {
		switch e.kind {
		case wrote, truncated:
			settled := e.end <= fileSync[e.file]
			if settled || rng.Float64() < l.content {
				content[e.file] = put(content[e.file], e, !settled && rng.Float64() < l.torn, rng)
			}
		case created, removed, renamed:
			settled := e.end <= nameSync[folder(e.path)]
			if e.kind == renamed {
				settled = settled && e.end <= nameSync[folder(e.to)]
			}
			if !settled && (lost && l.inOrder || rng.Float64() >= l.names) {
				lost = true
				continue
			}
			switch e.kind {
			case created:
				names[e.path] = e.file
			case removed:
				delete(names, e.path)
			case renamed:
				delete(names, e.path)
				names[e.to] = e.file
			}
		}
	}
	out := disk{}
	for name, file := range names {
		if !reachable(names, name) {
			continue // its folder is not on the disk
		}
		switch {
		case file < 0:
			out[name] = nil
		case forgotten(name): // whatever lies there
			noise := make([]byte, 32768)
			for i := range noise {
				noise[i] = byte(rng.Uint32())
			}
			out[name] = noise
		default:
			out[name] = append([]byte{}, content[file]...)
		}
	}
	return out
}

func folder(name string) string {
	if d := path.Dir(name); d != "." {
		return d
	}
	return ""
}

func reachable(names map[string]int, name string) bool {
	for d := folder(name); d != ""; d = folder(d) {
		if file, ok := names[d]; !ok || file >= 0 {
			return false
		}
	}
	return true
}

// put does a write or truncate to a file's bytes; of a torn write, some
// sectors.
func put(b []byte, e event, torn bool, rng *rand.Rand) []byte {
	if e.kind == truncated {
		if int64(len(b)) >= e.at {
			return b[:e.at]
		}
		return append(b, make([]byte, e.at-int64(len(b)))...)
	}
	end := e.at + int64(len(e.data))
	for from := e.at; from < end; {
		to := min(end, from/sector*sector+sector)
		if !torn || rng.IntN(2) == 0 {
			if int64(len(b)) < to {
				b = append(b, make([]byte, to-int64(len(b)))...)
			}
			copy(b[from:to], e.data[from-e.at:to-e.at])
		}
		from = to
	}
	return b
}

// forgotten says of a file that its content is worth nothing after a power
// cut: the log's index in memory (sqlite.org/walformat.html, section 2).
func forgotten(path string) bool { return strings.HasSuffix(path, "-shm") }

// same says that two states differ in nothing that matters.
func (d disk) same(other disk) bool {
	return maps.EqualFunc(d.known(), other.known(), bytes.Equal)
}

func (d disk) known() disk {
	out := maps.Clone(d)
	maps.DeleteFunc(out, func(name string, _ []byte) bool { return forgotten(name) })
	return out
}

// save writes the state into an empty folder.
func (d disk) save(to string) error {
	for _, name := range slices.Sorted(maps.Keys(d)) { // folders come before what is in them
		at := filepath.Join(to, filepath.FromSlash(name))
		var err error
		if d[name] == nil {
			err = os.Mkdir(at, 0o755)
		} else {
			err = os.WriteFile(at, d[name], 0o600)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// unsynced lists the files in which something was written since they were
// last synced. What is forgotten or removed anyway is not among them.
func unsynced(events []event) []string {
	settled, names, dirty := map[int]int{}, map[int]string{}, map[int]bool{}
	for _, e := range slices.Backward(events) {
		switch {
		case e.kind == synced && e.file >= 0:
			settled[e.file] = max(settled[e.file], e.since)
		case e.kind == wrote || e.kind == truncated:
			dirty[e.file] = dirty[e.file] || !forgotten(e.path) && e.end > settled[e.file]
		}
	}
	for _, e := range events {
		switch e.kind {
		case created:
			names[e.file] = e.path
		case renamed:
			names[e.file] = e.to
		case removed:
			delete(names, e.file)
		}
	}
	var out []string
	for file, name := range names {
		if dirty[file] {
			out = append(out, name)
		}
	}
	slices.Sort(out)
	return out
}

func TestDiskAfterAPowerCut(t *testing.T) {
	events := []event{
		{kind: created, file: 0, path: "a", end: 1},
		{kind: wrote, file: 0, path: "a", data: []byte("first"), end: 2},
		{kind: synced, file: 0, path: "a", since: 3, end: 4},
		{kind: synced, file: -1, path: "", since: 5, end: 6},
		{kind: wrote, file: 0, path: "a", at: 5, data: []byte(", second"), end: 7},
		{kind: created, file: 1, path: "b", end: 8},
		{kind: wrote, file: 1, path: "b", data: make([]byte, 4*sector), end: 9},
		{kind: renamed, file: 1, path: "b", to: "c", end: 10},
	}
	rng := rand.New(rand.NewPCG(1, 1))
	assert.Equal(t, disk{"a": []byte("first")}, diskAfter(events, loss{}, rng))
	assert.Equal(t, disk{"a": []byte("first, second"), "c": make([]byte, 4*sector)}, diskAfter(events, loss{content: 1, names: 1}, rng))
	assert.Equal(t, disk{}, diskAfter(events[:3], loss{}, rng), "its name was not synced")
	assert.Equal(t, disk{"a": []byte{}}, diskAfter(events[:2], loss{names: 1}, rng), "its content was not synced")
	assert.Equal(t, []string{"a", "c"}, unsynced(events))
	assert.Empty(t, unsynced(events[:4]))
	seen := map[string]bool{}
	for range 500 {
		d := diskAfter(events, loss{content: 0.5, torn: 0.5, names: 0.5}, rng)
		require.Contains(t, d, "a")
		seen[fmt.Sprint(len(d["a"]), d["b"] != nil, d["c"] != nil, len(d["c"]))] = true
	}
	assert.Greater(t, len(seen), 10)
	dir := t.TempDir()
	require.NoError(t, disk{"x": nil, "x/y": []byte("z")}.save(dir))
	data, err := os.ReadFile(filepath.Join(dir, "x", "y"))
	require.NoError(t, err)
	assert.Equal(t, "z", string(data))
}
