package trial_test

import (
	"bytes"
	"context"
	"encoding/json"
	"encoding/xml"
	"errors"
	"io"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/result"
	"dutybench/bench/trial"
)

// invented is a table of good units and of every fault at three severities:
// drag passes at the least of them, a rub is blamed on the water there.
func invented() *trial.Table {
	table := &trial.Table{Seed: 7, Workers: 2, Took: 90 * time.Second}
	add := func(x trial.Trial, severity float64, long time.Duration) {
		x.Severity, x.Long, x.Full_A = severity, long, 4+0.01*float64(len(table.Trials)%10)
		table.Trials = append(table.Trials, x)
	}
	for range 20 {
		add(judged("", result.Pass, ""), 0, 40*time.Second)
	}
	for _, f := range allFaults() {
		for _, s := range []float64{0.25, 0.5, 1} {
			for i := range 4 {
				cause := result.Mechanical
				v := result.Fail
				switch {
				case f == "drag" && s < 0.3:
					v, cause = result.Pass, ""
				case f == "rub" && s < 0.3:
					cause = result.Hydraulic
				}
				add(judged(f, v, cause), s, time.Duration(40+i)*time.Second)
			}
		}
	}
	table.Planned = len(table.Trials)
	return table
}

func TestReport(t *testing.T) {
	r := invented().Report()
	assert.False(t, r.Partial)
	assert.Len(t, r.Faults, len(allFaults()))
	for _, f := range r.Faults {
		require.Len(t, f.Severities, 3, f.Name)
		assert.NotEmpty(t, f.Severities[1].Means, f.Name)
		switch f.Name {
		case "drag":
			assert.Equal(t, 4, f.Severities[0].Pass.Count)
			require.NotNil(t, f.Caught)
			require.NotNil(t, f.Caught.Severity)
			assert.InDelta(t, 0.4, *f.Caught.Severity, 0.11)
			assert.Equal(t, 4, f.Severities[2].Right.Count)
			assert.InDelta(t, 41.5, *f.Severities[2].Time.Mean, 1e-9)
		case "rub":
			assert.Zero(t, f.Severities[0].Right.Count)
			assert.Equal(t, 4, f.Severities[0].NotPassed.Count)
		case "board-dead":
			assert.Nil(t, f.Caught, "not graded")
		}
	}
	table := invented()
	table.Planned *= 2
	assert.True(t, table.Report().Partial)
}

// The JSON holds intervals and nothing that is no number; rates of causes
// stand with faulty units only.
func TestReportJSON(t *testing.T) {
	for name, table := range map[string]*trial.Table{"whole": invented(), "empty": {}, "good only": {Trials: invented().Trials[:3]}} {
		data, err := json.Marshal(table.Report())
		require.NoError(t, err, name)
		var got map[string]any
		require.NoError(t, json.Unmarshal(data, &got), name)
		for _, key := range []string{"schema", "profiles", "seed", "trials", "planned", "partial", "good", "faulty", "calibration", "windows", "faults", "sizes", "confusion", "bench_time"} {
			require.Contains(t, got, key, name)
			require.NotNil(t, got[key], "%s: %s", name, key)
		}
		assert.NotContains(t, got["good"], "right", name)
		if name == "whole" {
			assert.Contains(t, got["faulty"], "right")
			drag := got["faulty"].(map[string]any)["not_passed"].(map[string]any)
			for _, key := range []string{"count", "of", "share", "low", "high"} {
				assert.NotNil(t, drag[key], key)
			}
		}
	}
}

// A person reads it in 80 columns; what is missed comes before the tables.
func TestReportText(t *testing.T) {
	table := invented()
	table.Planned++
	var b strings.Builder
	require.NoError(t, table.WriteText(&b))
	for line := range strings.Lines(b.String()) {
		assert.LessOrEqual(t, utf8.RuneCountInString(strings.TrimRight(line, "\n")), 80, line)
	}
	for _, s := range []string{"PARTIAL: stopped after 260 of 261", "drag               at 0.25      4 of     4", "rub                at 0.25", "9 of 10 caught from", "mean ±", "causes given 0.9 or more, right"} {
		assert.Contains(t, b.String(), s)
	}
	assert.Less(t, strings.Index(b.String(), "Passes although faulty"), strings.Index(b.String(), "Each fault"))
}

// The drawing is well-formed, and has a panel for each fault, even for one.
func TestReportSVG(t *testing.T) {
	for _, n := range []int{1, 20} {
		r := invented().Report()
		r.Faults = r.Faults[:n]
		var b bytes.Buffer
		require.NoError(t, r.WriteSVG(&b))
		text := b.String()
		assert.Equal(t, n+1, strings.Count(text, "<svg "))
		assert.Contains(t, text, "right side named")
		d := xml.NewDecoder(&b)
		for {
			_, err := d.Token()
			if errors.Is(err, io.EOF) {
				break
			}
			require.NoError(t, err)
		}
	}
	assert.Error(t, (&trial.Report{}).WriteSVG(io.Discard))
}

// A study that is stopped keeps what was done, some of each group.
func TestStudyStops(t *testing.T) {
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	s := trial.Study{Profiles: load(t, "aux-pump-20w"), Faults: []string{"unplugged", "input-short"}, Severities: []float64{1}, Units: 3, Good: 3, Seed: 5, Workers: 1}
	s.Progress = func(done, of int) {
		assert.Equal(t, s.Trials(), of)
		if done == 3 {
			stop()
		}
	}
	table, err := s.Run(ctx)
	require.ErrorIs(t, err, context.Canceled)
	require.Len(t, table.Trials, 3)
	assert.Equal(t, 9, table.Planned)
	assert.Equal(t, []string{"", "unplugged", "input-short"}, []string{table.Trials[0].Fault, table.Trials[1].Fault, table.Trials[2].Fault})
	assert.True(t, table.Report().Partial)
	table, err = s.Run(ctx)
	require.ErrorIs(t, err, context.Canceled)
	assert.Empty(t, table.Trials)
}
