package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/record"
	"dutybench/bench/record/store"
)

// shelved is a desk with a store of so many records, put into it directly.
func shelved(t testing.TB, n int) *desk {
	d := newDesk(t)
	d.shelve(t, n)
	return d
}

func (d *desk) shelve(t testing.TB, n int) {
	t.Helper()
	s, err := store.Open(d.path(".local/share/dutybench"), store.Options{})
	require.NoError(t, err)
	for i := range n {
		_, err := s.Put(&record.Record{
			Rig: record.Rig{Name: "fast"}, At: record.Circumstances{Unit: "A1\x1b[2J", Kind: "pump", Claim: "4711", Notes: strings.Repeat("n", i)},
			Trace: []byte("# trace: 1\nt_s,duty_pct,current_A\n0,0,0\n"), Result: []byte(`{"schema":1,"verdict":"pass"}`),
			Files: []record.File{{Name: "photo-1.jpg", Data: []byte("picture")}},
		})
		require.NoError(t, err)
	}
	require.NoError(t, s.Close())
}

func (d *desk) text(t testing.TB, name string) string {
	t.Helper()
	data, err := os.ReadFile(d.path(name))
	require.NoError(t, err)
	return string(data)
}

// TestEvidence goes the whole way: a bench, a desk that countersigns, and
// somebody with neither store nor key.
func TestEvidence(t *testing.T) {
	d := shelved(t, 3)
	ok := func(args ...string) string {
		t.Helper()
		c := d.call(args...)
		require.Zero(t, c.status, c.stdout+c.stderr)
		return c.stdout
	}
	p := d.path
	ok("records", "head", "--out", p("3.head"))
	line := strings.TrimSpace(ok("records", "head", "--line"))
	assert.Regexp(t, `^dutybench/[0-9a-z]{10} 3 [A-Za-z0-9+/]{43}=$`, line)
	require.NoError(t, os.WriteFile(p("bench.pub"), []byte(ok("records", "head", "--key")), 0o644))
	ok("records", "countersign", p("3.head"), "--key", p("bench.pub"), "--key-file", p("desk.key"), "--make-key", "warranty-desk", "--out", p("3c.head"))
	info, err := os.Stat(p("desk.key"))
	require.NoError(t, err)
	assert.Equal(t, os.FileMode(0o600), info.Mode().Perm())
	assert.True(t, strings.HasPrefix(d.text(t, "3c.head"), d.text(t, "3.head")), "the bench's own signature stays")

	d.shelve(t, 4)
	bundled := ok("records", "bundle", "2", "6", "--out", p("claim.zip"), "--since", p("3c.head"), "--since", line, "--key", p("desk.key.pub"))
	assert.Contains(t, bundled, "2 records")
	ok("records", "bundle", "--claim", "4711", "--out", p("all.zip"))
	assert.Equal(t, 1, d.call("records", "bundle", "2", "--out", p("all.zip")).status, "a file that is there stays")
	ok("records", "head", "--out", p("7.head"))

	out := ok("records", "verify")
	assert.Contains(t, out, "7 records, all whole and in their places")
	out = ok("records", "verify", "--head", p("3c.head"), "--head", line, "--key", p("desk.key.pub"), "--key", strings.TrimSpace(d.text(t, "bench.pub")))
	for _, want := range []string{"begins with the 3 records that the head you kept", "that the line names", "warranty-desk countersigned", "signed by the key that you gave"} {
		assert.Contains(t, out, want)
	}

	// Elsewhere: no store, no key.
	away := newDesk(t)
	check := func(args ...string) called { return away.call(append([]string{"records", "verify"}, args...)...) }
	c := check(p("claim.zip"), "--key", p("bench.pub"), "--key", p("desk.key.pub"), "--head", p("3.head"), "--head", line)
	require.Zero(t, c.status, c.stdout+c.stderr)
	assert.NotContains(t, c.stdout, "\x1b", "a serial does not steer the terminal")
	for _, want := range []string{"you gave it too", "warranty-desk, whose key you gave, countersigned", "whole: 2 records"} {
		assert.Contains(t, strings.Join(strings.Fields(c.stdout), " "), want)
	}
	c = check("--bundle", p("claim.zip"))
	assert.Zero(t, c.status)
	assert.Contains(t, c.stdout, "vouches for itself only")
	assert.Contains(t, c.stdout, "it came with the bundle")

	c = check(p("claim.zip"), "--extract", away.path("unpacked"))
	require.Zero(t, c.status, c.stderr)
	photo, err := os.ReadFile(away.path("unpacked/records/000006/files/photo-1.jpg"))
	require.NoError(t, err)
	assert.Equal(t, "picture", string(photo))

	// The desk signs on where the log goes on.
	next := away.call("records", "countersign", p("7.head"), "--key", p("bench.pub"), "--key-file", p("desk.key"), "--since", p("3c.head"), "--bundle", p("claim.zip"))
	require.Zero(t, next.status, next.stderr)
	assert.Equal(t, 2, strings.Count(next.stdout, "— "))
	next = away.call("records", "countersign", p("7.head"), "--key", p("bench.pub"), "--key-file", p("desk.key"), "--since", p("3c.head"), "--bundle", p("all.zip"))
	assert.Equal(t, 1, next.status)
	assert.Contains(t, next.stderr, "does not prove that the log goes on")

	// What is not as expected: exit 1, and said.
	other := shelved(t, 7)
	otherKey := other.call("records", "head", "--key").stdout
	for _, x := range []struct{ args, want string }{
		{p("claim.zip") + " --key " + strings.TrimSpace(otherKey), "nothing in the bundle is signed by"},
		{p("all.zip") + " --head " + p("3.head"), "--since"},
		{p("all.zip") + " --key " + p("desk.key.pub"), "nothing in the bundle is signed by warranty-desk"},
		{p("bench.pub"), "no bundle"},
		{p("none.zip"), "no such file"},
		{p("all.zip") + " --key " + p("none.pub"), "no such file"},
		{p("all.zip") + " --key " + p("3.head"), "no public key"},
		{p("all.zip") + " --head " + p("bench.pub"), "no head"},
	} {
		c := check(strings.Fields(x.args)...)
		assert.Equal(t, 1, c.status, x.args)
		assert.Contains(t, strings.Join(strings.Fields(c.stdout+c.stderr), " "), x.want, x.args)
	}
	assert.Equal(t, 2, check(p("all.zip"), "--bundle", p("all.zip")).status)
	assert.Equal(t, 2, check("--extract", "x").status)
	c = other.call("records", "verify", "--head", p("3.head"))
	assert.Equal(t, 1, c.status)
	assert.Contains(t, c.stdout+c.stderr, "3.head")
	assert.Equal(t, 1, other.call("records", "verify", "--key", p("desk.key.pub")).status)
	assert.Equal(t, 1, other.call("records", "verify", "--key", p("bench.pub")).status)
}

// TestACutTail is a store that was put back to an earlier day by who holds its
// key.
func TestACutTail(t *testing.T) {
	d := shelved(t, 3)
	folder := d.path(".local/share/dutybench")
	require.Zero(t, d.call("records", "backup", d.path("early.db")).status)
	d.shelve(t, 2)
	require.Zero(t, d.call("records", "head", "--out", d.path("5.head")).status)
	line := strings.TrimSpace(d.call("records", "head", "--line").stdout)
	early, err := os.ReadFile(d.path("early.db"))
	require.NoError(t, err)
	for _, name := range []string{"records.db", "records.db-wal", "records.db-shm"} {
		_ = os.Remove(filepath.Join(folder, name))
	}
	require.NoError(t, os.WriteFile(filepath.Join(folder, "records.db"), early, 0o644))
	c := d.call("records", "verify")
	require.Zero(t, c.status, "by itself it is whole: "+c.stdout+c.stderr)
	for _, head := range []string{d.path("5.head"), line} {
		c = d.call("records", "verify", "--head", head)
		assert.Equal(t, 1, c.status)
		assert.Contains(t, c.stdout, "tail was cut")
	}
	// Filled up again with other tests, of the same number.
	d.shelve(t, 2)
	c = d.call("records", "verify", "--head", line)
	assert.Equal(t, 1, c.status)
	assert.Contains(t, c.stdout, "two logs of 5 records")
}

func TestWrongUseOfEvidence(t *testing.T) {
	d := shelved(t, 1)
	p := d.path
	require.Zero(t, d.call("records", "head", "--out", p("1.head")).status)
	require.NoError(t, os.WriteFile(p("bench.pub"), []byte(d.call("records", "head", "--key").stdout), 0o644))
	private := d.text(t, ".local/share/dutybench/bench.key")
	for _, x := range []struct {
		args   string
		status int
		want   string
	}{
		{"bundle --out x.zip", 2, "which records"},
		{"bundle 1", 2, "--out"},
		{"bundle 1 --claim 1 --out x.zip", 2, "not both"},
		{"bundle one --out x.zip", 2, "no record's name"},
		{"bundle 9 --out " + p("x.zip"), 1, "no record"},
		{"bundle --claim none --out " + p("x.zip"), 1, "no record fits"},
		{"bundle 1 --out " + p("none/x.zip"), 1, "make it first"},
		{"bundle 1 --out " + p("x.zip") + " --since " + p("bench.pub"), 1, "no head"},
		{"countersign " + p("1.head"), 2, "--key-file"},
		{"countersign " + p("1.head") + " --key-file " + p("k"), 2, "public key"},
		{"countersign " + p("1.head") + " --key " + p("bench.pub") + " --key-file " + p("k"), 1, "--make-key"},
		{"countersign " + p("1.head") + " --key " + p("bench.pub") + " --key-file " + p("k") + " --make-key dutybench/x", 2, "benches"},
		{"countersign " + p("1.head") + " --key " + p("bench.pub") + " --key-file " + p("1.head") + " --make-key desk", 1, "exists"},
		{"countersign " + p("bench.pub") + " --key " + p("bench.pub") + " --key-file " + p("k") + " --make-key x", 1, "no head"},
		{"countersign " + p("1.head") + " --key " + p("bench.pub") + " --key-file " + p("k") + " --make-key x --since " + p("1.head"), 2, "go together"},
		{"countersign " + p("1.head") + " --key " + p("bench.pub") + " --key-file " + p(".local/share/dutybench/bench.key"), 1, "own log"},
		{"countersign " + p("none") + " --key " + p("bench.pub") + " --key-file " + p("k"), 1, "no such file"},
		{"head --line --key", 2, "line"},
		{"head --bench 0123456789", 1, "no bench"},
		{"verify --key " + strings.TrimSpace(private), 1, "private key"},
		{"verify --key " + p(".local/share/dutybench/bench.key"), 1, "private key"},
	} {
		c := d.call(append([]string{"records"}, strings.Fields(x.args)...)...)
		assert.Equal(t, x.status, c.status, "%s: %s", x.args, c.stderr)
		assert.Contains(t, c.stdout+c.stderr, x.want, x.args)
		assert.NotContains(t, c.stdout+c.stderr, strings.TrimSpace(private)[50:], "a private key is not repeated")
	}
	assert.NoFileExists(t, p("k"))
	assert.NoFileExists(t, p("x.zip"))
}

func TestTicker(t *testing.T) {
	var b bytes.Buffer
	tick := &ticker{w: &b, what: "record", terminal: true}
	tick.tick(1, 9)
	tick.end()
	assert.Equal(t, "\rrecord 1 of 9\r             \r", b.String())
	b.Reset()
	tick = &ticker{w: &b, what: "record"}
	tick.tick(1, 9)
	tick.tick(2, 9)
	tick.end()
	assert.Equal(t, "record 1 of 9\n", b.String(), "a line now and then")
}
