package main

import (
	"encoding/json"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/lot"
)

// A lot by the program itself, on the simulated rig: tested, told, listed, and
// gone on with.
func TestLotCommand(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	d.stdin = "A1\nA2\nCOMPLAINT no heat\nA3\nA1\n"
	got := d.call("lot", "pallet 7", "--fault", "none,drag:1,dry-loop:1", "--operator", "M.", "--json")
	require.Zero(t, got.status, got.stderr)
	all := objects(t, got.stdout)
	require.Len(t, all, 3, "a unit that is done is asked about, not tested")
	for i, want := range []string{"pass", "fail", "undecided"} {
		assert.Equal(t, want, all[i]["verdict"], i)
		assert.NotEmpty(t, all[i]["record"])
	}
	assert.Contains(t, got.stderr, "Yield")

	d.stdin = "A3\nEND\nA9\n"
	got = d.call("lot", "PALLET 7", "--page", d.path("lot.html"))
	require.Zero(t, got.status, got.stderr)
	assert.Contains(t, got.stderr, "It goes on: 3 units so far.")
	assert.Contains(t, got.stderr, "A3 comes again")
	page, err := os.ReadFile(d.path("lot.html"))
	require.NoError(t, err)
	assert.Contains(t, string(page), "<h1>Lot pallet 7</h1>")

	got = d.call("lot", "pallet 7", "--summary", "--json")
	require.Zero(t, got.status, got.stderr)
	var s lot.Summary
	require.NoError(t, json.Unmarshal([]byte(strings.ReplaceAll(got.stdout, `"bin":"`, `"x":"`)), &s))
	assert.Equal(t, 3, s.Units)
	assert.Equal(t, 4, s.Records)
	assert.Equal(t, 1, s.Yield.Count)
	assert.True(t, s.Simulated)
	assert.Equal(t, []string{"M."}, s.Operators, "the operator of the last record goes on")
	assert.Positive(t, *s.Times.Test.Median)
	got = d.call("lot", "pallet 7", "--summary", "--ascii")
	require.Zero(t, got.status)
	for _, r := range got.stdout {
		require.Less(t, r, rune(128), "%q", got.stdout)
	}

	list := d.call("lot", "list")
	assert.Contains(t, list.stdout, "pallet 7  3 units, 1 good")
	one := objects(t, d.call("lot", "list", "--json").stdout)
	require.Len(t, one, 1)
	assert.EqualValues(t, 3, one[0]["units"])
	assert.Zero(t, d.call("records", "verify").status)
}

func TestLotCommandLine(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	for _, c := range []struct {
		args   string
		status int
		says   string
	}{
		{"lot a --summary", exitError, "no store"},
		{"lot", exitUsage, "name one lot"},
		{"lot a b", exitUsage, "name one lot"},
		{"lot \x1b", exitUsage, "is no name for a lot"},
		{"lot a --tries 9", exitUsage, "1 to 5"},
		{"lot a --tries 0", exitUsage, "1 to 5"},
		{"lot a --page -", exitUsage, "give the page a file"},
		{"lot a --purpose x", exitUsage, "new-part, core or return"},
		{"lot a --inspection leak=no", exitUsage, "asked for each time"},
		{"lot a --inspection rust=no", exitUsage, "no answer"},
		{"lot a --fault none,rust", exitUsage, "no such fault"},
		{"lot a --profile nobody", exitError, "nobody"},
		{"lot a --rig nowhere.toml --fault drag", exitUsage, "simulated rigs only"},
		{"lot a --complaint x\x07", exitUsage, "control character"},
	} {
		got := d.call(strings.Split(c.args, " ")...)
		assert.Equal(t, c.status, got.status, "%s: %s", c.args, got.stderr)
		assert.Contains(t, got.stderr, c.says, c.args)
	}
	d.stdin = "\n\nEND\n"
	got := d.call("lot", "a")
	assert.Zero(t, got.status, got.stderr)
	assert.Contains(t, got.stderr, "No unit was tested.")
	got = d.call("lot", "a", "--summary")
	assert.Equal(t, exitError, got.status)
	assert.Contains(t, got.stderr, "no record of lot a")
	assert.Contains(t, d.call("lot", "list").stderr, "No record belongs to a lot yet")
}

func TestLotCard(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	got := d.call("lot", "card", "--complaint", "no heat", "--complaint", "läuft <nicht>", "--operator", "M.")
	require.Zero(t, got.status, got.stderr)
	assert.Equal(t, len(lotWords())+2, strings.Count(got.stdout, "<svg"))
	assert.Contains(t, got.stdout, "COMPLAINT no heat")
	assert.NotContains(t, got.stdout, "<nicht>")
	require.Zero(t, d.call("lot", "card", "--out", d.path("card.html")).status)
	assert.Equal(t, []string{"card.html"}, d.files(t))
	assert.Equal(t, exitUsage, d.call("lot", "card", "--complaint", "x\ny").status)
}
