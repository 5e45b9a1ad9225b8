package main

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/learn"
	"dutybench/signal/trace"
)

// tolerances are the lines of the table of tolerance intervals in some text.
func tolerances(t *testing.T, text string) []string {
	t.Helper()
	_, table, found := strings.Cut(text, "\nTolerance: ")
	require.True(t, found, text)
	lines := strings.Split(strings.TrimRight(table, "\n"), "\n")
	require.Equal(t, []string{"Quantity", "unit", "mean", "sd", "low", "high", "basis"}, strings.Fields(lines[2]))
	return lines[3:]
}

func TestLearnShowsToleranceIntervals(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	paths := d.record(t, "u", 12, good)
	args := append([]string{"profiles", "learn", "--name", "new", "--out", d.path("new.toml")}, paths...)
	c := d.call(args...)
	require.Zero(t, c.status, c.stderr)
	rows := tolerances(t, c.stdout)
	require.GreaterOrEqual(t, len(rows), 31)
	text := strings.Join(rows, "\n")
	assert.Regexp(t, `(?m)^full_current     A     +\S+ +\S+ +\S+ +\S+  (log-)?normal, k=3\.17$`, text) // exact factor 3.1747 (ISO 16269-6)
	assert.Regexp(t, `(?m)^start_attempts        +1 +0 +1 +1  range of 12: covers 66 %$`, text)        // 1 − 12·p¹¹ + 11·p¹² = 0.95 at p = 0.661
	assert.Regexp(t, `(?m)^100 % duty, up   A `, text)
	assert.Regexp(t, `(?m)^20 % duty, down  A `, text)
	for line := range strings.Lines(strings.ReplaceAll(c.stdout, d.dir, "")) {
		assert.LessOrEqual(t, len([]rune(strings.TrimRight(line, "\n"))), 80, line)
	}
	// The profile shows the same table.
	assert.Equal(t, rows, tolerances(t, d.call("profiles", "show", "--all", d.path("new.toml")).stdout))
	// At 99/95 the exact factor is 4.1555.
	wide := d.call("profiles", "show", "--all", "--coverage", "99", d.path("new.toml"))
	assert.Contains(t, wide.stdout, "at least 99 % of good units do, with 95 % confidence")
	assert.Contains(t, strings.Join(tolerances(t, wide.stdout), "\n"), "k=4.16")
}

func TestLearnSaysWhatTheUnitsHaveInCommon(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	var paths []string
	for i := range 6 {
		tr := recorded(string(rune('A'+i)), good(i), uint64(i))
		tr.Meta = append(tr.Meta, trace.Entry{Key: trace.KeyDate, Value: "2026-11-25T09:30:00Z"}, trace.Entry{Key: trace.KeyFilling, Value: "7"},
			trace.Entry{Key: trace.KeyPartRevision, Value: "C"}, trace.Entry{Key: trace.KeyRig, Value: "bench-2"}, trace.Entry{Key: trace.KeyCurrentGainU, Value: "0.002"})
		paths = append(paths, d.path(string(rune('A'+i))+".csv"))
		require.NoError(t, trace.WriteFile(paths[i], tr))
	}
	c := d.call(append([]string{"profiles", "learn", "--name", "new", "--out", d.path("new.toml"), "--json"}, paths...)...)
	require.Zero(t, c.status, c.stderr)
	o := objects(t, c.stdout)
	require.Len(t, o, 1)
	for key, want := range map[string]any{
		"file": d.path("new.toml"), "name": "new", "kind": "pump", "units": 6.0, "provisional": true, "days": 1.0, "fillings": 1.0, "current_gain_u": 0.002,
		"part_revisions": []any{"C"}, "rigs": []any{"bench-2"}, "left_out": []any{}, "unusual": []any{}, "confidence": 0.95,
	} {
		assert.Equal(t, want, o[0][key], key)
	}
	assert.Contains(t, o[0]["notes"].([]any)[0], "assumed")
	intervals := o[0]["intervals"].([]any)
	require.NotEmpty(t, intervals)
	for _, x := range intervals {
		i := x.(map[string]any)
		assert.LessOrEqual(t, i["low"], i["high"])
		if i["k"] == nil {
			assert.InDelta(t, 0.418, i["coverage"], 0.001) // 1 − 6·p⁵ + 5·p⁶ = 0.95
		} else {
			assert.InDelta(t, 0.95, i["coverage"], 0)
		}
	}
	shown := strings.Join(strings.Fields(d.call("profiles", "show", d.path("new.toml")).stdout), " ")
	for _, s := range []string{"on one day (2026-11-25)", "in one filling of the loop (7)", "of one part revision (C)", "on one rig (bench-2)"} {
		assert.Contains(t, shown, s)
	}
}

func TestLearnSharesAreChecked(t *testing.T) {
	d := newDesk(t)
	for _, args := range [][]string{
		{"--coverage", "0.95"}, {"--coverage", "100"}, {"--confidence", "-5"}, {"--confidence", "NaN"}, {"--confidence", "much"},
	} {
		c := d.call(append([]string{"profiles", "learn", "--name", "new", "--out", d.path("new.toml"), "x.csv"}, args...)...)
		assert.Equal(t, exitUsage, c.status, args)
		c = d.call(append([]string{"profiles", "show", "aux-pump-60w"}, args...)...)
		assert.Equal(t, exitUsage, c.status, args)
		assert.Contains(t, c.stderr, args[0])
	}
	assert.NoFileExists(t, d.path("new.toml"))
}

// Numbers keep to their column whatever their size.
func TestIntervalTableIsATable(t *testing.T) {
	var b strings.Builder
	showIntervals(&b, []learn.Interval{
		{Quantity: "20 % duty, down", Unit: "A", Units: 120, Mean: 0.00123456, SD: 1.23456e-7, Low: -0.00123456, High: 123456, Coverage: 0.5},
		{Quantity: "supply_drop", Unit: "ohm", Units: 20, Mean: 0.0412345, SD: 0.00123456, Low: 0.0381234, High: 0.04512345, K: 2.75, Ratio: true, Coverage: 0.95},
	}, tolerance{95, 90}, false)
	lines := strings.Split(strings.TrimRight(b.String(), "\n"), "\n")
	assert.Contains(t, b.String(), "95 % of good units do, with 90 % confidence")
	assert.Equal(t, "20 % duty, down  A    0.00123 1.23e-7 -0.0012  123456  range of 120: covers 50 %", lines[len(lines)-2])
	assert.Equal(t, "supply_drop      ohm  0.04123 0.00123 0.03812 0.04512  log-normal, k=2.75", lines[len(lines)-1])
	b.Reset()
	showIntervals(&b, nil, tolerance{95, 95}, false)
	assert.Empty(t, b.String())
}
