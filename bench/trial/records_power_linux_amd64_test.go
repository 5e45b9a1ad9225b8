package trial_test

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/record/store"
)

// TestCampaignRecordsPowerCut follows a writer through its system calls, cuts
// the power at random moments by making the folders that a disk might then
// hold, and opens these.
func TestCampaignRecordsPowerCut(t *testing.T) {
	n := map[string]int{"sample": 40, "full": 200}[campaign()]
	if n == 0 {
		t.Skip("a campaign: set DUTYBENCH_CAMPAIGN to sample or full")
	}
	const writers = 4 // each with a store of its own from its first byte on
	rng := rand.New(rand.NewPCG(killSeed, 6))
	var young, wholes, interrupted, records, differ, promises int
	for w := range writers {
		seed := uint64(1 + w)
		root := t.TempDir()
		if w%2 == 1 { // a person made the folder
			require.NoError(t, os.Mkdir(filepath.Join(root, "bench"), 0o755))
		}
		events, err := traced(writer(t, filepath.Join(root, "bench"), seed, 10), root)
		if errors.Is(err, errNoTrace) {
			t.Skip(err)
		}
		require.NoError(t, err)
		if w == 0 {
			t.Log(synopsis(events))
		}
		for i, e := range events {
			if e.kind == spoke && slices.Contains([]string{"opened", "begun", "appended", "finished", "dropped", "closed"}, strings.Fields(e.text)[0]) {
				require.Empty(t, unsynced(events[:i]), "when it said %q", e.text)
				promises++
			}
		}
		if w == 0 {
			canFail(t, seed, events)
		}
		for i := range n / writers {
			moment := 1 + rng.IntN(len(events))
			d := diskAfter(events[:moment], losses(i, rng), rng)
			h := heardBy(t, seed, events[:moment])
			l, err := h.checkDisk(t, d)
			at := fmt.Sprintf("writer %d, cut %d behind event %d, %v; during %s of test %d", seed, i, moment, events[moment-1], h.during, h.test)
			if !assert.NoError(t, err, at) {
				continue
			}
			if !h.opened {
				young++
			}
			if l.whole {
				wholes++
			}
			if l.interrupted {
				interrupted++
			}
			records += len(h.kept)
			if !d.same(diskAfter(events[:moment], loss{content: 1, names: 1}, rng)) {
				differ++
			}
		}
	}
	t.Logf("%d times the writer said that something was kept, and each time nothing was left unsynced\n"+
		"%d power cuts; %d images differ from what the process saw\n"+
		"%d before the store was first open; %d records were promised in all, and all were there\n"+
		"%d steps had come to their end unheard, %d drafts became interrupted records", promises, n, differ, young, records, wholes, interrupted)
}

func heardBy(t *testing.T, seed uint64, events []event) *heard {
	t.Helper()
	var lines []string
	for _, e := range events {
		if e.kind == spoke {
			lines = append(lines, e.text)
		}
	}
	h, err := listen(seed, lines)
	require.NoError(t, err)
	return h
}

// canFail leaves the syncs of the database's log out, as a disk that lies
// does: then records must be lost, or this campaign sees nothing.
func canFail(t *testing.T, seed uint64, events []event) {
	t.Helper()
	var lying []event
	for _, e := range events {
		if e.kind != synced || !strings.HasSuffix(e.path, "-wal") {
			lying = append(lying, e)
		}
	}
	rng := rand.New(rand.NewPCG(killSeed, 9))
	for range 30 {
		moment := len(lying)/2 + rng.IntN(len(lying)/2)
		if _, err := heardBy(t, seed, lying[:moment]).checkDisk(t, diskAfter(lying[:moment], loss{content: 0.5, names: 1}, rng)); err != nil {
			t.Logf("with a disk that does not sync the log: %v", err)
			return
		}
	}
	t.Error("without the syncs of the log nothing is lost in 30 images: they show nothing")
}

// checkDisk opens what a power cut left, as the next start of the bench does.
func (h *heard) checkDisk(t *testing.T, d disk) (*left, error) {
	root, err := os.MkdirTemp("", "cut-")
	require.NoError(t, err)
	defer os.RemoveAll(root)
	require.NoError(t, d.save(root))
	if len(h.kept) > 0 {
		for _, name := range []string{"bench/bench.key", "bench/bench.key.pub"} {
			if len(d[name]) == 0 {
				return nil, fmt.Errorf("%s is lost", name)
			}
		}
	}
	s, err := store.Open(filepath.Join(root, "bench"), store.Options{})
	if err != nil {
		return nil, err
	}
	l, err := h.check(s, nil, false)
	if err == nil {
		err = goesOn(s)
	}
	return l, errors.Join(err, s.Close())
}

// goesOn keeps one more test in a store.
func goesOn(s *store.Store) error {
	w, err := planned(1_000_000, 0)
	if err != nil {
		return err
	}
	if _, err := s.Put(w.rec); err != nil {
		return fmt.Errorf("it keeps no further test: %w", err)
	}
	if d, err := s.Verify(); err != nil || len(d) > 0 {
		return fmt.Errorf("it is not whole behind a further test: %v %w", d, err)
	}
	return nil
}

// synopsis is the writes and syncs of the first test that was put and of the
// first draft, each run of writes to one file on a line.
func synopsis(events []event) string {
	var b strings.Builder
	for _, step := range [][2]string{{"open", "opened"}, {"put", "finished"}, {"append", "appended"}, {"finish", "finished"}} {
		inside := false
		var run []event
		flush := func() {
			if len(run) > 0 {
				bytes := 0
				for _, e := range run {
					bytes += len(e.data)
				}
				fmt.Fprintf(&b, "    %s %s, %d bytes in %d calls\n", "write", run[0].path, bytes, len(run))
			}
			run = nil
		}
		for _, e := range events {
			if e.kind == spoke && strings.Fields(e.text)[0] == step[0] && !inside {
				inside = true
				fmt.Fprintf(&b, "  %s\n", e.text)
				continue
			}
			if !inside {
				continue
			}
			if e.kind == wrote && (len(run) == 0 || run[0].file == e.file) {
				run = append(run, e)
				continue
			}
			flush()
			if e.kind == wrote {
				run = append(run, e)
				continue
			}
			fmt.Fprintf(&b, "    %v\n", e)
			if e.kind == spoke && strings.Fields(e.text)[0] == step[1] {
				break
			}
		}
	}
	return "the order of writes and syncs\n" + b.String()
}
