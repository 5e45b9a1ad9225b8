package main

import (
	"bytes"
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"path/filepath"
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
	Put(r *record.Record) (record.ID, error)
	List(f record.Filter) ([]record.Entry, error)
	Folder(record.ID) string
	PagePath(record.ID) string
}

// keep judges what was measured and keeps it as a record. What is judged is
// the trace as the file holds it, so that judging the file again gives the
// same. The input is complete for a report but for the page; when only the
// store fails, it is there beside the error.
func (t *test) keep(out *run.Outcome) (report.Input, error) {
	data, err := traceBytes(out.Trace)
	if err != nil {
		return report.Input{}, err
	}
	if t.flags.trace != "" {
		if err := writeFile(t.flags.trace, data); err != nil {
			fmt.Fprintln(t.stderr, "dutybench:", err) // the record still has it
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
	r.Warnings = append(r.Warnings, t.clock.sentence()...)
	rec, err := t.record(r, tr, data, out)
	if err != nil {
		return report.Input{}, err
	}
	in := inputOf(rec, r, tr)
	in.Profile, in.TracePath = t.profile, t.flags.trace
	id, err := t.store.Put(rec)
	if err != nil {
		t.rescue(data)
		return in, err
	}
	in.Result.Record = id.String()
	in.TracePath = filepath.Join(t.store.Folder(id), "trace.csv")
	in.Result.Source, tr.Source = in.TracePath, in.TracePath
	return in, nil
}

// record is the test with its circumstances.
func (t *test) record(r result.Result, tr *trace.Trace, data []byte, out *run.Outcome) (*record.Record, error) {
	object, err := json.Marshal(r)
	if err != nil {
		return nil, fmt.Errorf("the result cannot be kept: %w", err)
	}
	f := t.flags
	rec := &record.Record{
		When: t.clock.now(), ClockDoubt: t.clock.doubt(), Purpose: cmp.Or(f.purpose, "test"), Program: program(),
		Rig:     record.Rig{Name: t.rig.Name, Simulated: t.simulated()},
		Profile: record.Profile{Name: t.profile.Name, Revision: t.profile.Revision, SHA256: t.profile.SHA256, Text: t.text},
		At: record.Circumstances{Unit: f.unit, Kind: t.profile.Kind, Operator: f.operator, Fixture: f.fixture, Fluid: f.fluid,
			Temperature_C: temperature(tr), Primed: f.primed, Notes: f.note},
		Trace: data, Result: object,
	}
	if t.inspection != nil {
		rec.At.Inspection = t.inspection.Answers
	}
	for _, x := range out.Facts {
		rec.Rig.Facts = append(rec.Rig.Facts, record.Fact{Key: x.Key, Value: x.Value})
	}
	if f.fault != "" {
		rec.Rig.Facts = append(rec.Rig.Facts, record.Fact{Key: "simulated fault", Value: f.fault})
	}
	if t.simulated() {
		rec.Rig.Facts = append(rec.Rig.Facts, record.Fact{Key: "simulated unit", Value: fmt.Sprintf("seed %d", f.seed)})
	}
	return rec, nil
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
	for _, x := range rec.Rig.Facts {
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
	return in
}

// report keeps a test that came to its end and tells what it says.
func (t *test) report(out *run.Outcome) error {
	if out.Trace.Len() == 0 {
		return t.nothing(out)
	}
	in, err := t.keep(out)
	t.status = result.WorstExit(t.status, in.Result.Exit())
	text := t.explained(t.flags.width, t.flags.ascii, t.flags.explain)
	if err != nil && in.Result.Schema != 0 {
		return errors.Join(err, tell(t.stdout, in, t.flags.json, false, text)) // what was found is not lost
	}
	if err != nil {
		return err
	}
	id, err := record.ParseID(in.Result.Record)
	if err != nil {
		return err
	}
	page := t.flags.page
	if page == "" {
		page = t.store.PagePath(id)
	}
	if err := writePage(t.stdout, &in, page); err != nil {
		return fmt.Errorf("record %s is kept, but its page is not: %w", in.Result.Record, err)
	}
	return tell(t.stdout, in, t.flags.json, page == "-", text)
}

// writePage writes the page for people to a file, or for "-" to w.
func writePage(w io.Writer, in *report.Input, path string) error {
	var b bytes.Buffer
	if err := report.Page(&b, *in); err != nil {
		return err
	}
	if path == "-" {
		_, err := w.Write(b.Bytes())
		return err
	}
	in.Page = path
	return writeFile(path, b.Bytes())
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
