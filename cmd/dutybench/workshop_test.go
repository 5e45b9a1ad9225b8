package main

import (
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestWorkshop(t *testing.T) {
	d := newDesk(t)
	d.vars["DUTYBENCH_STORE"] = d.path("store")
	none := d.call("workshop")
	assert.Equal(t, 0, none.status)
	assert.Contains(t, none.stdout, d.path("store/workshop.toml"))
	assert.Contains(t, none.stdout, "not told")
	assert.Equal(t, none, d.call("workshop", "show"))
	assert.NoDirExists(t, d.path("store"), "looking makes nothing")

	set := d.call("workshop", "set", "--name", `The "Sample" Works`, "--automatic", "card.pdf,claim.html")
	require.Equal(t, 0, set.status, set.stderr)
	assert.Contains(t, set.stdout, "card.pdf, claim.html")
	set = d.call("workshop", "set", "--contact", "020 1234")
	require.Equal(t, 0, set.status, set.stderr)
	w, err := readWorkshop(d.path("store"))
	require.NoError(t, err)
	assert.Equal(t, workshopFile{Name: `The "Sample" Works`, Contact: "020 1234", Automatic: []string{"card.pdf", "claim.html"}}, w)
	require.Equal(t, 0, d.call("workshop", "set", "--automatic", "", "--name", "").status)
	w, err = readWorkshop(d.path("store"))
	require.NoError(t, err)
	assert.Equal(t, workshopFile{Contact: "020 1234"}, w)

	for says, args := range map[string][]string{
		"say what to set": {"set"}, "it must be card.pdf": {"set", "--automatic", "card.doc"}, "stands twice": {"set", "--automatic", "card.pdf,card.pdf"},
		"must be one line": {"set", "--name", "two\nlines"}, "longer than 200": {"set", "--address", strings.Repeat("a", 201)}, "unknown command": {"shown"}} {
		c := d.call(append([]string{"workshop"}, args...)...)
		assert.Equal(t, exitUsage, c.status, "%v", args)
		assert.Contains(t, c.stderr, says, "%v", args)
	}
}

// A workshop file that was edited by hand is read strictly, before a test.
func TestWorkshopFileIsReadStrictly(t *testing.T) {
	d := newDesk(t)
	d.vars["DUTYBENCH_STORE"] = d.path("store")
	require.Equal(t, 0, d.call("workshop", "set", "--name", "A").status)
	for text, says := range map[string]string{
		"nmae = \"A\"\n": "unknown key nmae", "name = 3\n": "name must be text", "automatic = [\"page.pdf\"]\n": "workshop.toml:1:14", "name": "not valid TOML"} {
		require.NoError(t, os.WriteFile(d.path("store/workshop.toml"), []byte(text), 0o644))
		for _, args := range [][]string{{"workshop"}, {"run"}, {"workshop", "set", "--name", "B"}} {
			c := d.call(args...)
			assert.Equal(t, exitError, c.status, "%v %q", args, text)
			assert.Contains(t, c.stderr, says)
		}
	}
}
