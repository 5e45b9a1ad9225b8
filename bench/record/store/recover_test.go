package store

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/record"
)

// A test whose lock somebody removed is not taken from under it; it comes to
// its end as any other.
func TestLockIsGone(t *testing.T) {
	s := opened(t, begun(t))
	r := sample("P1")
	r.When = time.Now()
	d, err := s.Begin(r)
	require.NoError(t, err)
	require.NoError(t, d.Append(samples(0, 10)))
	require.NoError(t, os.Remove(d.(*draft).lock.Name()))
	ids, err := opened(t, s.folder).Recover()
	require.NoError(t, err)
	assert.Empty(t, ids)
	assert.NoFileExists(t, d.(*draft).lock.Name(), "none is made anew")
	id, err := d.Finish(r)
	require.NoError(t, err)
	assert.Equal(t, 2, id.Seq)
	assert.Zero(t, count(t, s, "drafts"))
	verified(t, s)
}

// One whose lock is gone and which nobody can be making any more becomes a
// record all the same.
func TestLockIsLongGone(t *testing.T) {
	began := time.Now()
	for what, x := range map[string]struct {
		began, now time.Time
		taken      int
	}{
		"under way":                  {began, began.Add(time.Hour), 0},
		"a day ago":                  {began, began.Add(longestTest + time.Minute), 1},
		"begun tomorrow":             {began, began.Add(-longestTest - time.Minute), 1},
		"before the machine's start": {began.Add(-sinceBoot() - time.Hour), began.Add(-sinceBoot()), 1},
	} {
		if what == "before the machine's start" && sinceBoot() == 0 {
			continue
		}
		folder := begun(t)
		s, err := Open(folder, Options{})
		require.NoError(t, err)
		r := sample("P1")
		r.When = x.began
		d, err := s.Begin(r)
		require.NoError(t, err)
		require.NoError(t, d.Append(samples(0, 10)))
		require.NoError(t, os.Remove(d.(*draft).lock.Name()))
		require.NoError(t, s.Close())
		s, err = Open(folder, Options{Now: func() time.Time { return x.now }})
		require.NoError(t, err)
		ids, err := s.Recover()
		require.NoError(t, err, what)
		assert.Len(t, ids, x.taken, what)
		require.NoError(t, s.Close())
	}
}

// Where locks do not reach, as on a folder that two machines share, the other
// one makes a record of a test under way; the whole one is kept beside it.
func TestFinishAfterAnother(t *testing.T) {
	s := opened(t, begun(t))
	d, err := s.Begin(sample("P1"))
	require.NoError(t, err)
	require.NoError(t, d.Append(samples(0, 10)))
	require.NoError(t, d.(*draft).lock.Close())
	ids, err := opened(t, s.folder).Recover()
	require.NoError(t, err)
	require.Len(t, ids, 1)
	id, err := d.Finish(sample("P1"))
	require.NoError(t, err)
	assert.Equal(t, 3, id.Seq)
	list, err := s.List(record.Filter{Unit: "P1"})
	require.NoError(t, err)
	require.Len(t, list, 2)
	assert.True(t, list[0].Interrupted)
	assert.Equal(t, "fail", string(list[1].Verdict))
	verified(t, s)
}

// A draft that could not be kept keeps its lock: the next start takes it.
func TestRecoverFails(t *testing.T) {
	folder, name := dead(t, 2)
	s := opened(t, folder)
	key := filepath.Join(folder, keyFile)
	require.NoError(t, s.own.write(func(t *tx) error { return t.exec("UPDATE benches SET size = 9 WHERE own = 1") }))
	_, err := s.Recover()
	require.Error(t, err)
	assert.FileExists(t, s.draftLock(name))
	assert.FileExists(t, key)
	require.NoError(t, s.own.write(func(t *tx) error { return t.exec("UPDATE benches SET size = 1 WHERE own = 1") }))
	ids, err := s.Recover()
	require.NoError(t, err)
	assert.Len(t, ids, 1)
	assert.NoFileExists(t, s.draftLock(name))
}

// Rows whose keeping seemed to fail come again with those that follow.
func TestAppendAgain(t *testing.T) {
	s := opened(t, begun(t))
	begun, err := s.Begin(sample("P1"))
	require.NoError(t, err)
	d := begun.(*draft)
	require.NoError(t, d.Append(samples(0, 10)))
	d.n = 0 // as if the commit had been heard to fail
	require.NoError(t, d.Append(samples(0, 20)))
	require.NoError(t, d.Append(samples(20, 10)))
	require.NoError(t, d.lock.Close())
	ids, err := opened(t, s.folder).Recover()
	require.NoError(t, err)
	require.Len(t, ids, 1)
	r, err := s.Get(ids[0])
	require.NoError(t, err)
	assert.Equal(t, 30, rowsOf(t, r))
}

// Pages and locks name units and customers: they are for the owner alone.
func TestFoldersForTheOwner(t *testing.T) {
	s := opened(t, filepath.Join(t.TempDir(), "a", "store"))
	for _, name := range []string{"pages", draftFolder} {
		info, err := os.Stat(filepath.Join(s.folder, name))
		require.NoError(t, err)
		assert.Equal(t, os.FileMode(0o700), info.Mode().Perm(), name)
	}
}
