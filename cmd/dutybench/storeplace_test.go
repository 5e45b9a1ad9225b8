package main

import (
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// An address in a form that is none of ours makes no folder, and nobody reads
// its password on the screen.
func TestOddPlaces(t *testing.T) {
	t.Chdir(t.TempDir())
	for _, where := range []string{
		"host=h user=u password=s3cret dbname=d", "password=s3cret host=/run/x", "postgres:/u:s3cret@h/d", "postgresql:u:s3cret@h",
		"u:s3cret@h/d", "//u:s3cret@h/d", "other://u:s3cret@h/d", "u:s3cret@postgres://h/d", "host=h password=s3cret options=://", "://s3cret",
		"sqlite:s3cret",
	} {
		for _, args := range []string{"run --fault drag:1", "records list", "records verify", "records hand-over", "workshop", "workshop set --name X", "lot x --summary", "bench check --unit K"} {
			for _, how := range []string{"flag", "environment"} {
				d := newDesk(t)
				call := strings.Fields(args)
				if how == "flag" {
					call = append(call, "--store", where)
				} else {
					d.vars["DUTYBENCH_STORE"] = where
				}
				c := d.call(call...)
				assert.Equal(t, exitError, c.status, "%s %s", where, args)
				assert.NotContains(t, c.stdout+c.stderr, "s3cret", "%s %s", where, args)
				assert.Contains(t, c.stderr, "postgres://USER@HOST/DATABASE", "%s %s", where, args)
			}
		}
	}
	made, err := os.ReadDir(".")
	require.NoError(t, err)
	assert.Empty(t, made)
	for _, folder := range []string{"plain", "/abs/o:l=ute", "./with=and:", "../x:y", "a/b:c", "with blanks and @"} {
		assert.False(t, oddPlace(folder), folder)
	}
}

// Pages and reports name customers and people: they are for the owner alone,
// as the records are.
func TestPagesAreForTheOwner(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	require.Zero(t, d.call("workshop", "set", "--automatic", "card.html").status)
	require.NotEqual(t, exitError, d.call("run", "--fault", short).status)
	folder := d.home() + "/pages"
	pages, err := os.ReadDir(folder)
	require.NoError(t, err)
	assert.Len(t, pages, 2)
	for _, p := range pages {
		info, err := p.Info()
		require.NoError(t, err)
		assert.Equal(t, os.FileMode(0o600), info.Mode().Perm(), p.Name())
	}
	info, err := os.Stat(folder)
	require.NoError(t, err)
	assert.Equal(t, os.FileMode(0o700), info.Mode().Perm())
	out := d.path("page.html")
	d.call("run", "--fault", short, "--page", out)
	info, err = os.Stat(out)
	require.NoError(t, err)
	assert.Equal(t, os.FileMode(0o644), info.Mode().Perm(), "what a person asks for elsewhere is a file like others")
}
