package main

import (
	"bytes"
	"cmp"
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strings"

	"dutybench/bench/record"
	"dutybench/bench/report"
	"dutybench/bench/result"
	"dutybench/bench/rig"
	"dutybench/bench/run"
	"dutybench/signal/trace"
)

// keeper is what a test needs of a store.
type keeper interface {
	Begin(r *record.Record) (record.Draft, error)
	Put(r *record.Record) (record.ID, error)
	List(f record.Filter) ([]record.Entry, error)
	PagePath(record.ID) string
	Folder() string
}

// keep judges what was measured and keeps it as a record. What is judged is
// the trace as its CSV holds it, so that judging that again gives the same.
// The input is complete for a report but for the page; when only the store
// fails, it is there beside the error.
func (t *test) keep(out *run.Outcome) (report.Input, error) {
	data, err := traceBytes(out.Trace)
	if err != nil {
		t.rescue(rawRows(out.Trace))
		return report.Input{}, fmt.Errorf("the trace is not as it should be, so it cannot be judged or kept: %w", err)
	}
	safe := false
	defer func() { // on every way out, and when the program fails
		if !safe {
			t.rescue(data)
		}
	}()
	if t.flags.trace != "" {
		if err := writeFile(t.flags.trace, data); err != nil {
			complain(t.stderr, err) // the record still has it
			t.status = exitError
		}
	}
	tr, err := trace.Read(bytes.NewReader(data), "trace.csv")
	if err != nil {
		return report.Input{}, err
	}
	var r result.Result
	if judged, err := judgeTrace(tr, t.profile, t.kind, t.conditions()); err == nil {
		r = *judged
	} else {
		r = unjudged(tr, t.profile)
		r.Warnings = append(r.Warnings, err.Error())
	}
	r = clean(result.Inspected(merge(r, out), t.inspection, !t.simulated()))
	r.Reports = t.said
	r.Warnings = list(slices.Concat(r.Warnings, t.clock.sentence(), t.unwellWords(), t.doubts))
	rec, err := t.record(r, tr, data, out)
	if err != nil {
		return report.Input{}, err
	}
	in := inputOf(rec, r, tr)
	in.Profile, in.TracePath = t.profile, t.flags.trace
	id, err := t.put(rec)
	if err != nil {
		return in, err
	}
	safe = true
	in.Result.Record = id.String()
	in.Result.Source = cmp.Or(t.flags.trace, traceName(id))
	in.TracePath = cmp.Or(t.flags.trace, traceCommand(id))
	tr.Source = in.Result.Source
	return in, nil
}

// record is the test with its circumstances.
func (t *test) record(r result.Result, tr *trace.Trace, data []byte, out *run.Outcome) (*record.Record, error) {
	object, err := json.Marshal(r)
	if err != nil {
		return nil, fmt.Errorf("the result cannot be kept: %w", err)
	}
	rec := t.begun(out)
	rec.At.Temperature_C, rec.Trace, rec.Result = temperature(tr), data, object
	return rec, nil
}

// begun is what a record holds before its trace; out is nil before the test.
func (t *test) begun(out *run.Outcome) *record.Record {
	f := t.flags
	rec := &record.Record{
		When: t.clock.now(), ClockDoubt: t.clock.doubt(), Purpose: cmp.Or(f.role, f.purpose, "test"), Program: program(),
		Rig:     record.Rig{Name: t.rig.Name, Simulated: t.simulated()},
		Profile: record.Profile{Name: t.profile.Name, Revision: t.profile.Revision, SHA256: t.profile.SHA256, Text: t.text},
		At: record.Circumstances{Unit: f.unit, Kind: t.profile.Kind, Operator: f.operator, Fixture: f.fixture, Fluid: f.fluid,
			Primed: f.primed, Notes: f.note, Filling: f.filling, Attempt: t.attempt},
		Workshop: t.workshop, Files: slices.Clone(t.files),
	}
	if c := t.bench.calibrated; c != nil && (c.Current != nil || c.Voltage != nil) {
		rec.Calibration = t.rig.Accuracy.ReferenceDocument
	}
	f.on(&rec.At)
	if t.inspection != nil {
		rec.At.Inspection = t.inspection.Answers
	}
	facts := t.rig.Facts
	if out != nil {
		facts, rec.Cancelled = out.Facts, wasCancelled(out)
	}
	for _, x := range facts {
		rec.Rig.Facts = append(rec.Rig.Facts, record.Fact{Key: x.Key, Value: x.Value})
	}
	rec.Rig.Facts = append(rec.Rig.Facts, f.facts...)
	if f.fault != "" {
		rec.Rig.Facts = append(rec.Rig.Facts, record.Fact{Key: "simulated fault", Value: f.fault})
	}
	if t.simulated() {
		rec.Rig.Facts = append(rec.Rig.Facts, record.Fact{Key: "simulated unit", Value: fmt.Sprintf("seed %d", f.seed)})
	}
	return rec
}

// simulated says that no real unit is on the bench.
func (t *test) simulated() bool {
	return t.rig.Name == rig.Sim || t.bench != nil && t.bench.simulated != nil
}

// simulated says that no real unit was on a record's bench.
func simulated(r record.Rig) bool { return r.Simulated || r.Name == rig.Sim }

// inputOf is a record as reports want it.
func inputOf(rec *record.Record, r result.Result, tr *trace.Trace) report.Input {
	in := report.Input{
		Result: r, Trace: tr, Rig: rec.Rig.Name, Simulated: simulated(rec.Rig),
		When: rec.When, Operator: rec.At.Operator, Purpose: rec.Purpose, Program: rec.Program, Primed: rec.At.Primed,
	}
	for _, x := range rec.Rig.About() {
		in.Facts = append(in.Facts, report.Fact(x))
	}
	var fixture []string
	for _, s := range []string{rec.At.Fixture, rec.At.Fluid} {
		if s != "" {
			fixture = append(fixture, s)
		}
	}
	if c := rec.At.Temperature_C; c != nil {
		in.Temperature = fmt.Sprintf("%.1f °C, by the bench's sensor", *c)
	}
	in.Fixture = strings.Join(fixture, ", ")
	if rec.At.Notes != "" {
		in.Facts = append(in.Facts, report.Fact{Key: "note", Value: rec.At.Notes})
	}
	if in.Result.Kind == "" {
		in.Result.Kind = rec.At.Kind
	}
	return aboutKind(in)
}

// report keeps a test that came to its end and writes its page.
func (t *test) report(out *run.Outcome) (report.Input, int, error) {
	if out.Trace.Len() == 0 {
		return t.nothing(out)
	}
	in, err := t.keep(out)
	t.status = result.WorstExit(t.status, in.Result.Exit())
	if err != nil {
		return in, t.status, err
	}
	id, err := record.ParseID(in.Result.Record)
	if err != nil {
		return in, t.status, err
	}
	if t.flags.page != "" {
		err = writePage(t.stdout, &in, t.flags.page, writeFile)
	} else {
		err = writePage(t.stdout, &in, t.store.PagePath(id), writeOwn)
	}
	if err != nil {
		return in, t.status, fmt.Errorf("record %s is kept, but its page is not: %w", in.Result.Record, err)
	}
	in.TracePath = cmp.Or(t.flags.trace, t.showTrace(id))
	if t.own == nil {
		return in, t.status, nil
	}
	paths, err := t.automaticReports(t.own, id)
	for _, p := range paths {
		fmt.Fprintln(t.stderr, "Report:", p)
	}
	return in, t.status, err
}

// writePage writes the page for people to a file, or for "-" to w.
func writePage(w io.Writer, in *report.Input, path string, write func(path string, data []byte) error) error {
	var b bytes.Buffer
	if err := report.Page(&b, *in); err != nil {
		return err
	}
	if path == "-" {
		_, err := w.Write(b.Bytes())
		return err
	}
	in.Page = path
	return write(path, b.Bytes())
}

// tell writes a result: as JSON, as text, or not at all when the page has
// taken standard output.
func tell(w io.Writer, in report.Input, asJSON, silent bool, o report.TextOptions) error {
	switch {
	case asJSON:
		return writeJSON(w, object{in.Result, in.Page})
	case silent:
		return nil
	}
	return report.Text(w, in, o)
}
