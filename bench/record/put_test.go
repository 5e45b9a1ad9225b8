package record

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The test binary runs itself as another process that puts records, or dies
// while it puts one.
func TestMain(m *testing.M) {
	if dir := os.Getenv("RECORD_TEST_STORE"); dir != "" {
		os.Exit(another(dir, os.Getenv("RECORD_TEST_DIE_AT"), os.Getenv("RECORD_TEST_COUNT")))
	}
	// Syncing to a disk is slow, and these tests sync a lot: use memory where
	// the system offers it.
	if _, err := os.Stat("/dev/shm"); err == nil && os.Getenv("TMPDIR") == "" {
		os.Setenv("TMPDIR", "/dev/shm")
	}
	os.Exit(m.Run())
}

const died = 9

func another(dir, dieAt, count string) int {
	d, err := Open(dir)
	if err != nil {
		fmt.Println(err)
		return 1
	}
	at, _ := strconv.Atoi(dieAt)
	n := 0
	d.fail = func(string) error {
		if n++; n == at {
			os.Exit(died)
		}
		return nil
	}
	puts, _ := strconv.Atoi(count)
	for range puts {
		if _, err := d.Put(sample("P")); err != nil {
			fmt.Println(err)
			return 1
		}
	}
	return 0
}

func process(dir string, dieAt, count int) *exec.Cmd {
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), "RECORD_TEST_STORE="+dir,
		"RECORD_TEST_DIE_AT="+strconv.Itoa(dieAt), "RECORD_TEST_COUNT="+strconv.Itoa(count))
	return cmd
}

// A disk that fails at any single change leaves no half record, no gap, and a
// store that goes on.
func TestDiskErrors(t *testing.T) {
	disk := errors.New("no space left")
	for _, before := range []int{0, 1} {
		for at := 1; ; at++ {
			d := open(t)
			for range before {
				put(t, d, "A")
			}
			n, what := 0, ""
			d.fail = func(w string) error {
				if n++; n == at {
					what = w
					return disk
				}
				return nil
			}
			_, err := d.Put(sample("B"))
			d.fail = nil
			if what == "" {
				require.NoError(t, err)
				require.Greater(t, at, 10, "the disk was asked")
				break
			}
			entries, lerr := d.List(Filter{})
			require.NoError(t, lerr)
			if err != nil {
				require.ErrorIs(t, err, disk, what)
				require.Len(t, entries, before, what)
				left, err := os.ReadDir(filepath.Join(d.path, "tmp"))
				require.NoError(t, err)
				require.Empty(t, left, what)
			} else {
				require.Len(t, entries, before+1, what)
			}
			clean(t, d)
			r := put(t, d, "C")[0]
			require.Equal(t, len(entries)+1, r.ID.Seq, what)
			clean(t, d)
		}
	}
}

// A kill at any change leaves none or a whole record.
func TestKilledPut(t *testing.T) {
	if testing.Short() {
		t.Skip("starts processes")
	}
	for at := 1; ; at++ {
		d := open(t)
		put(t, d, "A")
		out, err := process(d.path, at, 1).CombinedOutput()
		if err == nil {
			require.Greater(t, at, 10)
			break
		}
		var exit *exec.ExitError
		require.ErrorAs(t, err, &exit)
		require.Equal(t, died, exit.ExitCode(), "%s", out)
		clean(t, d)
		before, err := d.List(Filter{})
		require.NoError(t, err)
		r := put(t, d, "B")[0]
		require.Equal(t, len(before)+1, r.ID.Seq)
		clean(t, d)
		left, err := os.ReadDir(filepath.Join(d.path, "tmp"))
		require.NoError(t, err)
		require.Empty(t, left, "leftovers are cleaned")
	}
}

func TestManyWriters(t *testing.T) {
	path := filepath.Join(t.TempDir(), "store")
	const writers, each = 4, 5
	var group sync.WaitGroup
	var mu sync.Mutex
	seen := map[int]bool{}
	for range writers {
		group.Go(func() {
			d, err := Open(path)
			if !assert.NoError(t, err) {
				return
			}
			for range each {
				r := sample("W")
				_, err := d.Put(r)
				if !assert.NoError(t, err) {
					return
				}
				damage, err := d.Verify() // meanwhile, others write
				assert.NoError(t, err)
				assert.Empty(t, damage)
				mu.Lock()
				assert.False(t, seen[r.ID.Seq], "a number is given once")
				seen[r.ID.Seq] = true
				mu.Unlock()
			}
		})
	}
	group.Go(func() {
		out, err := process(path, 0, each).CombinedOutput()
		assert.NoError(t, err, "%s", out)
	})
	group.Wait()
	d, err := Open(path)
	require.NoError(t, err)
	clean(t, d)
	entries, err := d.List(Filter{})
	require.NoError(t, err)
	require.Len(t, entries, (writers+1)*each)
	assert.Equal(t, (writers+1)*each, entries[len(entries)-1].ID.Seq)
}
