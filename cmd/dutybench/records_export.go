package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"dutybench/bench/record"
	"dutybench/bench/record/store"
	"dutybench/bench/result"
)

// exportFlags are what is exported, and where to.
type exportFlags struct {
	filterFlags
	csv, findings, json, traces string
	overwrite, bom              bool
}

func newRecordsExport(a *app) *cobra.Command {
	var f exportFlags
	c := &cobra.Command{
		Use:   "export [ID...]",
		Short: "Write records as tables, as JSON, and their traces as CSV",
		Long: `Export writes records for other programs: all of them, those that are named, or
those that the flags pick.

--csv is a table with a line for each record: what it came to, who and what, when
and how, and the value, expanded uncertainty and result of each finding. --findings
is a table with a line for each finding, with its limits and coverage factor.
Both are UTF-8 with commas, decimal points and times in UTC. An empty cell is
something that was not measured or not told. A text that a spreadsheet would take
for a formula gets an apostrophe in front, and characters that are not seen are
left out; numbers are written as numbers. Read columns of serials as text where a
spreadsheet would drop their leading zeros. --bom marks the tables as UTF-8 for
spreadsheets that do not see it by themselves.

--json is an object a line, with all that a record holds, as it was typed, but
for its trace, photos and other files. --traces writes each trace into a folder,
as the record's name and .csv, byte for byte as it was kept.

No file is written over without --overwrite, but for a trace that is there
already as it is. For records with proofs, make a bundle instead.`,
		Example: `  dutybench records export --csv records.csv
  dutybench records export --claim 4711 --csv claim.csv --findings findings.csv --traces claim
  dutybench records export 12 14 --json -`,
		RunE: a.do(func(_ *cobra.Command, args []string) error { return a.exportRecords(args, f) }),
	}
	f.add(c)
	fl := c.Flags()
	fl.StringVar(&f.csv, "csv", "", "write a table of records to `FILE`, - for standard output")
	fl.StringVar(&f.findings, "findings", "", "write a table of findings to `FILE`, - for standard output")
	fl.StringVar(&f.json, "json", "", "write JSON, an object a line, to `FILE`, - for standard output")
	fl.StringVar(&f.traces, "traces", "", "write the traces into the folder `DIR`, which is made when it is not there")
	fl.BoolVar(&f.overwrite, "overwrite", false, "write over files that are there")
	fl.BoolVar(&f.bom, "bom", false, "begin the tables with a mark that they are UTF-8")
	return c
}

// where is what the flags say of the files, each with its name.
func (f *exportFlags) where() map[string]string {
	out := map[string]string{}
	for name, path := range map[string]string{"csv": f.csv, "findings": f.findings, "json": f.json} {
		if path != "" {
			out[name] = path
		}
	}
	return out
}

// check finds what is wrong with the flags before anything is read.
func (f *exportFlags) check(args []string, filter record.Filter) error {
	if len(f.where()) == 0 && f.traces == "" {
		return usage("say what to write: --csv, --findings, --json or --traces")
	}
	if len(args) > 0 && filter != (record.Filter{}) {
		return usage("name records, or pick them with flags, not both")
	}
	seen := map[string]string{}
	for name, path := range f.where() {
		if other := seen[path]; other != "" {
			return usage("--%s and --%s both want %s; give each a file of its own", min(name, other), max(name, other), path)
		}
		seen[path] = name
	}
	if f.traces == "-" {
		return usage("--traces - is not possible: traces go into a folder, a file each")
	}
	return nil
}

func (a *app) exportRecords(args []string, f exportFlags) (err error) {
	filter, err := f.filter()
	if err != nil {
		return err
	}
	if err := f.check(args, filter); err != nil {
		return err
	}
	ids, err := named(args)
	if err != nil {
		return err
	}
	s, err := a.standingStore()
	if err != nil {
		return err
	}
	defer a.close(s)
	var damaged error // what is not listed
	if len(ids) == 0 {
		n, err := eachEntry(s, filter, func(e *record.Entry) error {
			ids = append(ids, e.ID)
			return nil
		})
		switch damaged = err; {
		case n == 0 && err != nil:
			return err
		case n == 0:
			a.nothingFound(filter, nil, s)
		}
	}
	e := &export{flags: f, files: map[string]*exportFile{}}
	defer e.abandon()
	if err := e.open(a); err != nil {
		return err
	}
	p := a.ticking("record")
	defer p.end()
	bad := 0 // could not be read
	for i, id := range ids {
		var ends *exportError
		if err := e.record(s, id); errors.As(err, &ends) {
			return err
		} else if err != nil {
			bad++
			p.end()
			complain(a.stderr, err)
		}
		p.tick(i+1, len(ids))
	}
	if err := e.finish(); err != nil {
		return err
	}
	p.end()
	if damaged == nil && bad > 0 {
		damaged = fmt.Errorf("%s could not be exported; %s tells more", records(bad), a.command("records verify"))
	}
	fmt.Fprint(a.stderr, e.sentence(len(ids)-bad))
	return damaged
}

// named are the records that are named.
func named(args []string) (ids []record.ID, err error) {
	for _, name := range args {
		id, err := record.ParseID(strings.TrimPrefix(name, traceScheme))
		if err != nil {
			return nil, usage("%v", err)
		}
		ids = append(ids, id)
	}
	return ids, nil
}

// exportError ends an export: its files cannot be written.
type exportError struct{ error }

func (e *exportError) Unwrap() error { return e.error }

// export is one under way.
type export struct {
	flags        exportFlags
	files        map[string]*exportFile
	table        table
	findings     findingsTable
	traces, were int // written, and there already
}

// open begins the files.
func (e *export) open(a *app) error {
	for name, path := range e.flags.where() {
		file, err := openExport(path, a.stdout, e.flags.overwrite)
		if err != nil {
			return err
		}
		e.files[name] = file
		if e.flags.bom && name != "json" {
			if _, err := file.Write([]byte("\ufeff")); err != nil {
				return err
			}
		}
	}
	if f := e.files["findings"]; f != nil {
		e.findings.begin(f)
	}
	if e.flags.traces != "" {
		if err := os.MkdirAll(e.flags.traces, 0o755); err != nil {
			return fmt.Errorf("the folder for the traces cannot be made: %w", err)
		}
	}
	return nil
}

// record adds a record to all that is written.
func (e *export) record(s *store.Store, id record.ID) error {
	rec, err := s.Get(id)
	if err != nil {
		return err
	}
	var r result.Result
	if rec.Result != nil {
		if err := json.Unmarshal(rec.Result, &r); err != nil {
			return fmt.Errorf("record %s: its result cannot be read: %w", rec.ID, err)
		}
	}
	if f := e.files["json"]; f != nil {
		body, err := s.Body(rec.ID)
		if err != nil {
			return err
		}
		if err := writeJSON(f, exportObject{rec.ID.String(), rec.Hash, body, rec.Result}); err != nil {
			return &exportError{err}
		}
	}
	if e.files["csv"] != nil {
		e.table.add(rec, &r)
	}
	if f := e.files["findings"]; f != nil {
		if err := e.findings.add(rec, &r); err != nil {
			return &exportError{err}
		}
	}
	return e.trace(rec)
}

// exportObject is a record as JSON: its record.json and its result.
type exportObject struct {
	Record string          `json:"record"`
	SHA256 string          `json:"sha256"` // of record.json as it is kept
	Body   json.RawMessage `json:"record_json"`
	Result json.RawMessage `json:"result"` // null: not judged
}

// trace writes a record's trace, where it is wanted.
func (e *export) trace(rec *record.Record) error {
	if e.flags.traces == "" {
		return nil
	}
	path := filepath.Join(e.flags.traces, rec.ID.String()+".csv")
	if !e.flags.overwrite {
		if there, err := os.ReadFile(path); err == nil && string(there) == string(rec.Trace) {
			e.were++
			return nil
		}
	}
	f, err := openExport(path, nil, e.flags.overwrite)
	if err != nil {
		return &exportError{err}
	}
	defer f.abandon()
	if _, err := f.Write(rec.Trace); err != nil {
		return &exportError{err}
	}
	if err := f.finish(); err != nil {
		return &exportError{err}
	}
	e.traces++
	return nil
}

// finish gives the files their names.
func (e *export) finish() error {
	if f := e.files["csv"]; f != nil {
		if err := e.table.write(f); err != nil {
			return fmt.Errorf("writing the table: %w", err)
		}
	}
	if e.files["findings"] != nil {
		if err := e.findings.end(); err != nil {
			return fmt.Errorf("writing the findings: %w", err)
		}
	}
	for _, name := range []string{"csv", "findings", "json"} {
		if f := e.files[name]; f != nil {
			if err := f.finish(); err != nil {
				return err
			}
		}
	}
	return nil
}

// abandon removes what was not finished.
func (e *export) abandon() {
	for _, f := range e.files {
		f.abandon()
	}
}

// sentence says what was written.
func (e *export) sentence(n int) string {
	out := records(n) + " exported"
	for _, name := range []string{"csv", "findings", "json"} {
		if path := e.flags.where()[name]; path != "" && path != "-" {
			out += ", " + name + " to " + path
		}
	}
	if e.flags.traces != "" {
		out += fmt.Sprintf(", %d traces to %s", e.traces, e.flags.traces)
		if e.were > 0 {
			out += fmt.Sprintf(" (%d were there already)", e.were)
		}
	}
	return out + ".\n"
}

// there says whether anything has a name already, a link that leads nowhere
// too.
func there(path string) (bool, error) {
	_, err := os.Lstat(path)
	switch {
	case err == nil:
		return true, nil
	case errors.Is(err, fs.ErrNotExist):
		return false, nil
	}
	return false, err
}
