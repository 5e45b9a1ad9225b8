// Package bench_test holds the house to its plan: what each room may import,
// and what lies at the top level.
package bench_test

import (
	"fmt"
	"go/parser"
	"go/token"
	"io/fs"
	"maps"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// module is the path before every room of ours.
const module = "dutybench"

// row says what one room may import of ours. A pattern is a folder; with a
// last element * it is every folder one level below, with … the folder and
// everything below it. Where several rows fit a room, the first holds.
type row struct {
	room string
	may  []string
}

// rooms is the table of the house.
var rooms = []row{
	{"signal/stat", nil},
	{"signal/trace", nil},
	{"signal/matter", []string{"signal/stat"}},
	{"signal/step", []string{"signal/stat", "signal/trace"}},
	// startup stands on step: an attempt lies within steps of the duty.
	{"signal/startup", []string{"signal/stat", "signal/trace", "signal/step"}},
	{"signal/travel", []string{"signal/stat", "signal/trace", "signal/step"}},
	{"signal/spectrum", []string{"signal/stat", "signal/trace"}},
	{"signal/period", []string{"signal/stat", "signal/trace"}},
	{"signal/commutator", []string{"signal/stat", "signal/trace", "signal/spectrum"}},
	{"signal/quality", []string{"signal/stat"}},
	{"signal/wire", []string{"signal/stat"}},
	{"signal/coil", []string{"signal/stat", "signal/matter", "signal/trace"}},
	{"profiles/strict", nil},
	{"profiles", []string{"signal/stat", "profiles/strict"}},
	{"bench/result", []string{"signal/stat"}},
	{"bench/clock", nil},
	{"bench/plainfile", nil},
	{"bench/sysfs", nil},
	{"bench/chip/*", []string{"bench/clock", "bench/sysfs"}},
	{"bench/pwm", []string{"bench/clock", "bench/sysfs"}},
	{"bench/guard", []string{"bench/clock"}},
	// A rig file is read as strictly as a profile.
	{"bench/rig", []string{"bench/clock", "bench/chip/*", "bench/pwm", "bench/guard", "bench/sysfs", "profiles/strict"}},
	// What a rig file's readings were worth on the day it was calibrated.
	{"bench/calibrate", []string{"bench/clock", "bench/rig", "signal/stat", "profiles/strict"}},
	// The conformance suite looks at a whole rig and at its chips alone.
	{"bench/rig/rigtest", []string{"bench/clock", "bench/chip/*", "bench/pwm", "bench/guard", "bench/rig", "bench/sysfs"}},
	{"bench/sim", []string{"bench/clock", "bench/sysfs"}},
	// A simulated unit is plugged into the simulated bench.
	{"bench/sim/*", []string{"bench/clock", "bench/sim"}},
	{"bench/kind", []string{"signal/…", "profiles", "bench/result"}},
	// weigh is what kinds share; it knows none of them.
	{"bench/kind/weigh", []string{"bench/kind", "signal/…", "profiles", "bench/result"}},
	{"bench/kind/*", []string{"bench/kind", "bench/kind/weigh", "signal/…", "profiles", "bench/result"}},
	// kinds hands each kind's section to the reader of profiles.
	{"bench/kinds", []string{"bench/kind/…", "bench/sim/…", "bench/socket/…", "bench/rig", "profiles"}},
	// What connects a profile with a simulated unit of its type.
	{"bench/socket/*", []string{"bench/socket", "bench/sim", "bench/sim/*", "profiles"}},
	{"bench/socket", []string{"bench/sim", "profiles"}},
	{"bench/judge", []string{"bench/kind", "signal/…", "profiles", "bench/result"}},
	{"bench/learn", []string{"bench/kind", "signal/…", "profiles", "bench/result"}},
	// A run that finds the bench at fault says so with a cause of result.
	{"bench/run", []string{"bench/kind", "bench/rig", "bench/guard", "bench/clock", "bench/result", "signal/…", "profiles"}},
	// The log knows bytes and hashes, the container traces; neither knows records.
	{"bench/record/ledger", nil},
	{"bench/record/container", []string{"signal/trace"}},
	{"bench/record", []string{"bench/result", "bench/record/ledger", "signal/trace", "profiles"}},
	{"bench/record/folder", []string{"bench/record", "bench/result"}},
	{"bench/record/…", []string{"bench/record/…", "bench/result", "signal/trace", "profiles"}},
	// What many records say together: of a lot of cores, and of the bench itself.
	{"bench/lot", []string{"bench/record", "bench/result", "bench/plot", "bench/report", "signal/stat"}},
	{"bench/upkeep", []string{"bench/plainfile", "bench/record", "bench/result", "bench/plot", "bench/report", "signal/…"}},
	{"bench/plot/pdf", []string{"bench/plot"}},
	{"bench/plot", []string{"bench/result", "bench/record", "signal/…", "profiles"}},
	{"bench/report", []string{"bench/plot", "bench/plot/pdf", "bench/result", "bench/record", "bench/record/ledger", "signal/…", "profiles"}},
	// The strangers share nothing with the bench but the trace: they try the
	// judge on units that it was never built for.
	{"bench/trial/stranger", []string{"signal/trace"}},
	{"bench/trial/outsider", []string{"signal/trace"}},
	{"bench/trial/newcomer", []string{"signal/trace"}},
	{"bench/trial/latecomer", []string{"signal/trace"}},
	{"bench/trial/incomer", []string{"signal/trace"}},
	{"bench/trial", []string{"signal/…", "profiles", "bench/…"}},
	{"cmd/dutybench", []string{"signal/…", "profiles", "profiles/strict", "bench/…"}},
	// The maker of the package needs nothing of the program but its files.
	{"cmd/dutybench/install", nil},
}

// testsOnly are rooms that only tests may import.
var testsOnly = []string{"bench/trial/*", "bench/rig/rigtest", "bench/record/storetest"}

// apart are rooms that must not meet, over any number of steps.
var apart = []struct{ from, to []string }{
	// The simulator never meets the judge: what judges and what goes into the
	// verdict sees exported traces only.
	{[]string{"signal/…", "profiles", "bench/kind/…", "bench/judge", "bench/learn", "bench/record", "bench/plot", "bench/report", "bench/run", "bench/rig", "bench/guard"}, []string{"bench/sim/…"}},
	{[]string{"bench/sim/…"}, []string{"bench/judge", "bench/learn", "bench/kind/…", "profiles"}},
	// What judges needs no bench.
	{[]string{"bench/judge", "bench/learn", "bench/kind/…"}, []string{"bench/rig/…", "bench/run", "bench/guard", "bench/chip/*"}},
}

// foreign says which rooms may import a module or package that is not ours;
// one that is not listed may be imported anywhere.
var foreign = map[string][]string{
	"github.com/spf13/cobra":        {"cmd/…"},
	"golang.org/x/term":             {"cmd/…"},
	"github.com/stretchr/testify":   nil, // tests only
	"testing":                       {"bench/rig/rigtest", "bench/record/storetest"},
	"modernc.org/sqlite":            {"bench/record/store"},
	"github.com/jackc/pgx/v5":       {"bench/record/store"},
	"database/sql":                  {"bench/record/store"},
	"golang.org/x/mod":              {"bench/record/ledger"},
	"golang.org/x/image":            {"bench/plot/pdf", "bench/report"},
	"codeberg.org/go-pdf/fpdf":      {"bench/plot/pdf", "bench/report"},
	"github.com/klauspost/compress": {"bench/record/container", "bench/record/store"},
	"periph.io/x/conn/v3":           {"cmd/…", "bench/chip/*", "bench/pwm", "bench/guard", "bench/rig", "bench/rig/rigtest", "bench/run", "bench/sim/…", "bench/calibrate"},
	"periph.io/x/host/v3":           {"cmd/…", "bench/rig", "bench/pwm"},
	"C":                             nil, // pure Go
}

// tree maps each room, a folder relative to the root, to what its files
// import outside tests.
type tree map[string][]string

// matches says whether a room fits a pattern.
func matches(pattern, room string) bool {
	if base, ok := strings.CutSuffix(pattern, "/…"); ok {
		return room == base || strings.HasPrefix(room, base+"/")
	}
	if base, ok := strings.CutSuffix(pattern, "/*"); ok {
		return path.Dir(room) == base
	}
	return room == pattern
}

func anyMatches(patterns []string, room string) bool {
	return slices.ContainsFunc(patterns, func(p string) bool { return matches(p, room) })
}

// ours cuts the module's path off an import; ok is false for those of others.
func ours(path string) (room string, ok bool) {
	return strings.CutPrefix(path, module+"/")
}

// violations lists every import that the table does not allow, sorted.
func (t tree) violations() []string {
	var out []string
	for room, imports := range t {
		i := slices.IndexFunc(rooms, func(r row) bool { return matches(r.room, room) })
		if i < 0 {
			out = append(out, room+" has no row in the table of rooms: join it to one, or add its row")
			continue
		}
		for _, imp := range imports {
			to, ok := ours(imp)
			switch {
			case !ok:
				if who, listed := owners(imp); listed && !anyMatches(who, room) {
					out = append(out, fmt.Sprintf("%s imports %s, which is not for it", room, imp))
				}
			case anyMatches(testsOnly, to):
				out = append(out, fmt.Sprintf("%s imports %s, which is for tests only", room, to))
			case !anyMatches(rooms[i].may, to):
				out = append(out, fmt.Sprintf("%s must not import %s", room, to))
			}
		}
		for to := range t.reached(room) {
			for _, a := range apart {
				if anyMatches(a.from, room) && anyMatches(a.to, to) {
					out = append(out, fmt.Sprintf("%s reaches %s over other rooms, and must not", room, to))
				}
			}
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// owners are the rooms that may import a package that is not ours.
func owners(imp string) (who []string, listed bool) {
	for name, who := range foreign {
		if imp == name || strings.HasPrefix(imp, name+"/") {
			return who, true
		}
	}
	return nil, false
}

// reached is every room of ours that a room imports, directly or not.
func (t tree) reached(from string) map[string]bool {
	seen := map[string]bool{}
	for next := []string{from}; len(next) > 0; next = next[1:] {
		for _, imp := range t[next[0]] {
			if room, ok := ours(imp); ok && !seen[room] {
				seen[room] = true
				next = append(next, room)
			}
		}
	}
	return seen
}

// root is the folder that holds go.mod.
func root(t *testing.T) string {
	t.Helper()
	dir, err := os.Getwd()
	require.NoError(t, err)
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return dir
		}
		require.NotEqual(t, filepath.Dir(dir), dir, "no go.mod above the test's folder")
		dir = filepath.Dir(dir)
	}
}

// readTree parses the imports of every Go file but tests, whatever its build
// constraints.
func readTree(t *testing.T, root string) tree {
	t.Helper()
	out := tree{}
	files := token.NewFileSet()
	err := filepath.WalkDir(root, func(file string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		name := d.Name()
		if d.IsDir() {
			if file != root && (name == "testdata" || name[0] == '.' || name[0] == '_') {
				return filepath.SkipDir
			}
			return nil
		}
		if !strings.HasSuffix(name, ".go") || strings.HasSuffix(name, "_test.go") {
			return nil
		}
		f, err := parser.ParseFile(files, file, nil, parser.ImportsOnly)
		if err != nil {
			return err
		}
		dir, err := filepath.Rel(root, filepath.Dir(file))
		if err != nil {
			return err
		}
		room := filepath.ToSlash(dir)
		for _, spec := range f.Imports {
			imp, err := strconv.Unquote(spec.Path.Value)
			if err != nil {
				return err
			}
			out[room] = append(out[room], imp)
		}
		return nil
	})
	require.NoError(t, err)
	return out
}

func TestImports(t *testing.T) {
	found := readTree(t, root(t))
	require.Greater(t, len(found), 20, "the walk did not find the house")
	require.Empty(t, found.violations())
}

// TestImportsCanFail puts one wrong import at a time into the real tree and
// looks for the sentence about it.
func TestImportsCanFail(t *testing.T) {
	house := readTree(t, root(t))
	for _, c := range []struct{ room, imp, want string }{
		{"signal/stat", "dutybench/signal/trace", "signal/stat must not import signal/trace"},
		{"signal/trace", "dutybench/signal/stat", "signal/trace must not import signal/stat"},
		{"signal/matter", "dutybench/signal/trace", "signal/matter must not import signal/trace"},
		{"signal/step", "dutybench/signal/spectrum", "signal/step must not import signal/spectrum"},
		{"signal/startup", "dutybench/profiles", "signal/startup must not import profiles"},
		{"signal/spectrum", "dutybench/signal/step", "signal/spectrum must not import signal/step"},
		{"profiles", "dutybench/bench/kind", "profiles must not import bench/kind"},
		{"bench/result", "dutybench/signal/trace", "bench/result must not import signal/trace"},
		{"bench/clock", "dutybench/signal/stat", "bench/clock must not import signal/stat"},
		{"bench/chip/ina226", "dutybench/bench/chip/ads1115", "bench/chip/ina226 must not import bench/chip/ads1115"},
		{"bench/guard", "dutybench/bench/rig", "bench/guard must not import bench/rig"},
		{"bench/rig", "dutybench/bench/sim", "bench/rig must not import bench/sim"},
		{"bench/sim", "dutybench/bench/chip/ina226", "bench/sim must not import bench/chip/ina226"},
		{"bench/sim/pump", "dutybench/profiles", "bench/sim/pump must not import profiles"},
		{"bench/kind", "dutybench/bench/kind/pump", "bench/kind must not import bench/kind/pump"},
		{"bench/kind/pump", "dutybench/bench/kind/fan", "bench/kind/pump must not import bench/kind/fan"},
		{"bench/kind/pump", "dutybench/bench/sim/pump", "bench/kind/pump must not import bench/sim/pump"},
		{"bench/kinds", "dutybench/bench/judge", "bench/kinds must not import bench/judge"},
		{"bench/judge", "dutybench/bench/sim", "bench/judge must not import bench/sim"},
		{"bench/judge", "dutybench/bench/rig", "bench/judge must not import bench/rig"},
		{"bench/judge", "dutybench/bench/run", "bench/judge must not import bench/run"},
		{"bench/judge", "dutybench/bench/kind/pump", "bench/judge must not import bench/kind/pump"},
		{"bench/learn", "dutybench/bench/sim/pump", "bench/learn must not import bench/sim/pump"},
		{"bench/run", "dutybench/bench/judge", "bench/run must not import bench/judge"},
		{"bench/run", "dutybench/bench/sim", "bench/run must not import bench/sim"},
		{"bench/record", "dutybench/bench/sim", "bench/record must not import bench/sim"},
		{"bench/plot", "dutybench/bench/report", "bench/plot must not import bench/report"},
		{"bench/report", "dutybench/bench/judge", "bench/report must not import bench/judge"},
		{"bench/trial/stranger", "dutybench/bench/judge", "bench/trial/stranger must not import bench/judge"},
		{"bench/trial/stranger", "dutybench/bench/sim/pump", "bench/trial/stranger must not import bench/sim/pump"},
		{"bench/trial", "dutybench/cmd/dutybench", "bench/trial must not import cmd/dutybench"},
		{"cmd/dutybench", "dutybench/bench/trial/stranger", "cmd/dutybench imports bench/trial/stranger, which is for tests only"},
		{"bench/kinds", "dutybench/bench/trial/outsider", "bench/kinds imports bench/trial/outsider, which is for tests only"},
		{"cmd/dutybench", "dutybench/bench/rig/rigtest", "cmd/dutybench imports bench/rig/rigtest, which is for tests only"},
		{"bench/run", "github.com/spf13/cobra", "bench/run imports github.com/spf13/cobra, which is not for it"},
		{"bench/report", "golang.org/x/term", "bench/report imports golang.org/x/term, which is not for it"},
		{"bench/judge", "github.com/stretchr/testify/assert", "bench/judge imports github.com/stretchr/testify/assert, which is not for it"},
		{"bench/kind/pump", "periph.io/x/conn/v3/gpio", "bench/kind/pump imports periph.io/x/conn/v3/gpio, which is not for it"},
		{"bench/sim", "periph.io/x/host/v3", "bench/sim imports periph.io/x/host/v3, which is not for it"},
		{"bench/record", "C", "bench/record imports C, which is not for it"},
		{"bench/attic", "fmt", "bench/attic has no row in the table of rooms: join it to one, or add its row"},
	} {
		t.Run(c.room+" "+c.imp, func(t *testing.T) {
			broken := maps.Clone(house)
			broken[c.room] = append(slices.Clone(broken[c.room]), c.imp)
			require.Contains(t, broken.violations(), c.want)
		})
	}
}

// TestMeetingsCanFail lets rooms meet over a third one that each may import.
func TestMeetingsCanFail(t *testing.T) {
	met := tree{
		"bench/judge": {"dutybench/bench/kind"},
		"bench/kind":  {"dutybench/signal/trace"},
		"signal/trace": {
			"dutybench/bench/sim/pump",
		},
	}
	require.Contains(t, met.violations(), "bench/judge reaches bench/sim/pump over other rooms, and must not")

	met = tree{"bench/sim/pump": {"dutybench/bench/sim"}, "bench/sim": {"dutybench/bench/clock"}, "bench/clock": {"dutybench/bench/judge"}}
	require.Contains(t, met.violations(), "bench/sim/pump reaches bench/judge over other rooms, and must not")

	met = tree{"bench/learn": {"dutybench/profiles"}, "profiles": {"dutybench/bench/run"}}
	require.Contains(t, met.violations(), "bench/learn reaches bench/run over other rooms, and must not")
}

func TestReadTreeSkipsTests(t *testing.T) {
	dir := t.TempDir()
	write := func(name, text string) {
		file := filepath.Join(dir, filepath.FromSlash(name))
		require.NoError(t, os.MkdirAll(filepath.Dir(file), 0o755))
		require.NoError(t, os.WriteFile(file, []byte(text), 0o644))
	}
	write("signal/stat/a.go", "package stat\nimport \"fmt\"\n")
	write("signal/stat/b_arm.go", "//go:build arm\n\npackage stat\nimport x \"dutybench/profiles\"\n")
	write("signal/stat/a_test.go", "package stat\nimport \"dutybench/bench/sim\"\n")
	write("signal/stat/testdata/c.go", "package c\nimport \"dutybench/bench/run\"\n")
	write(".hidden/d.go", "package d\nimport \"dutybench/bench/run\"\n")
	require.Equal(t, tree{"signal/stat": {"fmt", "dutybench/profiles"}}, readTree(t, dir))
}
