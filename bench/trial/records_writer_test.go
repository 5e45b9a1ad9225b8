package trial_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dutybench/bench/record"
	"dutybench/bench/record/store"
	"dutybench/bench/result"
	"dutybench/signal/trace"
)

// The variables that make this program a writer of records instead of running
// its tests.
const (
	writerWhere = "DUTYBENCH_TEST_WRITER"      // the store's folder
	writerSeed  = "DUTYBENCH_TEST_WRITER_SEED" // what it writes
	writerTests = "DUTYBENCH_TEST_WRITER_N"    // how many tests; 0: until it is killed
)

// TestMain is the program: its tests or, in a process that a campaign started,
// the writer.
func TestMain(m *testing.M) {
	where := os.Getenv(writerWhere)
	if where == "" {
		os.Exit(m.Run())
	}
	n, err := strconv.Atoi(os.Getenv(writerTests))
	voice := os.NewFile(3, "voice")
	if what := os.Getenv(lookerWhat); what != "" {
		err = errors.Join(err, lookAround(where, what, n, voice))
	} else {
		seed, err2 := strconv.ParseUint(os.Getenv(writerSeed), 10, 64)
		err = errors.Join(err, err2, writeRecords(where, seed, n, voice))
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	os.Exit(0)
}

// recoverOnly, for the number of tests, is a writer that makes records of what
// was under way, and ends.
const recoverOnly = -1

// writing is one test that the writer keeps.
type writing struct {
	how    string         // put, draft or drop
	rec    *record.Record // whole, as Put and Finish take it
	chunks []*trace.Trace // as Append takes them, of a draft
	known  record.Record  // as Begin takes it
	whole  *trace.Trace   // all chunks
}

// unitOf names the unit of a writer's test, so that a record tells which it is.
func unitOf(seed uint64, n int) string { return fmt.Sprintf("W%d-%d", seed, n) }

// planned is the nth test of a writer: the same whoever asks.
func planned(seed uint64, n int) (*writing, error) {
	rng := rand.New(rand.NewPCG(seed, uint64(n)))
	w := &writing{how: "draft"}
	switch k := rng.IntN(10); {
	case k == 0:
		w.how = "drop"
	case k < 3:
		w.how = "put"
	}
	w.known = record.Record{
		When: time.Date(2026, 3, 1, 8, 0, n, 0, time.UTC), Purpose: "incoming", Program: "writer",
		Rig: record.Rig{Name: "sim", Simulated: true, Facts: []record.Fact{{Key: "ADC", Value: "16 bit"}}},
		At: record.Circumstances{Unit: unitOf(seed, n), Kind: "pump", Operator: "K. Writer", Complaint: "no flow",
			Claim: fmt.Sprintf("C-%04d", rng.IntN(10000)), Notes: strings.Repeat("n", rng.IntN(300))},
		Profile: record.Profile{Name: "aux-pump-60w", Revision: 1, Text: bytes.Repeat([]byte("# a profile\n"), 100)},
		Files:   []record.File{{Name: record.RigFile, Data: bytes.Repeat([]byte("# a rig\n"), 60)}},
	}
	if rng.IntN(4) == 0 {
		photo := make([]byte, 1+rng.IntN(60000))
		for i := range photo {
			photo[i] = byte(rng.Uint32())
		}
		w.known.Files = append(w.known.Files, record.File{Name: record.PhotoPrefix + "1.jpg", Data: photo})
	}
	// Seconds of 50 to 2,000 samples, current with noise.
	rate := 50 * (1 + rng.IntN(40))
	w.whole = emptyTrace(w.known.At.Unit)
	for range 1 + rng.IntN(4) {
		c := emptyTrace(w.known.At.Unit)
		for range rate {
			t := float64(w.whole.Len()) / float64(rate)
			for _, x := range []*trace.Trace{c, w.whole} {
				x.Columns[0].Values = append(x.Columns[0].Values, t)
				x.Columns[1].Values = append(x.Columns[1].Values, 60)
			}
			i := 2 + rng.NormFloat64()*0.05
			c.Columns[2].Values = append(c.Columns[2].Values, i)
			w.whole.Columns[2].Values = append(w.whole.Columns[2].Values, i)
		}
		w.chunks = append(w.chunks, c)
	}
	whole := w.known
	w.rec = &whole
	var csv bytes.Buffer
	if err := trace.Write(&csv, w.whole); err != nil {
		return nil, err
	}
	w.rec.Trace = csv.Bytes()
	cause := result.Causes()[rng.IntN(len(result.Causes()))]
	r := result.Result{Schema: result.Schema, Unit: w.rec.At.Unit, Verdict: result.Fail, Cause: &cause, Sentence: "It fails."}
	for i := range 20 {
		r.Findings = append(r.Findings, result.Finding{Name: fmt.Sprintf("finding-%d", i), Value: new(rng.Float64()), Unit: "A", Note: "one plain sentence for the person who reads it"})
	}
	object, err := json.Marshal(r)
	w.rec.Result = object
	return w, err
}

func emptyTrace(unit string) *trace.Trace {
	return &trace.Trace{
		Meta:    []trace.Entry{{Key: trace.KeyTrace, Value: trace.Format}, {Key: trace.KeyUnit, Value: unit}},
		Columns: []trace.Column{{Name: trace.ColTime}, {Name: trace.ColDuty}, {Name: trace.ColCurrent}},
	}
}

// writeRecords keeps tests in a store, and says each step before and behind:
// "finish 3", then "finished 3 NAME HASH".
func writeRecords(where string, seed uint64, n int, voice *os.File) error {
	say := func(format string, args ...any) error {
		_, err := fmt.Fprintf(voice, format+"\n", args...)
		return err
	}
	const sitting = 7 // tests before it closes the store and opens it again
	if n == recoverOnly {
		s, err := store.Open(where, store.Options{})
		if err != nil {
			return err
		}
		if err := say("recover"); err != nil {
			return err
		}
		if _, err := s.Recover(); err != nil {
			return err
		}
		if err := say("recovered"); err != nil {
			return err
		}
		return s.Close()
	}
	for i := 0; n == 0 || i < n; {
		if err := say("open"); err != nil {
			return err
		}
		s, err := store.Open(where, store.Options{})
		if err != nil {
			return err
		}
		if err := say("opened"); err != nil {
			return err
		}
		for range sitting {
			w, err := planned(seed, i)
			if err != nil {
				return err
			}
			if err := w.keep(s, i, say); err != nil {
				return err
			}
			if i++; i == n {
				break
			}
		}
		if err := say("close"); err != nil {
			return err
		}
		if err := s.Close(); err != nil {
			return err
		}
		if err := say("closed"); err != nil {
			return err
		}
	}
	return nil
}

func (w *writing) keep(s record.Store, i int, say func(string, ...any) error) error {
	if w.how == "put" {
		if err := say("put %d", i); err != nil {
			return err
		}
		id, err := s.Put(w.rec)
		if err != nil {
			return err
		}
		return say("finished %d %s %s", i, id, w.rec.Hash)
	}
	if err := say("begin %d", i); err != nil {
		return err
	}
	d, err := s.Begin(&w.known)
	if err != nil {
		return err
	}
	if err := say("begun %d", i); err != nil {
		return err
	}
	for k, c := range w.chunks {
		if err := say("append %d %d", i, k); err != nil {
			return err
		}
		if err := d.Append(c); err != nil {
			return err
		}
		if err := say("appended %d %d", i, k); err != nil {
			return err
		}
	}
	if w.how == "drop" {
		if err := say("drop %d", i); err != nil {
			return err
		}
		if err := d.Drop(); err != nil {
			return err
		}
		return say("dropped %d", i)
	}
	if err := say("finish %d", i); err != nil {
		return err
	}
	id, err := d.Finish(w.rec)
	if err != nil {
		return err
	}
	return say("finished %d %s %s", i, id, w.rec.Hash)
}

// heard is what a writer said until it was stopped.
type heard struct {
	seed     uint64
	opened   bool
	kept     map[int]keptAs // by test
	dropped  map[int]bool
	during   string // the step that had not come back: "append", or "between"
	test     int    // of that step, or of an open draft; -1: none
	open     bool   // a draft is open, or may be
	begun    bool   // Begin had returned
	appended int    // chunks whose Append had returned
}

type keptAs struct{ id, hash string }

// listen reads what a writer said.
func listen(seed uint64, lines []string) (*heard, error) {
	h := &heard{seed: seed, kept: map[int]keptAs{}, dropped: map[int]bool{}, during: "start", test: -1}
	for _, line := range lines {
		f := strings.Fields(line)
		if len(f) == 0 {
			continue
		}
		i := -1
		if len(f) > 1 {
			i, _ = strconv.Atoi(f[1])
		}
		h.during = f[0]
		switch f[0] {
		case "open", "close":
		case "opened":
			h.opened, h.during = true, "between"
		case "closed":
			h.during = "between"
		case "put":
			h.test, h.begun, h.appended = i, false, 0
		case "begin":
			h.test, h.open, h.begun, h.appended = i, true, false, 0
		case "begun":
			h.begun, h.during = true, "between"
		case "append", "finish", "drop":
		case "appended":
			h.appended++
			h.during = "between"
		case "finished":
			if len(f) != 4 {
				return nil, fmt.Errorf("a writer said %q", line)
			}
			h.kept[i] = keptAs{f[2], f[3]}
			h.test, h.open, h.during = -1, false, "between"
		case "dropped":
			h.dropped[i] = true
			h.test, h.open, h.during = -1, false, "between"
		default:
			return nil, fmt.Errorf("a writer said %q", line)
		}
	}
	return h, nil
}

func TestWriterIsHeard(t *testing.T) {
	h, err := listen(1, []string{"open", "opened", "put 0", "finished 0 k-1 abc", "begin 1", "begun 1", "append 1 0", "appended 1 0", "append 1 1"})
	require.NoError(t, err)
	require.Equal(t, &heard{seed: 1, opened: true, kept: map[int]keptAs{0: {"k-1", "abc"}}, dropped: map[int]bool{}, during: "append", test: 1, open: true, begun: true, appended: 1}, h)
	a, err := planned(1, 2)
	require.NoError(t, err)
	b, err := planned(1, 2)
	require.NoError(t, err)
	require.Equal(t, a, b)
}
