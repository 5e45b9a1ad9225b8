package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dutybench/bench/record"
	"dutybench/bench/record/store"
	"dutybench/signal/trace"
)

// desk is a place to call the program from: a folder of its own, an
// environment, and streams that are no terminal unless width is set.
type desk struct {
	dir       string
	vars      map[string]string
	stdin     string
	width     int // of standard output and error as a terminal; 0: none
	interrupt func(context.Context) (context.Context, context.CancelFunc)
}

// called is what came of a command.
type called struct {
	status         int
	stdout, stderr string
}

func newDesk(t testing.TB) *desk {
	dir := t.TempDir()
	return &desk{dir: dir, vars: map[string]string{"HOME": dir, "LANG": "C.UTF-8"},
		interrupt: func(ctx context.Context) (context.Context, context.CancelFunc) { return ctx, func() {} }}
}

func (d *desk) path(name string) string { return filepath.Join(d.dir, name) }

func (d *desk) write(t testing.TB, name, text string) string {
	t.Helper()
	require.NoError(t, os.WriteFile(d.path(name), []byte(text), 0o644))
	return d.path(name)
}

func (d *desk) call(args ...string) called {
	var out, err bytes.Buffer
	clock := time.Date(2026, 11, 25, 9, 30, 0, 0, time.UTC)
	status := execute(env{
		stdin: strings.NewReader(d.stdin), stdout: &out, stderr: &err,
		getenv: func(key string) string { return d.vars[key] },
		now: func() time.Time {
			clock = clock.Add(time.Millisecond)
			return clock
		},
		sleep:      func(time.Duration) {},
		isTerminal: func(any) (int, bool) { return d.width, d.width > 0 },
		interrupt:  d.interrupt,
	}, args)
	return called{status, out.String(), err.String()}
}

// home is where the desk's records lie, unless a test says otherwise.
func (d *desk) home() string {
	if s := d.vars["DUTYBENCH_STORE"]; s != "" {
		return s
	}
	return d.path(".local/share/dutybench")
}

// kept is a record of the desk's own store.
func (d *desk) kept(t testing.TB, seq int) *record.Record {
	t.Helper()
	s, err := store.Open(d.home(), store.Options{ReadOnly: true})
	require.NoError(t, err)
	defer s.Close()
	r, err := s.Get(record.ID{Seq: seq})
	require.NoError(t, err)
	return r
}

// files is what lies in the desk's folder, the store left out.
func (d *desk) files(t testing.TB) []string {
	t.Helper()
	entries, err := os.ReadDir(d.dir)
	require.NoError(t, err)
	var out []string
	for _, e := range entries {
		if !e.IsDir() {
			out = append(out, e.Name())
		}
	}
	return out
}

// objects parses JSON lines strictly into maps.
func objects(t testing.TB, s string) []map[string]any {
	t.Helper()
	var out []map[string]any
	for line := range strings.Lines(s) {
		var o map[string]any
		require.NoError(t, json.Unmarshal([]byte(line), &o), line)
		out = append(out, o)
	}
	return out
}

// recorded is the trace of an invented unit by plain arithmetic: current
// follows duty to the power 2.8, times a factor; 200 samples a second.
func recorded(unit string, factor float64, seed uint64) *trace.Trace {
	const rate = 200
	rng := rand.New(rand.NewPCG(seed, 5))
	var t, duty, amps, on, volts []float64
	add := func(d, supply, seconds float64) {
		for range int(seconds * rate) {
			at := float64(len(t)) / rate
			i := 0.0
			if supply > 0 {
				i = 0.05
			}
			if run := at - 2.5 - 0.15; d > 0 && run > 0 {
				i += factor * (0.25 + 4*math.Pow(d/100, 2.8)) * (1 - math.Exp(-run/0.25))
			}
			t, duty, on = append(t, at), append(duty, d), append(on, supply)
			amps = append(amps, i+0.004*rng.NormFloat64())
			volts = append(volts, supply*(13.5-0.04*i)+0.002*rng.NormFloat64())
		}
	}
	add(0, 0, 1)
	add(0, 1, 1.5)
	add(20, 1, 3.5)
	for d := 30.0; d <= 100; d += 10 {
		add(d, 1, 1.5)
	}
	for d := 90.0; d >= 20; d -= 10 {
		add(d, 1, 1.5)
	}
	add(0, 1, 1)
	return &trace.Trace{
		Meta: []trace.Entry{{Key: trace.KeyTrace, Value: "1"}, {Key: trace.KeyUnit, Value: unit}, {Key: trace.KeyKind, Value: "pump"}},
		Columns: []trace.Column{{Name: trace.ColTime, Values: t}, {Name: trace.ColDuty, Values: duty}, {Name: trace.ColCurrent, Values: amps},
			{Name: trace.ColSupplyOn, Values: on}, {Name: trace.ColSupply, Values: volts}},
	}
}

// record writes such traces and gives their paths.
func (d *desk) record(t testing.TB, name string, units int, factor func(i int) float64) []string {
	t.Helper()
	var paths []string
	for i := range units {
		p := d.path(fmt.Sprintf("%s-%02d.csv", name, i))
		require.NoError(t, trace.WriteFile(p, recorded(fmt.Sprintf("%s-%02d", name, i), factor(i), uint64(len(name)*1000+i))))
		paths = append(paths, p)
	}
	return paths
}

// good is the factor of good units: a few per cent either way.
func good(i int) float64 { return 1 + 0.02*math.Sin(float64(3*i+1)) }

// learned is a profile file from twelve good units.
func (d *desk) learned(t testing.TB) string {
	t.Helper()
	learning.Do(func() {
		d := newDesk(t)
		paths := d.record(t, "good", 12, good)
		out := d.path("learned.toml")
		if c := d.call(append([]string{"profiles", "learn", "--name", "learned", "--out", out}, paths...)...); c.status != 0 {
			learntError = c.stderr
			return
		}
		data, err := os.ReadFile(out)
		require.NoError(t, err)
		learnt = string(data)
	})
	require.Empty(t, learntError)
	return d.write(t, "learned.toml", learnt)
}

// The profile is learned once for all tests, which only read it.
var (
	learning            sync.Once
	learnt, learntError string
)
