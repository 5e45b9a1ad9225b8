package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/kinds"
	"dutybench/bench/record"
	"dutybench/bench/record/store"
	"dutybench/bench/result"
	"dutybench/profiles"
)

// statusOf is the exit status that a JSON object calls for.
func statusOf(o map[string]any) int {
	switch {
	case o["error"] != nil:
		return 1
	case o["verdict"] == "pass":
		return 0
	case o["verdict"] == "fail":
		return 3
	case o["cause"] == "bench" || o["cause"] == "wiring":
		return 5
	}
	return 4
}

func TestRunForScripts(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	c := d.call("run", "--json", "--seed", "7", "--operator", "A. Person", "--trace", d.path("own.csv"))
	o := objects(t, c.stdout)
	require.Len(t, o, 1, "standard output holds the result and nothing else")
	contract(t, o[0])
	assert.Equal(t, statusOf(o[0]), c.status)
	assert.Equal(t, "simulated-7", o[0]["unit"])
	assert.Regexp(t, `^[0-9a-z]{10}-000001$`, o[0]["record"])
	page, ok := o[0]["page"].(string)
	require.True(t, ok)
	assert.FileExists(t, page)
	source := o[0]["source"].(string)
	assert.Equal(t, d.path("own.csv"), source, "as given")
	assert.Contains(t, c.stderr, "step  1 of ")

	own, err := os.ReadFile(source)
	require.NoError(t, err)
	assert.Equal(t, string(d.kept(t, 1).Trace), string(own))

	for _, source := range []string{source, "record:1", "record:" + o[0]["record"].(string)} {
		again := d.call("judge", "--profile", defaultProfile, "--json", source)
		judged := objects(t, again.stdout)[0]
		for _, key := range []string{"verdict", "cause", "causes", "findings", "curve", "startup"} {
			assert.Equal(t, o[0][key], judged[key], "judged again from %s: %s", source, key)
		}
		assert.Equal(t, source, judged["source"])
		assert.Equal(t, c.status, again.status)
	}
	c = d.call("profiles", "learn", "--name", "few", "--out", d.path("few.toml"), "record:1")
	assert.Contains(t, c.stderr, "units", "it was read, and one unit is too few: %s", c.stderr)
	c = d.call("judge", "--profile", defaultProfile, "--json", "record:7", source)
	assert.Contains(t, objects(t, c.stdout)[0]["error"], "no record", "the rest goes on")
	assert.Equal(t, "pass", objects(t, c.stdout)[1]["verdict"])

	c = d.call("records", "verify")
	assert.Zero(t, c.status, c.stdout)
	assert.Contains(t, c.stdout, "1 records")
}

// short is a fault that ends a test soon after switch-on.
const short = "input-short"

// The same seed gives the same test, to the last digit; another one another.
func TestRunRepeats(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	curve := func(seed string) string {
		d.call("run", "--fault", short, "--seed", seed, "--unit", "U", "--trace", d.path("t.csv"))
		data, err := os.ReadFile(d.path("t.csv"))
		require.NoError(t, err)
		return string(data)
	}
	first := curve("3")
	assert.Equal(t, first, curve("3"))
	assert.NotEqual(t, first, curve("4"))
}

func TestRunForPeople(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	d.width = 80
	c := d.call("run")
	assert.Zero(t, c.status)
	for _, s := range []string{"Record", "Page", "Trace", "Start-up", "Not tested", "Simulated: no real unit"} {
		assert.Contains(t, c.stdout, s)
	}
	assert.Contains(t, c.stdout, "\x1b[1m", "colour on a terminal")
	care, steps, _ := strings.Cut(c.stderr, "\n")
	assert.Regexp(t, "^Take care: ", care)
	assert.NotContains(t, steps, "\n", "one line, rewritten and gone")
	for line := range strings.Lines(c.stdout) {
		line = strings.NewReplacer("\x1b[1m", "", "\x1b[0m", "", "\x1b[31m", "", "\x1b[32m", "", "\x1b[33m", "", "\x1b[36m", "").Replace(line)
		if !strings.Contains(line, d.dir) {
			assert.LessOrEqual(t, len([]rune(strings.TrimRight(line, "\n"))), 80, line)
		}
	}
	d.vars["NO_COLOR"] = "1"
	assert.NotContains(t, d.call("records", "show", "1").stdout, "\x1b")
	d.vars["LANG"] = "C"
	for _, r := range d.call("records", "show", "1").stdout {
		require.LessOrEqual(t, r, '~', "plain letters where the locale has no others")
	}
}

func TestRunPages(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	c := d.call("run", "--fault", short, "--page", "-")
	assert.True(t, strings.HasPrefix(c.stdout, "<!"), "the page alone")
	assert.True(t, strings.HasSuffix(strings.TrimSpace(c.stdout), "</html>"))
	c = d.call("run", "--fault", short, "--page", d.path("mine.html"))
	assert.FileExists(t, d.path("mine.html"))
	assert.Contains(t, c.stdout, d.path("mine.html"))
}

// A bench at fault ends as undecided with exit 5, and the record says so.
func TestRunOnABadBench(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	c := d.call("run", "--json", "--fault", "supply-limit:1")
	o := objects(t, c.stdout)[0]
	assert.Equal(t, 5, c.status)
	assert.Equal(t, "undecided", o["verdict"])
	assert.Contains(t, []any{"bench", "wiring"}, o["cause"])
	c = d.call("records", "list")
	assert.Regexp(t, `^[0-9a-z]{10}-000001  2026-11-25 \d\d:\d\d  undecided +(bench|wiring) +simulated-1  aux-pump-60w  simulated\n$`, c.stdout)
}

// A short ends at once, with the supply off, and never as good.
func TestRunWithAShort(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	for _, fault := range []string{short, "reversed:0.5"} {
		c := d.call("run", "--json", "--fault", fault)
		o := objects(t, c.stdout)[0]
		assert.NotEqual(t, "pass", o["verdict"], fault)
		assert.Equal(t, statusOf(o), c.status)
	}
}

func TestRunCancelled(t *testing.T) {
	d := newDesk(t)
	d.interrupt = func(ctx context.Context) (context.Context, context.CancelFunc) {
		return &after{Context: ctx, n: 20_000}, func() {}
	}
	c := d.call("run", "--json")
	assert.Equal(t, exitError, c.status)
	assert.Contains(t, c.stderr, "the test was cancelled. The supply is off (measured: 0.0")
	o := objects(t, c.stdout)[0]
	assert.Equal(t, "The test was cancelled.", o["error"])
	assert.Equal(t, "record:"+o["record"].(string), o["source"])
	assert.Contains(t, string(d.kept(t, 1).Trace[:2000]), "# ended: cancelled: The test was cancelled.")
	list := d.call("records", "list").stdout
	assert.Contains(t, list, "  cancelled ")
	assert.NotContains(t, list, "undecided")
	assert.Zero(t, d.call("records", "verify").status)
	shown := d.call("records", "show", "1")
	assert.Zero(t, shown.status)
	assert.Contains(t, shown.stdout, "Undecided: the test was cancelled.")

	d.interrupt = func(ctx context.Context) (context.Context, context.CancelFunc) {
		ctx, cancel := context.WithCancel(ctx)
		cancel()
		return ctx, cancel
	}
	c = d.call("run")
	assert.Equal(t, exitError, c.status)
	assert.Empty(t, c.stdout)
}

// after is a context that ends once it was asked so many times.
type after struct {
	context.Context
	n int
}

func (a *after) Err() error {
	if a.n--; a.n < 0 {
		return context.Canceled
	}
	return nil
}

func TestListFaults(t *testing.T) {
	d := newDesk(t)
	c := d.call("run", "--list-faults")
	require.Zero(t, c.status)
	lines := strings.Split(c.stdout, "\n")
	for i, f := range kinds.Faults("pump") {
		assert.True(t, strings.HasPrefix(lines[i], f.Name+" "), lines[i])
		assert.Contains(t, lines[i], ". 0.5: "+f.Half+". 1: "+f.Full+".")
	}
	d.width = 80
	for line := range strings.Lines(d.call("run", "--list-faults").stdout) {
		assert.LessOrEqual(t, len([]rune(line)), 81)
	}
	assert.Empty(t, d.files(t))
}

// Each built-in profile has a simulated unit that runs to the end of the plan,
// and the one that is drawn when nobody gives a seed is a good one.
func TestEveryBuiltinRuns(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	for _, o := range objects(t, d.call("profiles", "list", "--json").stdout) {
		name := o["name"].(string)
		c := d.call("run", "--profile", name, "--json")
		got := objects(t, c.stdout)[0]
		assert.Zero(t, c.status, "%s: %s", name, got["sentence"])
		assert.NotContains(t, got, "ended", "%s: %s", name, got["ended"])
		p, _, err := loadProfile(name)
		require.NoError(t, err)
		if p.Command.Type == profiles.Signal && p.Position.By == "" { // it has a board, and runs
			assert.Len(t, got["startup"].(map[string]any)["attempts"], 1, name)
		}
	}
}

func TestRecords(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	d.vars["DUTYBENCH_STORE"] = d.path("store")
	for i := range 2 {
		d.call("run", "--fault", short, "--unit", fmt.Sprintf("U%d", i), "--note", "nota bene")
	}
	c := d.call("records", "list")
	lines := strings.Split(strings.TrimSpace(c.stdout), "\n")
	require.Len(t, lines, 2)
	assert.Contains(t, lines[1], " U1 ", "newest last")
	id, _, _ := strings.Cut(lines[1], " ")
	c = d.call("records", "show", id)
	assert.Contains(t, c.stdout, id)
	assert.Contains(t, d.call("records", "show", id, "--page", "-").stdout, "nota bene")
	assert.Equal(t, id, objects(t, d.call("records", "show", "2", "--json").stdout)[0]["record"])
	assert.Equal(t, exitError, d.call("records", "show", "3").status)
	assert.Zero(t, d.call("records", "verify").status)
}

func TestVersion(t *testing.T) {
	d := newDesk(t)
	c := d.call("version")
	assert.Zero(t, c.status)
	assert.Regexp(t, `^dutybench \d+\.\d+\.\d+\S* \(go`, c.stdout)
	assert.Equal(t, c.stdout, d.call("--version").stdout)
}

func TestHelpGoesToStandardOutput(t *testing.T) {
	d := newDesk(t)
	for _, args := range [][]string{{"--help"}, {"run", "--help"}, {"judge", "--help"}, {"profiles", "learn", "--help"}, {"records", "--help"}} {
		c := d.call(args...)
		assert.Zero(t, c.status)
		assert.Contains(t, c.stdout, "Usage:")
		assert.Empty(t, c.stderr)
	}
}

// brokenStore is a store on a full disk.
type brokenStore struct{ keeper }

func (brokenStore) Put(*record.Record) (record.ID, error) {
	return record.ID{}, errors.New("record: nothing was kept; the disk is full")
}

// When the record cannot be kept, what was found is told all the same, with
// the error.
func TestRunWithAFullDisk(t *testing.T) {
	var out, msg bytes.Buffer
	d := newDesk(t)
	own, err := store.Open(d.path("store"), store.Options{})
	require.NoError(t, err)
	defer own.Close()
	p, k, err := loadProfile(defaultProfile)
	require.NoError(t, err)
	f := runFlags{profile: defaultProfile, rigFlags: rigFlags{rig: "sim", fault: short}, json: true}
	a := &app{env: env{stdout: &out, stderr: &msg, now: time.Now, getenv: func(key string) string { return map[string]string{"TMPDIR": d.dir}[key] },
		isTerminal: func(any) (int, bool) { return 0, false }, interrupt: d.interrupt}}
	bench, err := a.openBench(f.rigFlags, p)
	require.NoError(t, err)
	x := &test{app: a, flags: f, profile: p, kind: k, rig: bench.Rig, bench: bench, clock: a.watchClock(bench), store: brokenStore{own}, plan: k.Plan(p)}
	outcome, err := x.drive(context.Background())
	require.NoError(t, err)
	in, status, err := x.report(outcome)
	assert.ErrorContains(t, err, "disk is full")
	assert.NotZero(t, status)
	assert.Equal(t, result.Undecided, in.Result.Verdict)
	assert.Empty(t, in.Result.Record)
	saved := regexp.MustCompile(d.dir + `/dutybench-\d{8}-\d{6}-\d+\.csv`).FindString(msg.String())
	require.NotEmpty(t, saved, msg.String())
	c := d.call("judge", "--profile", defaultProfile, "--json", saved)
	assert.Equal(t, "undecided", objects(t, c.stdout)[0]["verdict"], "the trace was saved whole")
}
