package main

import (
	"context"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/kinds"
	"dutybench/bench/sim"
)

// The bench's own faults can be asked for by name, are explained, and share no
// name with those of units.
func TestBenchFaultsByName(t *testing.T) {
	d := newDesk(t)
	list := d.call("run", "--list-faults").stdout
	seen := map[string]bool{}
	for _, f := range kinds.Faults("pump") {
		seen[f.Name] = true
	}
	for _, f := range kinds.BenchFaults() {
		assert.False(t, seen[f.Name], "%s stands twice", f.Name)
		seen[f.Name] = true
		assert.Regexp(t, `(?m)^`+f.Name+` +.*\((bench|wiring)\)\. 0\.5: .+\. 1: .+\.`, list)
	}
	assert.Equal(t, 2, d.call("run", "--fault", "bus-nick").status)
	assert.Equal(t, 2, d.call("run", "--fault", "bus-nack:1.5").status)
}

// A bench at fault is told as such: exit 5, the record kept, a next step.
func TestRunOnABenchAtFault(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	c := d.call("run", "--fault", "current-gone", "--seed", "3", "--json")
	assert.Equal(t, 5, c.status, c.stderr)
	o := objects(t, c.stdout)[0]
	assert.Equal(t, "bench", o["cause"])
	assert.NotEmpty(t, o["next_step"])
	assert.Equal(t, "record:"+o["record"].(string), o["source"])
}

// Where nothing could be measured there is nothing to keep, and that is told.
func TestRunThatMeasuresNothing(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	for _, asJSON := range []bool{true, false} {
		args := []string{"run", "--fault", "stop-pressed", "--seed", "8"}
		if asJSON {
			args = append(args, "--json")
		}
		c := d.call(args...)
		assert.Contains(t, []int{4, 5}, c.status, c.stderr)
		assert.Contains(t, c.stdout, "stop input")
	}
}

// The wall clock is watched against the steady one: a date before this program
// was made is no date, and a jump is told; the test's own time knows of neither.
func TestClock(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	n := 0
	for fault, says := range map[string]string{"clock-unset": "clock not set", "clock-jumps": "the clock was put "} {
		n++
		c := d.call("run", "--fault", fault, "--seed", "2", "--json")
		assert.Equal(t, 0, c.status, c.stderr)
		o := objects(t, c.stdout)[0]
		assert.Regexp(t, "(?i)"+says, o["warnings"])
		assert.Regexp(t, "^"+says, d.kept(t, n).ClockDoubt)
	}
}

func TestWatchedClock(t *testing.T) {
	at := time.Date(2026, 11, 26, 9, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		from, moved time.Duration
		says        string
	}{
		{0, 0, ""},
		{0, time.Second, ""},
		{0, 3 * time.Second, "put forward by 3s"},
		{0, -time.Hour, "put back by 1h"},
		{-60 * 365 * 24 * time.Hour, 0, "clock not set"},
		{-60 * 365 * 24 * time.Hour, 60 * 365 * 24 * time.Hour, "clock not set"}, // set during the test
	} {
		now, off := at, c.from
		w := &watchedClock{steady: func() time.Time { return now }, wall: func(t time.Time) time.Time { return t.Add(off) }}
		w.from = w.steady()
		w.shown = w.wall(w.from)
		now, off = now.Add(time.Minute), c.from+c.moved
		if c.says == "" {
			assert.Empty(t, w.doubt())
			assert.Empty(t, w.sentence())
			continue
		}
		assert.Contains(t, w.doubt(), c.says)
		assert.Len(t, w.sentence(), 1)
	}
	b := sim.NewBench(sim.Options{Fault: sim.Armed{Name: "clock-unset", Severity: 1}})
	assert.Equal(t, 1970, b.Wall(at).Year())
}

// A disk that is full before a test refuses it; one that fills up while it
// runs does not end it. It is told, no earlier record is damaged, and the trace
// is saved elsewhere.
func TestFullDisk(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	d.vars["TMPDIR"] = d.dir
	small := smallDisk(t)
	d.vars["DUTYBENCH_STORE"] = filepath.Join(small, "store")
	first := d.call("run", "--fault", short, "--json")
	require.NotEqual(t, 1, first.status, first.stderr)
	record := func() string {
		said, _, _ := strings.Cut(d.call("records", "show", "1", "--json").stdout, `"head"`)
		return said
	}
	before := record()
	filler := filepath.Join(small, "filler")
	saved := regexp.MustCompile(regexp.QuoteMeta(d.dir) + `/dutybench-\S+\.csv`)
	for _, left := range []int{0, 64 << 10, 8 << 20} {
		fillUp(t, filler, left)
		c := d.call("run", "--fault", short, "--seed", "2", "--json")
		assert.Equal(t, 1, c.status, "%d bytes left: %s", left, c.stdout)
		assert.Empty(t, c.stdout, "no test was run")
		assert.NotContains(t, c.stderr, "step  1")
		require.NoError(t, os.Remove(filler))
		assert.Equal(t, before, record())
	}
	for _, left := range []int{0, 16 << 10} {
		quiet := d.interrupt
		d.interrupt = func(ctx context.Context) (context.Context, context.CancelFunc) {
			return &atTurn{Context: ctx, n: 2000, do: func() { fillUp(t, filler, left) }}, func() {}
		}
		c := d.call("run", "--seed", "2", "--json")
		d.interrupt = quiet
		assert.Equal(t, 1, c.status, "%d bytes left: %s", left, c.stdout)
		assert.Contains(t, c.stderr, "full", "%d bytes left", left)
		where := saved.FindString(c.stderr)
		require.FileExists(t, where, c.stderr)
		assert.Equal(t, "pass", objects(t, d.call("judge", "--profile", defaultProfile, "--json", where).stdout)[0]["verdict"])
		assert.Equal(t, "pass", objects(t, c.stdout)[0]["verdict"], "what was found is told")
		require.NoError(t, os.Remove(filler))
		assert.Zero(t, d.call("records", "verify").status)
		assert.Equal(t, before, record())
	}
	again := d.call("run", "--fault", short, "--seed", "3", "--json")
	assert.Regexp(t, `-00000\d$`, objects(t, again.stdout)[0]["record"], "with room again it goes on")
	assert.Zero(t, d.call("records", "verify").status)
}

// atTurn does something once when the run asks for the nth time whether to go
// on: in the middle of a test.
type atTurn struct {
	context.Context
	n  int
	do func()
}

func (a *atTurn) Err() error {
	if a.n--; a.n == 0 {
		a.do()
	}
	return nil
}

// fillUp takes all of a disk but so many bytes.
func fillUp(t *testing.T, path string, left int) {
	t.Helper()
	f, err := os.Create(path)
	require.NoError(t, err)
	defer f.Close()
	block := make([]byte, 4<<10)
	size := int64(0)
	for {
		n, err := f.Write(block)
		size += int64(n)
		if err != nil {
			break
		}
		if size > 128<<20 {
			t.Fatal("the small disk is not small")
		}
	}
	require.NoError(t, f.Truncate(max(size-int64(left), 0)))
}
