package trial_test

import (
	"bufio"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/record/store"
)

// writer starts this program as a writer of records. What it says comes over
// the pipe.
func writer(t *testing.T, where string, seed uint64, n int) *exec.Cmd {
	t.Helper()
	self, err := os.Executable()
	require.NoError(t, err)
	cmd := exec.Command(self)
	cmd.Env = append(os.Environ(), writerWhere+"="+where, fmt.Sprintf("%s=%d", writerSeed, seed), fmt.Sprintf("%s=%d", writerTests, n))
	cmd.Stderr = os.Stderr
	return cmd
}

// struck runs a writer, kills it a time after its first word, and gives what
// it had said. After 0 it is left to come to its end.
func struck(t *testing.T, where string, seed uint64, n int, after time.Duration) (lines []string, took time.Duration) {
	t.Helper()
	r, w, err := os.Pipe()
	require.NoError(t, err)
	defer r.Close()
	cmd := writer(t, where, seed, n)
	cmd.ExtraFiles = []*os.File{w}
	require.NoError(t, cmd.Start())
	require.NoError(t, w.Close())
	words := bufio.NewScanner(r)
	var start time.Time
	for words.Scan() {
		if lines = append(lines, words.Text()); len(lines) == 1 {
			start = time.Now()
			if after > 0 {
				time.AfterFunc(after, func() { _ = cmd.Process.Kill() })
			}
		}
	}
	require.NoError(t, words.Err())
	err = cmd.Wait()
	switch {
	case after == 0:
		require.NoError(t, err)
	case n == 0: // the others come to an end of their own
		require.ErrorContains(t, err, "killed", "the writer ended by itself")
	}
	return lines, time.Since(start)
}

// TestCampaignRecordsKill kills a process that keeps tests, at moments drawn
// over its whole cycle, and looks at what it left each time.
func TestCampaignRecordsKill(t *testing.T) {
	n := map[string]int{"sample": 40, "full": 500}[campaign()]
	if n == 0 {
		t.Skip("a campaign: set DUTYBENCH_CAMPAIGN to sample or full")
	}
	const each = 10                          // kills a store: so that some find an old log, and others a new one
	const recovering = 10 * time.Millisecond // about as long as it takes (chosen)
	_, cycle := struck(t, filepath.Join(t.TempDir(), "bench"), 1, 14, 0)
	rng := rand.New(rand.NewPCG(killSeed, 5))
	during := map[string]int{}
	var wholes, interrupted, tests, most, lost, midway int
	var where string
	var before map[string]string
	start := time.Now()
	for i := range n {
		if i%each == 0 {
			if where != "" {
				require.NoError(t, os.RemoveAll(filepath.Dir(where)))
			}
			where, before = filepath.Join(t.TempDir(), "bench"), nil
		}
		seed := uint64(1000 + i)
		lines, _ := struck(t, where, seed, 0, time.Duration(1+rng.Int64N(int64(cycle))))
		h, err := listen(seed, lines)
		require.NoError(t, err)
		again := h.open && i%3 == 0 // the next start is killed as well, while it recovers
		if again {
			words, _ := struck(t, where, seed, recoverOnly, time.Duration(1+rng.Int64N(int64(recovering))))
			if len(words) < 2 {
				midway++
			}
		}
		s, err := store.Open(where, store.Options{})
		require.NoError(t, err, "kill %d, during %s", i, h.during)
		l, err := h.check(s, before, again)
		assert.NoError(t, err, "kill %d, during %s of test %d", i, h.during, h.test)
		require.NoError(t, s.Close())
		if err != nil {
			before = nil
			where = filepath.Join(t.TempDir(), "bench")
			continue
		}
		before = l.ids
		during[h.during]++
		tests, most = tests+len(h.kept), max(most, l.records)
		if l.whole {
			wholes++
		}
		if l.interrupted {
			interrupted++
			lost = max(lost, l.promised-l.rows)
		}
		if i%100 == 99 {
			fmt.Fprintf(os.Stderr, "records killed: %d of %d, %.1f min\n", i+1, n, time.Since(start).Minutes())
		}
	}
	var b strings.Builder
	for _, k := range slices.Sorted(maps.Keys(during)) {
		fmt.Fprintf(&b, "  %-8s %4d\n", k, during[k])
	}
	t.Logf("%d kills within %v of a writer's first word, %d records kept, at most %d in a store\nstruck during\n%s"+
		"%d steps had come to their end unheard, %d drafts became interrupted records; rows lost whose Append had returned: %d\n"+
		"%d times the next start was killed too, while it made a record of the draft",
		n, cycle.Round(time.Millisecond), tests, most, b.String(), wholes, interrupted, lost, midway)
	for _, k := range []string{"append", "finish"} {
		assert.Positive(t, during[k], "no kill fell into %s: the campaign shows nothing about it", k)
	}
}
