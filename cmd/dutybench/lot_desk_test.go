package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dutybench/bench/lot"
	"dutybench/bench/record"
	"dutybench/bench/report"
	"dutybench/bench/result"
)

// memory is a store of records in memory.
type memory struct {
	records []*record.Record
	bodies  [][]byte
}

func (m *memory) put(r *record.Record) record.ID {
	at := record.Place{Bench: "k3v7q2m9xw", Seq: len(m.records) + 1}
	if n := len(m.records); n > 0 {
		at.Previous, at.After = m.records[n-1].Hash, m.records[n-1].When
	}
	body, err := record.Seal(r, at)
	if err != nil {
		panic(err)
	}
	m.records, m.bodies = append(m.records, r), append(m.bodies, body)
	return r.ID
}

func (m *memory) List(f record.Filter) ([]record.Entry, error) {
	var out []record.Entry
	for _, b := range m.bodies {
		e, err := record.EntryOf(b)
		if err != nil {
			return nil, err
		}
		if (f.Lot == "" || strings.EqualFold(f.Lot, e.At.Lot)) && (f.Purpose == "" || f.Purpose == e.Purpose) {
			out = append(out, e)
		}
	}
	return out, nil
}

func (m *memory) Get(id record.ID) (*record.Record, error) {
	if id.Seq > len(m.records) {
		return nil, fs.ErrNotExist
	}
	return m.records[id.Seq-1], nil
}

func (m *memory) Body(id record.ID) ([]byte, error) { return m.bodies[id.Seq-1], nil }
func (m *memory) Close() error                      { return nil }

// pallet is a lot at a desk: units that come to what their words say, in turn,
// and a keyboard.
type pallet struct {
	memory
	units  map[string][]string // such as "pass", "fail:mechanical", "open", "bench", "error", "wait"
	said   map[string]runFlags // the last flags that a unit was tested with
	tested []string
	clock  time.Time
	out    screen
	flags  lotFlags
	given  map[string]bool
	name   string
	began  chan struct{} // a test that waits has begun
	ctrlC  context.CancelFunc
}

func newPallet(units map[string][]string) *pallet {
	return &pallet{units: units, said: map[string]runFlags{}, clock: time.Date(2026, 11, 26, 8, 0, 0, 0, time.UTC), name: "P7",
		given: map[string]bool{}, began: make(chan struct{}, 1),
		flags: lotFlags{runFlags: runFlags{profile: defaultProfile, rigFlags: rigFlags{rig: "sim", seed: 1}, width: 80}, tries: lot.DefaultTries}}
}

// screen takes what is written, from any goroutine.
type screen struct {
	sync.Mutex
	b    strings.Builder
	seen int
}

func (s *screen) Write(p []byte) (int, error) {
	s.Lock()
	defer s.Unlock()
	return s.b.Write(p)
}

func (s *screen) String() string {
	s.Lock()
	defer s.Unlock()
	return s.b.String()
}

// wait waits until words stand behind what was waited for before.
func (s *screen) wait(t *testing.T, words string) {
	t.Helper()
	require.Eventually(t, func() bool {
		all := strings.ReplaceAll(s.String(), "\n", " ") // wherever lines break
		i := strings.Index(all[s.seen:], words)
		if i >= 0 {
			s.seen += i + len(words)
		}
		return i >= 0
	}, 5*time.Second, time.Millisecond, "waiting for %q", words)
}

// test carries out what a unit's next word says.
func (p *pallet) test(ctx context.Context, f runFlags) (report.Input, int, error) {
	p.tested = append(p.tested, f.unit)
	p.said[f.unit] = f
	p.clock = p.clock.Add(40 * time.Second)
	word := "pass"
	if w := p.units[f.unit]; len(w) > 0 {
		word, p.units[f.unit] = w[0], w[1:]
	}
	what, cause, _ := strings.Cut(word, ":")
	r := result.Result{Schema: result.Schema, Kind: "pump", Unit: f.unit, Verdict: result.Undecided, Sentence: "Undecided: it is close.", NextStep: "Bleed the loop."}
	rec := &record.Record{When: p.clock, Purpose: f.purpose, Program: "t", Rig: record.Rig{Name: "sim", Simulated: true, Facts: f.facts},
		Profile: record.Profile{Name: builtinProfile(f.profile), Revision: 1}, Trace: []byte("t_s,duty_pct,current_A\n0,0,0\n20,0,0\n")}
	switch what {
	case "error":
		return report.Input{}, exitError, errors.New("the rig cannot be opened")
	case "wait":
		p.began <- struct{}{}
		<-ctx.Done()
		rec.Cancelled = true
		r.Error = "The test was cancelled."
	case "pass":
		r.Verdict, r.Sentence = result.Pass, "Pass: it does what good ones do."
	case "fail":
		r.Verdict, r.Sentence = result.Fail, "Fail: it does not."
		r.Reusable = map[string][]string{"mechanical": {"control board"}, "control-board": {"motor and hydraulics"}, "dead-board": {"motor and hydraulics, not shown to turn here"}}[cause]
		cause = strings.Replace(cause, "dead-board", "control-board", 1)
	case "bench":
		cause, r.Sentence = "bench", "Undecided: the supply sagged."
	}
	if c := result.Cause(cause); c != "" {
		r.Cause = &c
	}
	kept := r
	kept.Error = ""
	rec.Result, _ = json.Marshal(kept)
	rec.At = record.Circumstances{Unit: f.unit, Kind: "pump", Operator: f.operator, Primed: f.primed, Attempt: 1}
	f.circumstanceFlags.on(&rec.At)
	if f.inspection != "" {
		i, err := result.ParseInspection(f.inspection)
		if err != nil {
			return report.Input{}, exitUsage, err
		}
		rec.At.Inspection = i.Answers
	}
	r.Record = p.put(rec).String()
	return report.Input{Result: r}, r.Exit(), nil
}

func builtinProfile(string) string { return defaultProfile }

// loop is the lot's loop over an input.
func (p *pallet) loop(in io.Reader, terminal bool) *lotLoop {
	f := p.flags
	f.explicit = func(flag string) bool { return p.given[flag] }
	e := env{stdin: in, stdout: &p.out, stderr: &p.out, getenv: func(string) string { return "" }, sleep: func(time.Duration) {},
		now: func() time.Time { return p.clock }, isTerminal: func(any) (int, bool) { return 80, terminal },
		interrupt: func(ctx context.Context) (context.Context, context.CancelFunc) {
			ctx, p.ctrlC = context.WithCancel(ctx)
			return ctx, p.ctrlC
		}}
	return &lotLoop{app: &app{env: e}, name: p.name, flags: f, store: &p.memory, test: p.test, terminal: terminal}
}

// type_ goes through the lot with lines that are all there at once, time
// passing between them.
func (p *pallet) type_(lines ...string) error {
	return p.loop(&slowly{lines: lines, p: p}, false).whole(context.Background())
}

// slowly gives a line at a time, and lets ten seconds pass before each.
type slowly struct {
	lines []string
	p     *pallet
	rest  string
}

func (s *slowly) Read(b []byte) (int, error) {
	if s.rest == "" {
		if len(s.lines) == 0 {
			return 0, io.EOF
		}
		s.rest, s.lines = s.lines[0]+"\n", s.lines[1:]
	}
	n := copy(b, s.rest)
	s.rest = s.rest[n:]
	return n, nil
}

// keyboard is a person at a terminal who waits for words before typing.
type keyboard struct {
	t    *testing.T
	p    *pallet
	keys *io.PipeWriter
	done chan error
}

func (p *pallet) sit(t *testing.T) *keyboard {
	r, w := io.Pipe()
	k := &keyboard{t: t, p: p, keys: w, done: make(chan error, 1)}
	l := p.loop(r, true)
	go func() { k.done <- l.whole(context.Background()) }()
	return k
}

// on waits for words, then types.
func (k *keyboard) on(words, keys string) *keyboard {
	k.t.Helper()
	k.p.out.wait(k.t, words)
	if keys == "" {
		return k
	}
	_, err := io.WriteString(k.keys, keys)
	require.NoError(k.t, err)
	return k
}

func (k *keyboard) end() string {
	k.t.Helper()
	require.NoError(k.t, k.keys.Close())
	select {
	case err := <-k.done:
		require.NoError(k.t, err)
	case <-time.After(5 * time.Second):
		require.Fail(k.t, "the lot did not end", k.p.out.String())
	}
	return k.p.out.String()
}

// bins is where the units of the pallet lie.
func (p *pallet) bins() string {
	tests, err := lot.Load(&p.memory, p.name, nil)
	if err != nil {
		return err.Error()
	}
	var s []string
	for _, u := range lot.Fold(tests, lot.Rule{Tries: p.flags.tries}) {
		s = append(s, fmt.Sprintf("%s:%d", u.Serial, int(u.Bin)))
	}
	return strings.Join(s, " ")
}

func mustLast(t *testing.T, p *pallet) []lot.Test {
	t.Helper()
	tests, err := lot.Load(&p.memory, p.name, nil)
	require.NoError(t, err)
	return []lot.Test{*lot.Last(tests)}
}
