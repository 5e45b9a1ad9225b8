package main

import (
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A desk with neither store nor profile gets from a bundle what the bench said:
// the same verdict, judged with purpose, priming and inspection of the record,
// and the same report; and it hears who vouches for it.
func TestJudgedAndReportedFromABundle(t *testing.T) {
	t.Parallel()
	bench, away, other := newDesk(t), newDesk(t), shelved(t, 1)
	for _, args := range [][]string{
		{"--unit", "H1", "--fault", "dry-loop:1", "--primed", "--purpose", "return"},
		{"--unit", "H2", "--inspection", "leak=yes,plug=dry"},
	} {
		c := bench.call(append([]string{"run"}, args...)...)
		require.Contains(t, []int{0, 3, 4}, c.status, c.stderr)
	}
	require.Equal(t, "fail", objects(t, bench.call("records", "show", "1", "--json").stdout)[0]["verdict"], "or the test tests nothing")
	both, first := away.path("both.zip"), away.path("first.zip")
	require.Zero(t, bench.call("records", "bundle", "1", "2", "--out", both).status)
	require.Zero(t, bench.call("records", "bundle", "1", "--out", first).status)
	key := away.write(t, "bench.key.pub", bench.call("records", "head", "--key").stdout)
	flat := func(s string) string { return strings.Join(strings.Fields(s), " ") }

	for _, how := range [][]string{nil, {"--as-kept"}, {"--as-kept", "--key", key}} {
		c := away.call(append([]string{"records", "judge", both, "--json"}, how...)...)
		got, want := objects(t, c.stdout), objects(t, bench.call("records", "judge", "1", "2", "--json").stdout)
		require.Len(t, got, 2, c.stderr)
		for i, o := range got {
			assert.Equal(t, len(how) > 1, o["bundle"].(map[string]any)["trusted"])
			delete(o, "bundle")
			assert.Equal(t, want[i], o)
			assert.Equal(t, o["verdict_then"], o["verdict_now"])
			assert.Empty(t, o["changed_by"])
		}
		assert.Equal(t, 3, c.status, "the worst of them")
	}
	c := away.call("records", "judge", both, "1")
	assert.Contains(t, flat(c.stdout), "vouches for itself only")
	assert.Contains(t, c.stdout, "fail, hydraulic, as then.")
	assert.NotContains(t, c.stdout, "H2")
	c = away.call("records", "judge", both, "--key", key)
	assert.Contains(t, flat(c.stdout), "signed by the key of bench")
	assert.NotContains(t, flat(c.stdout), "for itself only")

	claim := []string{"--version", "claim", "--format", "html", "--out", "-"}
	c = away.call(append([]string{"records", "report", both, "1", "--key", key}, claim...)...)
	require.Zero(t, c.status, c.stderr)
	assert.Contains(t, flat(c.stderr), "signed by the key of bench")
	assert.Equal(t, bench.call(append([]string{"records", "report", "1"}, claim...)...).stdout, c.stdout, "the same report")
	c = away.call("records", "report", first, "--out", away.path("h1.pdf"))
	require.Zero(t, c.status, c.stderr)
	assert.Contains(t, flat(c.stderr), "for itself only")
	assert.FileExists(t, away.path("h1.pdf"))
	assert.NoDirExists(t, away.home(), "no store is made")

	// verify says how to go on, and it is so.
	c = away.call("records", "verify", first, "--key", key)
	require.Zero(t, c.status, c.stdout)
	for _, line := range []string{"records judge " + first + " --as-kept --key " + key, "records report " + first + " --version claim --key " + key} {
		require.Contains(t, c.stdout, "  dutybench "+line+"\n")
		got := away.call(append(strings.Fields(line), map[bool][]string{true: {"--out", away.path("c.pdf")}}[strings.Contains(line, "report")]...)...)
		assert.Contains(t, []int{0, 3}, got.status, got.stderr)
	}

	// What does not vouch for itself, or not by the key that is trusted.
	data, err := os.ReadFile(first)
	require.NoError(t, err)
	data[len(data)/2] ^= 1
	broken := away.write(t, "broken.zip", string(data))
	otherKey := strings.TrimSpace(other.call("records", "head", "--key").stdout)
	for _, x := range []struct {
		status int
		says   string
		args   []string
	}{
		{exitError, "nothing is taken from", []string{"judge", broken}},
		{exitError, "nothing is taken from", []string{"report", broken, "--out", "-"}},
		{exitError, "nothing is taken from", []string{"judge", first, "--key", otherKey}},
		{exitError, "nothing is taken from", []string{"report", first, "--key", otherKey, "--out", "-"}},
		{exitError, "no record 2 in", []string{"judge", first, "2"}},
		{exitError, "no record 2 in", []string{"report", first, "2", "--out", "-"}},
		{exitError, "no such file", []string{"judge", away.path("none.zip")}},
		{exitError, "no bundle", []string{"judge", key}},
		{exitUsage, "say which", []string{"report", both}},
		{exitUsage, "no record's name", []string{"judge", first, "x"}},
		{exitUsage, "--key is for a bundle", []string{"judge", "1", "--key", key}},
		{exitUsage, "--key is for a bundle", []string{"report", "1", "--key", key}},
	} {
		c := away.call(append([]string{"records"}, x.args...)...)
		assert.Equal(t, x.status, c.status, "%v: %s", x.args, c.stderr)
		assert.Contains(t, c.stderr, x.says, x.args)
		assert.NotContains(t, c.stdout, "H1")
	}
	c = away.call("records", "verify", broken)
	assert.NotContains(t, c.stdout+c.stderr, "To judge again", "of a broken one nothing more is to be had")
}
