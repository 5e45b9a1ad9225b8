package main

import (
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/kind"
	"dutybench/bench/kinds"
	"dutybench/profiles"
)

// firstOf is a kind's first built-in profile; empty when there is none.
func firstOf(name string) string {
	for _, b := range profiles.Builtins() {
		if text, _ := profiles.Builtin(b); strings.Contains(string(text), "\nkind = \""+name+"\"") {
			return b
		}
	}
	return ""
}

// What the program does, it does for every kind: run, judge of the same trace,
// report and page of its record, what the profile asks, and the list of its faults.
func TestEveryKind(t *testing.T) {
	for _, k := range kinds.All() {
		name := firstOf(k.Name())
		if name == "" {
			continue // bench/kinds asks for one
		}
		t.Run(k.Name(), func(t *testing.T) {
			t.Parallel()
			d := newDesk(t)
			csv := d.path("one.csv")
			c := d.call("run", "--profile", name, "--json", "--trace", csv)
			require.Contains(t, []int{0, 3, 4, exitBench}, c.status, c.stderr)
			ran := objects(t, c.stdout)[0]
			assert.Equal(t, k.Name(), ran["kind"])
			assert.NotEmpty(t, ran["findings"])
			if p := d.call("judge", "--profile", name, "--json", csv); assert.NotEmpty(t, p.stdout, p.stderr) {
				judged := objects(t, p.stdout)[0]
				assert.NotContains(t, judged, "error")
				assert.Equal(t, len(ran["findings"].([]any)), len(judged["findings"].([]any)))
				assert.Equal(t, ran["views"], judged["views"])
			}
			record := ran["record"].(string)
			for _, args := range [][]string{{"records", "show", record}, {"records", "judge", record}, {"profiles", "show", name}} {
				assert.NotContains(t, []int{exitError, exitUsage}, d.call(args...).status, args)
			}
			for _, version := range []string{"card", "claim"} {
				out := d.path(version + ".html")
				r := d.call("records", "report", record, "--version", version, "--format", "html", "--out", out)
				require.Zero(t, r.status, r.stderr)
				page, err := os.ReadFile(out)
				require.NoError(t, err)
				assert.NotContains(t, string(page), "nothing to draw", version)
				assert.Equal(t, kind.Wet(k), strings.Contains(string(page), "<dt>Loop</dt>") || version == "card" && kind.Wet(k), version)
			}
			list := d.call("run", "--list-faults", "--profile", name).stdout
			for _, f := range kinds.Faults(k.Name()) {
				assert.Contains(t, list, f.Name+" ")
			}
			if !kind.Wet(k) {
				c = d.call("run", "--profile", name, "--primed")
				assert.Equal(t, exitUsage, c.status)
				assert.Contains(t, c.stderr, "no loop")
			}
		})
	}
}

// What may hurt is said before the first step, on a simulated bench too.
func TestCautionsBeforeATest(t *testing.T) {
	for _, k := range kinds.All() {
		for _, s := range kind.Cautions(k) {
			assert.Regexp(t, `^[A-Z].*\.$`, s, "%s: a whole sentence", k.Name())
			assert.Less(t, len(s), 400, k.Name())
		}
	}
	d := newDesk(t)
	assert.Regexp(t, `(?s)^Take care: .*step +1 of`, d.call("run").stderr)
}
