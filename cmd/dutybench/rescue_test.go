package main

import (
	"bytes"
	"context"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/record"
	"dutybench/bench/record/store"
	"dutybench/bench/result"
	"dutybench/bench/rig"
	"dutybench/bench/run"
	"dutybench/bench/upkeep"
	"dutybench/signal/trace"
)

// measured is a test on the simulated rig that has been carried out and not
// kept yet.
func (d *desk) measured(t *testing.T, msg *bytes.Buffer) (*test, *run.Outcome) {
	t.Helper()
	own, err := store.Open(d.path("store"), store.Options{})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, own.Close()) })
	p, k, err := loadProfile(defaultProfile)
	require.NoError(t, err)
	f := runFlags{profile: defaultProfile, rigFlags: rigFlags{rig: rig.Sim, fault: short}}
	a := &app{env: env{stdout: msg, stderr: msg, now: time.Now, getenv: func(key string) string { return map[string]string{"TMPDIR": d.dir}[key] },
		isTerminal: func(any) (int, bool) { return 0, false }, interrupt: d.interrupt}}
	bench, err := a.openBench(f.rigFlags, p)
	require.NoError(t, err)
	x := &test{app: a, flags: f, profile: p, kind: k, rig: bench.Rig, bench: bench, clock: a.watchClock(bench), store: own, plan: k.Plan(p)}
	out, err := x.drive(context.Background())
	require.NoError(t, err)
	return x, out
}

// saved is what was rescued into the desk's folder.
func (d *desk) saved(t *testing.T, msg string) string {
	t.Helper()
	path := regexp.MustCompile(regexp.QuoteMeta(d.dir) + `/dutybench-\d{8}-\d{6}-\d+\.csv`).FindString(msg)
	require.NotEmpty(t, path, msg)
	data, err := os.ReadFile(path)
	require.NoError(t, err)
	return string(data)
}

// brittleStore fails as a program does.
type brittleStore struct{ keeper }

func (brittleStore) Put(*record.Record) (record.ID, error) { panic("broken") }

// Whatever fails after the measuring, the rows come out somewhere and it is told.
func TestNoTraceIsLost(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		change func(x *test, out *run.Outcome)
		panics bool
	}{
		"a value without end": {func(_ *test, out *run.Outcome) { out.Trace.Column(trace.ColCurrent).Values[3] = math.Inf(1) }, false},
		"a broken comment": {func(_ *test, out *run.Outcome) {
			out.Trace.Meta = append(out.Trace.Meta, trace.Entry{Key: "x-a", Value: " b\nc"})
		}, false},
		"the program fails": {func(x *test, _ *run.Outcome) { x.store = brittleStore{x.store} }, true},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			d := newDesk(t)
			var msg bytes.Buffer
			x, out := d.measured(t, &msg)
			c.change(x, out)
			if c.panics {
				assert.Panics(t, func() { _, _, _ = x.report(out) })
			} else {
				_, _, err := x.report(out)
				assert.Error(t, err)
			}
			text := d.saved(t, msg.String())
			assert.Contains(t, text, "\nt_s,")
			assert.Equal(t, out.Trace.Len(), bytes.Count([]byte(text[bytes.Index([]byte(text), []byte("\nt_s,"))+1:]), []byte("\n"))-1, "every row")
		})
	}
}

// simStudy is a study of the simulated rig, as gauge.toml keeps it.
func simStudy(t *testing.T) upkeep.Kept {
	t.Helper()
	p, _, err := loadProfile(defaultProfile)
	require.NoError(t, err)
	return upkeep.Kept{Name: "first", Made: time.Date(2026, 1, 2, 3, 4, 5, 0, time.UTC), Rig: rig.Sim, Simulated: true, Profile: p.Name, Revision: p.Revision, SHA256: p.SHA256,
		Units: 2, Fillings: 2, Repeats: 2, Records: []string{"1 ab"}, Findings: []upkeep.KeptOne{{Name: "quiet_current", Unit: "A", Repeat: 1e-5, RepeatDoF: 4}}}
}

// A study whose lines a trace cannot hold, that is broken, or that no longer
// fits, costs nobody a test, and the record says what was left out.
func TestStudyCostsNoTest(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		write func(t *testing.T, folder string)
		says  string
		line  string // that the trace has all the same
	}{
		"fits": {func(t *testing.T, folder string) { require.NoError(t, upkeep.AddGauge(folder, simStudy(t))) }, "", "# gauge_quiet_current: "},
		"a name that is none": {func(t *testing.T, folder string) {
			k := simStudy(t)
			k.Findings = append(k.Findings, upkeep.KeptOne{Name: "two: words"})
			require.NoError(t, upkeep.AddGauge(folder, k))
		}, "was left out", "# gauge_quiet_current: "},
		"another calibration": {func(t *testing.T, folder string) {
			k := simStudy(t)
			k.Calibration = "of yesterday"
			require.NoError(t, upkeep.AddGauge(folder, k))
		}, "counts without a gauge study: the calibration was changed", ""},
		"another rig file": {func(t *testing.T, folder string) {
			k := simStudy(t)
			k.RigFile = "ab"
			require.NoError(t, upkeep.AddGauge(folder, k))
		}, "counts without a gauge study: the rig file was changed", ""},
		"broken": {func(t *testing.T, folder string) {
			require.NoError(t, os.WriteFile(filepath.Join(folder, upkeep.GaugeFile), []byte("[[study]\n"), 0o644))
		}, "counts without a gauge study: upkeep: ", ""},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			d := newDesk(t)
			require.NoError(t, os.MkdirAll(d.home(), 0o755))
			c.write(t, d.home())
			got := d.call("run", "--fault", short, "--unit", "KEPT")
			require.Contains(t, []int{3, 4}, got.status, got.stderr)
			rec := d.kept(t, 1)
			var r result.Result
			require.NoError(t, json.Unmarshal(rec.Result, &r))
			all, err := json.Marshal(r.Warnings)
			require.NoError(t, err)
			if c.says == "" {
				assert.NotContains(t, string(all), "study")
			} else {
				assert.Contains(t, string(all), c.says)
				assert.Contains(t, got.stderr, c.says)
			}
			if c.line != "" {
				assert.Contains(t, string(rec.Trace), c.line)
			} else {
				assert.NotContains(t, string(rec.Trace), "gauge")
			}
		})
	}
}
