package store

import (
	"bufio"
	"fmt"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/record"
	"dutybench/signal/trace"
)

// another is what the other process does; it says "ready" when it has.
func another(folder, does string) int {
	s, err := Open(folder, Options{})
	if err != nil {
		fmt.Println(err)
		return 1
	}
	switch does {
	case "put":
		for range 5 {
			if _, err := s.Put(sample("P1")); err != nil {
				fmt.Println(err)
				return 1
			}
		}
		return 0
	case "draft":
		d, err := s.Begin(sample("P1"))
		for i := 0; i < 3 && err == nil; i++ {
			err = d.Append(samples(10*i, 10))
		}
		if err != nil {
			fmt.Println(err)
			return 1
		}
	}
	fmt.Println("ready")
	time.Sleep(time.Minute)
	return 0
}

func process(folder, does string) *exec.Cmd {
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), "STORE_TEST_FOLDER="+folder, "STORE_TEST_DOES="+does)
	return cmd
}

func samples(from, n int) *trace.Trace {
	t := &trace.Trace{Meta: []trace.Entry{{Key: "unit", Value: "P1"}}, Columns: []trace.Column{{Name: "t_s"}, {Name: "duty_pct"}, {Name: "current_A"}}}
	for i := range n {
		for c, v := range []float64{float64(from+i) / 1000, 50, 0.25} {
			t.Columns[c].Values = append(t.Columns[c].Values, v)
		}
	}
	return t
}

func rowsOf(t *testing.T, r *record.Record) int {
	t.Helper()
	tr, err := trace.Read(strings.NewReader(string(r.Trace)), "trace")
	require.NoError(t, err)
	return tr.Len()
}

func verified(t *testing.T, s *Store) {
	t.Helper()
	damage, err := s.Verify()
	require.NoError(t, err)
	require.Empty(t, damage)
}

func TestProcessesStartTogether(t *testing.T) {
	folder := t.TempDir()
	var all []*exec.Cmd
	for range 3 {
		cmd := process(folder, "put")
		cmd.Stdout, cmd.Stderr = os.Stderr, os.Stderr
		require.NoError(t, cmd.Start())
		all = append(all, cmd)
	}
	for _, cmd := range all {
		assert.NoError(t, cmd.Wait())
	}
	s := opened(t, folder)
	verified(t, s)
	list, err := s.List(record.Filter{})
	require.NoError(t, err)
	assert.Len(t, list, 15)
}

// A test whose program was killed becomes a record; one under way does not,
// nor does it look like damage.
func TestInterrupted(t *testing.T) {
	folder := t.TempDir()
	cmd := process(folder, "draft")
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	said, err := bufio.NewReader(out).ReadString('\n')
	require.NoError(t, err)
	require.Equal(t, "ready\n", said)

	s := opened(t, folder)
	mine, err := s.Begin(sample("P2")) // in this process, and alive
	require.NoError(t, err)
	require.NoError(t, mine.Append(samples(0, 5)))
	ids, err := s.Recover()
	require.NoError(t, err)
	assert.Empty(t, ids)
	verified(t, s)

	require.NoError(t, cmd.Process.Kill())
	_ = cmd.Wait()
	ids, err = s.Recover()
	require.NoError(t, err)
	require.Len(t, ids, 1)
	r, err := s.Get(ids[0])
	require.NoError(t, err)
	assert.True(t, r.Interrupted)
	assert.Nil(t, r.Result)
	assert.Equal(t, "P1", r.At.Unit)
	assert.Equal(t, sample("P1").Profile.Text, r.Profile.Text)
	assert.Len(t, r.Files, 2)
	tr, err := trace.Read(strings.NewReader(string(r.Trace)), "trace")
	require.NoError(t, err)
	assert.Equal(t, 30, tr.Len())
	why, _ := tr.Get("ended")
	assert.Contains(t, why, "stopped during the test")

	ids, err = s.Recover()
	require.NoError(t, err)
	assert.Empty(t, ids)
	r = sample("P2")
	id, err := mine.Finish(r)
	require.NoError(t, err)
	assert.Equal(t, 2, id.Seq)
	verified(t, s)
	left, err := os.ReadDir(folder + "/" + draftFolder)
	require.NoError(t, err)
	assert.Empty(t, left)
}

// Of a test of which nothing was on the disk, a record without rows is kept; of
// one whose last chunk was damaged, what came before.
func TestInterruptedEarly(t *testing.T) {
	s := opened(t, t.TempDir())
	for _, chunks := range []int{0, 3} {
		d, err := s.Begin(sample("P1"))
		require.NoError(t, err)
		for i := range chunks {
			require.NoError(t, d.Append(samples(10*i, 10)))
		}
		require.NoError(t, d.(*draft).lock.Close()) // as if it had died
	}
	require.NoError(t, s.own.write(func(t *tx) error {
		return t.exec("UPDATE chunks SET data = ? WHERE place = 1", []byte("garbage"))
	}))
	ids, err := s.Recover()
	require.NoError(t, err)
	require.Len(t, ids, 2)
	var r *record.Record
	var rows []int
	var tr *trace.Trace
	for _, id := range ids {
		r, err = s.Get(id)
		require.NoError(t, err)
		assert.True(t, r.Interrupted)
		assert.Nil(t, r.Result)
		assert.Contains(t, string(r.Trace), "# ended: ")
		if got, err := trace.Read(strings.NewReader(string(r.Trace)), "trace"); err != nil {
			assert.Equal(t, noRows, string(r.Trace))
			rows = append(rows, 0)
		} else {
			tr, rows = got, append(rows, got.Len())
		}
	}
	assert.ElementsMatch(t, []int{0, 10}, rows)
	why, _ := tr.Get("ended")
	assert.Contains(t, why, "left out: its chunk 1 is not as this bench wrote it")
	verified(t, s)
}

func TestDiskFull(t *testing.T) {
	s, err := Open(t.TempDir(), Options{Room_B: 1 << 60})
	require.NoError(t, err)
	defer s.Close()
	_, err = s.Begin(sample("P1"))
	assert.ErrorContains(t, err, "free it, or name another store")

	// A disk that is full while a record is written keeps what was there.
	s = opened(t, t.TempDir())
	_, err = s.Put(sample("P1"))
	require.NoError(t, err)
	s.own.db.SetMaxOpenConns(1)
	var pages int
	require.NoError(t, s.own.db.QueryRow("PRAGMA page_count").Scan(&pages))
	_, err = s.own.db.Exec(fmt.Sprintf("PRAGMA max_page_count = %d", pages))
	require.NoError(t, err)
	big := sample("P2")
	for range 1000 {
		big.At.Notes += fmt.Sprintf("%x", time.Now().UnixNano())
	}
	_, err = s.Put(big)
	require.ErrorContains(t, err, "the disk is full: free it, nothing was changed")
	assert.Zero(t, big.ID)
	verified(t, s)
	_, err = s.own.db.Exec("PRAGMA max_page_count = 1000000")
	require.NoError(t, err)
	_, err = s.Put(big)
	require.NoError(t, err)
	assert.Equal(t, 2, big.ID.Seq)
	verified(t, s)
}
