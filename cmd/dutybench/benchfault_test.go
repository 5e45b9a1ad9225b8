package main

import (
	"os"
	"path/filepath"
	"regexp"
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
	assert.FileExists(t, o["source"].(string))
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
	for fault, says := range map[string]string{"clock-unset": "clock not set", "clock-jumps": "the clock was put "} {
		c := d.call("run", "--fault", fault, "--seed", "2", "--json")
		assert.Equal(t, 0, c.status, c.stderr)
		o := objects(t, c.stdout)[0]
		assert.Regexp(t, "(?i)"+says, o["warnings"])
		body, err := os.ReadFile(filepath.Join(filepath.Dir(o["source"].(string)), "record.json"))
		require.NoError(t, err)
		assert.Regexp(t, `"clock_doubt": ?"`+says, string(body))
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

// A disk that fills up before a test or while its record is written: it is
// told, no earlier record is damaged, and the trace is saved elsewhere.
func TestFullDisk(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	d.vars["TMPDIR"] = d.dir
	small := smallDisk(t)
	d.vars["DUTYBENCH_STORE"] = filepath.Join(small, "store")
	first := d.call("run", "--fault", short, "--json")
	if first.status == 1 {
		t.Skip("the small disk does not hold one record:", first.stderr)
	}
	record := func() string { return d.call("records", "show", "1", "--json").stdout }
	before := record()
	room := func(left int) {
		t.Helper()
		_ = os.Remove(filepath.Join(small, "filler"))
		fillUp(t, filepath.Join(small, "filler"), left)
	}
	saved := regexp.MustCompile(regexp.QuoteMeta(d.dir) + `/dutybench-\S+\.csv`)
	for _, left := range []int{0, 4 << 10, 16 << 10, 64 << 10} {
		room(left)
		c := d.call("run", "--fault", short, "--seed", "2", "--json")
		assert.Equal(t, 1, c.status, "%d bytes left: %s", left, c.stdout)
		assert.Contains(t, c.stderr, "space", "%d bytes left", left)
		if where := saved.FindString(c.stderr); left > 4<<10 {
			require.FileExists(t, where, c.stderr)
			assert.Equal(t, "undecided", objects(t, d.call("judge", "--profile", defaultProfile, "--json", where).stdout)[0]["verdict"])
			assert.Equal(t, "undecided", objects(t, c.stdout)[0]["verdict"], "what was found is told")
		}
		assert.Zero(t, d.call("records", "verify").status)
		assert.Equal(t, before, record())
	}
	require.NoError(t, os.Remove(filepath.Join(small, "filler")))
	again := d.call("run", "--fault", short, "--seed", "3", "--json")
	assert.Regexp(t, `-000002$`, objects(t, again.stdout)[0]["record"], "with room again it goes on")
	assert.Zero(t, d.call("records", "verify").status)
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
		if size > 64<<20 {
			t.Fatal("the small disk is not small")
		}
	}
	require.NoError(t, f.Truncate(max(size-int64(left), 0)))
}
