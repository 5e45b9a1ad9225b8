package main

import (
	"math"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestJudgeForScripts(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	profile := d.learned(t)
	fine := d.record(t, "fine", 1, good)[0]
	weak := d.record(t, "weak", 1, func(int) float64 { return 0.5 })[0]
	broken := d.write(t, "broken.csv", "t_s,duty_pct,current_A\n0,0,NaN\n")
	c := d.call("judge", "--profile", profile, "--json", fine, broken, weak)
	assert.Empty(t, c.stderr)
	got := objects(t, c.stdout)
	require.Len(t, got, 3)
	for i, path := range []string{fine, broken, weak} {
		assert.Equal(t, path, got[i]["source"], "in the order of the arguments, as given")
		assert.EqualValues(t, 1, got[i]["schema"])
	}
	assert.Equal(t, "pass", got[0]["verdict"])
	assert.Nil(t, got[0]["cause"])
	assert.ElementsMatch(t, []string{"schema", "source", "error"}, keys(got[1]))
	assert.Contains(t, got[1]["error"], "broken.csv")
	assert.NotEqual(t, "pass", got[2]["verdict"])
	assert.Equal(t, exitError, c.status, "one trace could not be read, and that is the worst")
	for _, o := range []map[string]any{got[0], got[2]} {
		contract(t, o)
	}
	assert.Contains(t, []int{3, 4}, d.call("judge", "--profile", profile, weak).status)
	assert.Zero(t, d.call("judge", "--profile", profile, fine).status)
}

// contract checks what scripts rely on in a judged object.
func contract(t *testing.T, o map[string]any) {
	t.Helper()
	for _, key := range []string{"schema", "source", "verdict", "cause", "causes", "profile", "findings", "curve", "startup", "warnings"} {
		assert.Contains(t, o, key)
	}
	p := o["profile"].(map[string]any)
	assert.ElementsMatch(t, []string{"name", "revision", "sha256"}, keys(p))
	assert.Len(t, p["sha256"], 64)
	sum := 0.0
	for _, c := range o["causes"].([]any) {
		sum += c.(map[string]any)["probability"].(float64)
	}
	if o["verdict"] != "pass" && o["cause"] != nil {
		assert.InDelta(t, 1, sum, 1e-9)
	}
	for _, f := range o["findings"].([]any) {
		for _, key := range []string{"name", "value", "unit", "uncertainty", "low", "high", "result"} {
			assert.Contains(t, f, key)
		}
		assert.Contains(t, []any{"pass", "fail", "undecided", "not-measured"}, f.(map[string]any)["result"])
	}
	require.NotEmpty(t, o["curve"])
	for _, q := range o["curve"].([]any) {
		for _, key := range []string{"duty_pct", "direction", "current_A", "uncertainty_A", "low_A", "high_A"} {
			assert.Contains(t, q, key)
		}
		assert.Contains(t, []any{"up", "down"}, q.(map[string]any)["direction"])
	}
	s := o["startup"].(map[string]any)
	assert.Contains(t, s, "settled_s")
	for _, a := range s["attempts"].([]any) {
		assert.ElementsMatch(t, []string{"start_s", "length_s", "mean_A", "peak_A"}, keys(a.(map[string]any)))
	}
	assert.IsType(t, []any{}, o["warnings"])
}

func keys(m map[string]any) (out []string) {
	for k := range m {
		out = append(out, k)
	}
	return out
}

func TestJudgeForPeople(t *testing.T) {
	d := newDesk(t)
	profile := d.learned(t)
	traces := d.record(t, "some", 3, good)
	c := d.call(append([]string{"judge", "--profile", profile, "--jobs", "2", "--width", "72"}, traces...)...)
	require.Zero(t, c.status, c.stdout)
	at := -1
	for _, path := range traces {
		i := strings.Index(c.stdout, path+":\nPass: ")
		assert.Greater(t, i, at, "in order: %s", path)
		at = i
	}
	assert.Equal(t, "3 pass.\n", c.stderr)
	assert.NotContains(t, c.stdout, "\x1b", "no colour without a terminal")
	for line := range strings.Lines(c.stdout) {
		if !strings.Contains(line, d.dir) {
			assert.LessOrEqual(t, len([]rune(strings.TrimRight(line, "\n"))), 72, line)
		}
	}
}

func TestJudgeReadsStandardInput(t *testing.T) {
	d := newDesk(t)
	profile := d.learned(t)
	data, err := os.ReadFile(d.record(t, "piped", 1, good)[0])
	require.NoError(t, err)
	d.stdin = string(data)
	c := d.call("judge", "--profile", profile, "--json", "-")
	require.Zero(t, c.status, c.stdout)
	assert.Equal(t, "-", objects(t, c.stdout)[0]["source"])
}

func TestJudgeThroughAMapping(t *testing.T) {
	d := newDesk(t)
	profile := d.learned(t)
	tr := recorded("foreign", 1, 3)
	var b strings.Builder
	b.WriteString("ms;duty;mA\n")
	for i := range tr.Len() {
		line := []string{num(1000 * tr.Time()[i]), num(tr.Duty()[i]), num(1000 * tr.Current()[i])}
		b.WriteString(strings.Join(line, ";") + "\n")
	}
	foreign := d.write(t, "foreign.txt", b.String())
	mapping := d.write(t, "map.toml", "delimiter = \";\"\n[columns.t_s]\nfrom = \"ms\"\nfactor = 0.001\n[columns.duty_pct]\nfrom = \"duty\"\n[columns.current_A]\nfrom = \"mA\"\nfactor = 0.001\n")
	c := d.call("judge", "--profile", profile, "--map", mapping, "--json", foreign)
	o := objects(t, c.stdout)[0]
	require.NotContains(t, o, "error")
	assert.Len(t, o["curve"], 17)
}

func TestJudgeWritesAPage(t *testing.T) {
	d := newDesk(t)
	profile := d.learned(t)
	path := d.record(t, "paged", 1, good)[0]
	c := d.call("judge", "--profile", profile, "--page", d.path("page.html"), path)
	require.Zero(t, c.status, c.stderr)
	page, err := os.ReadFile(d.path("page.html"))
	require.NoError(t, err)
	assert.Contains(t, string(page), "<html")
	assert.Contains(t, c.stdout, d.path("page.html"))
	c = d.call("judge", "--profile", profile, "--page", "-", path)
	assert.Equal(t, "<!", c.stdout[:2], "the page alone")
}

func num(x float64) string { return string(appendFloat(math.Round(x*1e6) / 1e6)) }
