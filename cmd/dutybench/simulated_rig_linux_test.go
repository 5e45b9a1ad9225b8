package main

import (
	"bytes"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/record"
	"dutybench/signal/trace"
)

const noRealUnit = "Simulated: no real unit was on the bench."

// A test of a rig file on a simulated board never looks like a real one,
// whatever shows it and whenever.
func TestSimulatedRigFileIsToldApart(t *testing.T) {
	g := newGuarded(t)
	c := g.call("run", "--rig", "install/rigs/small.toml", "--simulate", "--fault", "supply-sense", "--page", g.path("page.html"))
	require.Equal(t, 5, c.status, c.stderr)
	assert.Contains(t, c.stdout, noRealUnit)
	page, err := os.ReadFile(g.path("page.html"))
	require.NoError(t, err)
	assert.Contains(t, string(page), noRealUnit)
	assert.Contains(t, string(page), "<dt>Fixture</dt><dd>not stated</dd>")
	assert.Contains(t, string(page), "<dt>Temperature</dt><dd>20.0 °C")
	assert.Contains(t, g.call("records", "show", "1").stdout, noRealUnit)
	assert.Contains(t, g.call("records", "list").stdout, defaultProfile+"  simulated")

	rec := g.desk.kept(t, 1)
	require.Len(t, rec.Files, 1)
	assert.Equal(t, record.RigFile, rec.Files[0].Name)
	rigText, err := os.ReadFile("install/rigs/small.toml")
	require.NoError(t, err)
	assert.Equal(t, string(rigText), string(rec.Files[0].Data), "the rig file as it was")
	assert.True(t, rec.Rig.Simulated)
	assert.Contains(t, string(rec.Trace), "# x-simulated: yes")
	assert.Contains(t, rec.Rig.Facts, record.Fact{Key: "simulated unit", Value: "seed 1"})
}

func TestSimulatedByNameOrMark(t *testing.T) {
	assert.True(t, simulated(record.Rig{Name: "sim"}), "a record from before the mark")
	assert.True(t, simulated(record.Rig{Name: "own", Simulated: true}))
	assert.False(t, simulated(record.Rig{Name: "own"}))

	d := newDesk(t)
	for name, c := range map[string]struct {
		meta []trace.Entry
		want bool
	}{
		"by name": {[]trace.Entry{{Key: trace.KeyRig, Value: "sim"}}, true},
		"by mark": {[]trace.Entry{{Key: trace.KeyRig, Value: "own"}, {Key: keySimulated, Value: "yes"}}, true},
		"real":    {[]trace.Entry{{Key: trace.KeyRig, Value: "own"}}, false},
	} {
		tr := recorded("A1", 1, 1)
		tr.Meta = append(tr.Meta, c.meta...)
		var b bytes.Buffer
		require.NoError(t, trace.Write(&b, tr))
		got := d.call("judge", "--profile", defaultProfile, d.write(t, "t.csv", b.String()))
		require.NotEmpty(t, got.stdout, got.stderr)
		assert.Equal(t, c.want, strings.Contains(got.stdout, noRealUnit), name)
	}
}
