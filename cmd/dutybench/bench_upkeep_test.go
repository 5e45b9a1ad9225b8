package main

import (
	"encoding/json"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/result"
	"dutybench/bench/upkeep"
	"dutybench/signal/trace"
)

// A check unit is remembered, limits come with the baseline, and a bench that
// has changed is out of control.
func TestBenchCheck(t *testing.T) {
	if testing.Short() {
		t.Skip("seven whole tests")
	}
	d := newDesk(t)
	c := d.call("bench", "check")
	assert.Equal(t, exitUsage, c.status)
	assert.Contains(t, c.stderr, "--unit SERIAL")
	c = d.call("bench", "chart")
	assert.NotEqual(t, 0, c.status)
	c = d.call("bench", "check", "--unit", "CHECK-1", "--baseline", "5")
	require.Equal(t, 0, c.status, c.stderr)
	assert.Contains(t, c.stdout, "There are no limits yet: 1 of 5")
	for range 4 {
		c = d.call("bench", "check", "--baseline", "5")
		require.Equal(t, 0, c.status, c.stderr)
	}
	assert.Contains(t, c.stdout, "The bench is in control")
	rec := d.kept(t, 5)
	assert.Equal(t, upkeep.CheckUnit, rec.Purpose)
	assert.Equal(t, "CHECK-1", rec.At.Unit)
	assert.NotEqual(t, d.kept(t, 4).Trace, rec.Trace, "each check is a test of its own")

	c = d.call("bench", "check", "--fault", "drag:0.5", "--baseline", "5", "--json")
	require.Equal(t, exitBench, c.status, c.stderr)
	o := objects(t, c.stdout)[0]
	assert.Equal(t, false, o["in_control"])
	page := d.path("check.html")
	c = d.call("bench", "chart", "--baseline", "5", "--page", page)
	assert.Equal(t, exitBench, c.status)
	assert.Contains(t, c.stdout, "Next step: Stop testing until")
	html, err := os.ReadFile(page)
	require.NoError(t, err)
	assert.Equal(t, 4, strings.Count(string(html), "<svg"))
	c = d.call("bench", "chart", "--finding", "quiet_current", "--json")
	require.Equal(t, exitBench, c.status, "the check unit failed, whatever the finding")

	// The bench goes on testing, and its results bear the warning.
	c = d.call("run", "--unit", "Q1")
	require.Equal(t, 0, c.status, c.stderr)
	before, after := oneLine(c.stderr), oneLine(c.stdout)
	for _, said := range []string{before, after} {
		assert.Contains(t, said, "The bench's last check (record "+d.kept(t, 6).ID.String())
		assert.Contains(t, said, "was out of control: ")
	}
	r := resultOf(t, string(d.kept(t, 7).Result))
	assert.Equal(t, result.Pass, r.Verdict)
	require.Len(t, slices.DeleteFunc(r.Warnings, func(w string) bool { return !upkeep.IsUnwell(w) }), 1)
	c = d.call("lot", "P7", "--tries", "1")
	assert.Contains(t, oneLine(c.stderr), "Take care: The bench's last check")

	// Another serial is refused unless it is meant, and hides nothing.
	c = d.call("bench", "check", "--unit", "W", "--baseline", "5")
	assert.Equal(t, exitUsage, c.status)
	assert.Contains(t, c.stderr, "the last check unit was CHECK-1")
	assert.Contains(t, c.stderr, "out of control by it")
	assert.Contains(t, c.stderr, "--new-unit")
	c = d.call("bench", "check", "--unit", "W", "--new-unit", "--baseline", "5")
	require.Equal(t, 0, c.status, c.stderr)
	assert.Contains(t, oneLine(c.stdout), "Check unit CHECK-1 lay out when it was tested last")
	c = d.call("bench", "chart", "--unit", "w", "--baseline", "5") // by name, as the desk's clock begins anew with each call
	assert.Contains(t, c.stdout, "Check unit CHECK-1 lay out")
	c = d.call("bench", "check", "--unit", "check-1", "--baseline", "5")
	assert.Equal(t, exitUsage, c.status, "back is another unit too")
	c = d.call("bench", "check", "--unit", "w", "--baseline", "5")
	assert.Equal(t, 0, c.status, "whatever the case of its letters")
	assert.Equal(t, "W", d.kept(t, 9).At.Unit)
	assert.NotContains(t, d.call("run", "--unit", "Q2").stderr, "last check", "the newest check lies in")
}

// A check that does not pass says why, and where to read on.
func TestBenchCheckSaysTheCause(t *testing.T) {
	d := newDesk(t)
	c := d.call("bench", "check", "--unit", "K", "--fault", "supply-limit")
	assert.Equal(t, exitBench, c.status, c.stderr)
	r := resultOf(t, string(d.kept(t, 1).Result))
	require.NotEqual(t, result.Pass, r.Verdict)
	assert.Contains(t, oneLine(c.stdout), "The test says: "+oneLine(r.Sentence))
	assert.Contains(t, c.stdout, "dutybench records show "+d.kept(t, 1).ID.String())
	assert.NotContains(t, d.call("bench", "check", "--unit", "K").stdout, "The test says")
}

func oneLine(s string) string { return strings.Join(strings.Fields(s), " ") }

// A study from plan to result; a later test takes its figures into its trace,
// and judging the trace elsewhere gives the same.
func TestBenchStudy(t *testing.T) {
	if testing.Short() {
		t.Skip("ten whole tests")
	}
	d := newDesk(t)
	assert.Contains(t, d.call("bench", "study", "next").stderr, "no study is planned")
	assert.Equal(t, exitUsage, d.call("bench", "study", "plan", "--units", "A").status)
	before := d.call("run", "--unit", "U", "--json", "--full")
	require.Equal(t, 0, before.status, before.stderr)

	c := d.call("bench", "study", "plan", "--units", "A, B", "--fillings", "2", "--repeats", "2", "--name", "first")
	require.Equal(t, 0, c.status, c.stderr)
	assert.Contains(t, c.stdout, "0 of 8 tests are done")
	c = d.call("bench", "study", "next")
	require.Equal(t, 0, c.status, c.stderr)
	assert.Contains(t, c.stdout, "Drain the loop")
	c = d.call("bench", "study", "result")
	assert.Equal(t, exitUsage, c.status)
	assert.Contains(t, c.stderr, "1 of 8 tests are done")
	assert.Equal(t, exitUsage, d.call("bench", "study", "plan", "--units", "C,D").status, "one is under way")
	c = d.call("bench", "study", "next", "--all")
	require.Equal(t, 0, c.status, c.stderr)
	assert.Contains(t, c.stdout, "touch neither unit, plug nor loop")
	assert.Contains(t, c.stdout, "That was the last test")
	assert.Equal(t, upkeep.GaugeStudy, d.kept(t, 3).Purpose)
	assert.True(t, strings.HasPrefix(d.kept(t, 3).At.Filling, "study first, filling "))
	c = d.call("bench", "study", "result", "--json", "--page", d.path("study.html"))
	require.Equal(t, 0, c.status, c.stderr)
	assert.Greater(t, len(objects(t, c.stdout)[0]["findings"].([]any)), 10)

	csv := d.path("later.csv")
	c = d.call("run", "--unit", "U", "--json", "--full", "--trace", csv)
	require.Equal(t, 0, c.status, c.stderr)
	old, now := resultOf(t, before.stdout), resultOf(t, c.stdout)
	plain, studied := findingOf(t, old, "full_current"), findingOf(t, now, "full_current")
	assert.Equal(t, *plain.Value, *studied.Value)
	assert.Greater(t, *studied.Uncertainty, *plain.Uncertainty)
	var sources []string
	for _, p := range studied.Budget {
		sources = append(sources, p.Source)
	}
	assert.Contains(t, strings.Join(sources, "; "), "refilling and remounting, by a gauge study")

	// Elsewhere, without the store.
	c = newDesk(t).call("judge", "--profile", defaultProfile, "--json", csv)
	require.Equal(t, 0, c.status, c.stderr)
	assert.Equal(t, now.Findings, resultOf(t, c.stdout).Findings)
	f, err := os.Open(csv)
	require.NoError(t, err)
	defer f.Close()
	tr, err := trace.Read(f, csv)
	require.NoError(t, err)
	assert.Empty(t, tr.Warnings, "the keys are known")

	// A file that was changed by hand is told and left out.
	path := d.home() + "/" + upkeep.GaugeFile
	data, err := os.ReadFile(path)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(path, []byte(strings.Replace(string(data), "units = 2", "units = 9", 1)), 0o644))
	c = d.call("run", "--unit", "U", "--json", "--full")
	assert.Contains(t, c.stderr, "changed by hand")
	assert.Equal(t, plain.Budget, findingOf(t, resultOf(t, c.stdout), "full_current").Budget)
}

func resultOf(t *testing.T, s string) result.Result {
	t.Helper()
	var r result.Result
	require.NoError(t, json.Unmarshal([]byte(s), &r), s)
	return r
}

func findingOf(t *testing.T, r result.Result, name string) result.Finding {
	t.Helper()
	for _, f := range r.Findings {
		if f.Name == name {
			return f
		}
	}
	t.Fatal("no finding " + name)
	return result.Finding{}
}

// On a real bench a person says when the unit is mounted.
func TestStudyAsksThePerson(t *testing.T) {
	for typed, want := range map[string]error{"\n": nil, "  \r\n": nil, "q\n": errStudyStopped, "": errStudyStopped, "no newline": errStudyStopped} {
		a := &app{env: env{stdin: strings.NewReader(typed + "rest"), stdout: &strings.Builder{}}}
		if typed == "" || typed == "no newline" {
			a.stdin = strings.NewReader(typed)
		}
		assert.Equal(t, want, a.ready(), "%q", typed)
	}
	a := &app{env: env{stdin: strings.NewReader("\ny"), stdout: &strings.Builder{}}}
	require.NoError(t, a.ready())
	rest := make([]byte, 2)
	n, _ := a.stdin.Read(rest)
	assert.Equal(t, "y", string(rest[:n]), "what follows is left for the test")
}
