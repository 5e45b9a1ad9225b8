package main

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/record/store"
)

// A test whose program died before its first row was on the disk is a record
// too, and nothing stumbles over its trace, which has a heading only.
func TestBrokeOffBeforeTheFirstRow(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	require.NotEqual(t, exitError, d.call("run", "--fault", short, "--unit", "E1", "--lot", "L").status)
	rec := d.kept(t, 1)
	rec.When = time.Date(2026, 11, 20, 9, 0, 0, 0, time.UTC)
	rec.Trace, rec.Result, rec.At.Attempt = nil, nil, 0
	s, err := store.Open(d.home(), store.Options{})
	require.NoError(t, err)
	_, err = s.Begin(rec)
	require.NoError(t, err)
	locks, err := filepath.Glob(filepath.Join(d.home(), "drafts", "*"))
	require.NoError(t, err)
	require.Len(t, locks, 1)
	require.NoError(t, os.Remove(locks[0])) // and it is of days ago
	require.NoError(t, s.Close())

	c := d.call("records", "list")
	assert.Contains(t, c.stderr, "broke off")
	assert.Contains(t, c.stdout, "-000002")
	assert.Contains(t, d.call("records", "show", "2").stdout, "No row of it was on the disk")
	for _, x := range []struct {
		args   []string
		status []int
	}{
		{[]string{"records", "list", "--json"}, []int{0}},
		{[]string{"records", "show", "2"}, []int{0}},
		{[]string{"records", "show", "2", "--json"}, []int{0}},
		{[]string{"records", "judge", "2"}, nil},
		{[]string{"records", "judge", "2", "--json"}, nil},
		{[]string{"judge", "--profile", defaultProfile, "record:2"}, nil},
		{[]string{"records", "report", "2", "--out", d.path("r.pdf")}, nil},
		{[]string{"records", "report", "2", "--version", "claim", "--out", d.path("c.pdf")}, nil},
		{[]string{"records", "history", "E1"}, []int{0}},
		{[]string{"records", "export", "--csv", d.path("e.csv"), "--findings", d.path("f.csv"), "--traces", d.path("traces")}, []int{0}},
		{[]string{"records", "bundle", "2", "--out", d.path("b.zip")}, []int{0}},
		{[]string{"records", "verify", d.path("b.zip")}, []int{0}},
		{[]string{"records", "verify"}, []int{0}},
		{[]string{"records", "backup", d.path("backup.db")}, []int{0}},
		{[]string{"lot", "L", "--summary"}, []int{0}},
		{[]string{"run", "--fault", short, "--unit", "E1", "--lot", "L"}, []int{4, 5}},
	} {
		c := d.call(x.args...)
		assert.NotContains(t, c.stderr, "program error", x.args)
		if x.status != nil {
			assert.Contains(t, x.status, c.status, "%v: %s", x.args, c.stderr)
		}
	}
}
