package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"dutybench/bench/kinds"
	"dutybench/bench/plot"
	"dutybench/bench/record"
	"dutybench/bench/record/ledger"
	"dutybench/bench/record/store"
	"dutybench/bench/report"
	"dutybench/bench/result"
	"dutybench/signal/trace"
)

// showFlags are how a record is shown.
type showFlags struct {
	page, trace, files, unit string
	json, ascii              bool
	width                    int
}

func newRecordsShow(a *app) *cobra.Command {
	var f showFlags
	c := &cobra.Command{
		Use: "show ID", Short: "Show what a record says, by its name or number",
		Long: `Show tells what a record says, with its circumstances, its files, and the proof
that it stands in the bench's log. --files writes the files as they were kept, such as
photos and the rig file, into a folder. --unit tells the history of a serial instead.`,
		Args: func(c *cobra.Command, args []string) error {
			if f.unit != "" && len(args) == 0 {
				return nil
			}
			return one("record, by its name or number")(c, args)
		},
		RunE: a.do(func(_ *cobra.Command, args []string) error {
			if f.unit != "" {
				if len(args) > 0 || f.page != "" || f.trace != "" || f.files != "" {
					return usage("--unit tells the history of a serial; leave the record's name, --page, --trace and --files out")
				}
				return a.tellHistory(f.unit, f.json, f.width)
			}
			return a.showRecord(args[0], f)
		}),
	}
	c.Flags().BoolVar(&f.json, "json", false, "print the result as one JSON object")
	c.Flags().StringVar(&f.page, "page", "", "write its page to `FILE`, - for standard output")
	c.Flags().StringVar(&f.trace, "trace", "", "write its trace to `FILE`, as CSV")
	c.Flags().StringVar(&f.files, "files", "", "write its files into the folder `DIR`, which is made when it is not there")
	c.Flags().StringVar(&f.unit, "unit", "", "tell the history of this `SERIAL`")
	textFlags(c, &f.width, &f.ascii)
	return c
}

// recordObject is a record as scripts get it: its result, and what else it
// holds.
type recordObject struct {
	object
	When          string               `json:"when"`
	Interrupted   bool                 `json:"interrupted"`
	Cancelled     bool                 `json:"cancelled"`
	Circumstances record.Circumstances `json:"circumstances"`
	Workshop      *record.Workshop     `json:"workshop,omitempty"`
	Files         []fileObject         `json:"files"`
	SHA256        string               `json:"sha256"`
	Head          string               `json:"head,omitempty"` // of the log, in one line
	InLog         bool                 `json:"in_log"`         // proved against the signed head
}

// fileObject is a file of a record.
type fileObject struct {
	Name  string `json:"name"`
	Bytes int    `json:"bytes"`
}

func (a *app) showRecord(name string, f showFlags) error {
	if f.json && f.page == "-" {
		return usage("--json and --page - both want standard output; give the page a file")
	}
	if f.trace == "-" {
		return usage("--trace - is not possible, standard output is for the result; give the trace a file")
	}
	if err := checkWidth(f.width); err != nil {
		return err
	}
	id, err := record.ParseID(strings.TrimPrefix(name, traceScheme))
	if err != nil {
		return usage("%v", err)
	}
	s, err := a.standingStore()
	if err != nil {
		return err
	}
	defer a.close(s)
	rec, err := s.Get(id)
	if err != nil {
		return err
	}
	if f.trace != "" {
		if err := writeFile(f.trace, rec.Trace); err != nil {
			return err
		}
	}
	if f.files != "" {
		if err := a.writeFiles(rec, f.files); err != nil {
			return err
		}
	}
	head, proof := proved(s, rec.ID)
	if rec.Result == nil {
		return a.showUnjudged(rec, f, head, proof)
	}
	in, err := a.inputOfRecord(rec)
	if err != nil {
		return err
	}
	if page := s.PagePath(rec.ID); f.page == "" {
		if _, err := os.Stat(page); err == nil {
			in.Page = page
		}
	} else if err := writePage(a.stdout, &in, f.page, writeFile); err != nil {
		return err
	}
	if f.json {
		return writeJSON(a.stdout, recordObjectOf(rec, in, head, proof))
	}
	if f.page == "-" {
		return nil
	}
	in.TracePath = a.showTrace(rec.ID)
	if err := tell(a.stdout, in, false, false, a.textOptions(f.width, f.ascii)); err != nil {
		return err
	}
	return a.writeLines(aboutRecord(rec, head, proof, f.width))
}

// writeFiles writes a record's files into a folder, byte for byte. None that is
// there is written over, but for one that is the same already.
func (a *app) writeFiles(rec *record.Record, folder string) error {
	if len(rec.Files) == 0 {
		fmt.Fprintf(a.stderr, "dutybench: record %s has no files.\n", rec.ID)
		return nil
	}
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return fmt.Errorf("the folder for the files cannot be made: %w", err)
	}
	for _, f := range rec.Files { // whose names are plain, as Unseal has it
		path := filepath.Join(folder, f.Name)
		if was, err := os.ReadFile(path); err == nil && bytes.Equal(was, f.Data) {
			continue
		}
		if is, err := there(path); err != nil || is {
			return errors.Join(err, fmt.Errorf("%s is there already and was left as it is: give another folder with --files", path))
		}
		if err := writeFile(path, f.Data); err != nil {
			return err
		}
	}
	fmt.Fprintf(a.stderr, "%d files are in %s.\n", len(rec.Files), plot.Plain(folder))
	return nil
}

// inputOfRecord is a record that was judged, as reports want it.
func (a *app) inputOfRecord(rec *record.Record) (report.Input, error) {
	tr, err := trace.Read(bytes.NewReader(rec.Trace), traceName(rec.ID))
	if err != nil {
		return report.Input{}, err
	}
	var r result.Result
	if err := json.Unmarshal(rec.Result, &r); err != nil {
		return report.Input{}, fmt.Errorf("record %s: its result cannot be read: %w", rec.ID, err)
	}
	r.Record, r.Source = rec.ID.String(), traceName(rec.ID)
	in := inputOf(rec, r, tr)
	in.TracePath = traceCommand(rec.ID)
	if rec.Profile.Text != nil {
		if in.Profile, err = kinds.Parse(rec.Profile.Text, rec.Profile.Name); err != nil {
			fmt.Fprintln(a.stderr, "dutybench: the record's profile cannot be read by this program:", err)
		}
	}
	return in, nil
}

// showUnjudged shows the record of a test that broke off.
func (a *app) showUnjudged(rec *record.Record, f showFlags, head ledger.Head, proof error) error {
	if f.page != "" {
		return fmt.Errorf("record %s was not judged, so it has no page; %s judges what was measured", rec.ID, a.command("records judge %s", rec.ID))
	}
	if f.json {
		in := report.Input{Result: result.Result{Schema: result.Schema, Source: traceName(rec.ID), Unit: rec.At.Unit, Kind: rec.At.Kind, Record: rec.ID.String(),
			Profile: result.Profile{Name: rec.Profile.Name, Revision: rec.Profile.Revision, SHA256: rec.Profile.SHA256}}}
		in.Result = clean(in.Result)
		return writeJSON(a.stdout, recordObjectOf(rec, in, head, proof))
	}
	was := "was not judged"
	if rec.Interrupted {
		was = "broke off, as the program or its machine stopped, and was not judged"
	}
	var b strings.Builder
	width := f.width
	if width == 0 {
		width = textWidth
	}
	next := a.command("records judge %s", rec.ID) + " judges what was measured."
	if _, err := trace.Read(bytes.NewReader(rec.Trace), ""); err != nil && rec.Interrupted {
		next = "No row of it was on the disk by then."
	}
	fill(&b, "", fmt.Sprintf("The test of record %s %s. %s", rec.ID, was, next), 0, width)
	return a.writeLines(b.String() + aboutRecord(rec, head, proof, f.width))
}

// proved shows that a record stands in the log that its bench's newest head
// was signed for; an error says why it does not.
func proved(s *store.Store, id record.ID) (ledger.Head, error) {
	key, err := s.Key(id.Bench)
	if err != nil {
		return ledger.Head{}, err
	}
	h, err := s.Head(id.Bench)
	if err != nil {
		return h, err
	}
	if h, err = ledger.ParseHead(h.Signed, key); err != nil {
		return h, err
	}
	body, err := s.Body(id)
	if err != nil {
		return h, err
	}
	if int64(id.Seq) > h.Size {
		return h, errors.New("the newest head was signed before this record")
	}
	p, err := ledger.Inclusion(h.Size, id.Seq, s.Hashes(id.Bench))
	if err != nil {
		return h, err
	}
	return h, ledger.CheckInclusion(h, id.Seq, body, p)
}

func recordObjectOf(rec *record.Record, in report.Input, head ledger.Head, proof error) recordObject {
	o := recordObject{object: object{in.Result, in.Page}, When: rec.When.Format("2006-01-02T15:04:05.000Z07:00"), Interrupted: rec.Interrupted, Cancelled: rec.Cancelled,
		Circumstances: rec.At, Files: []fileObject{}, SHA256: rec.Hash, InLog: proof == nil}
	if rec.Workshop != (record.Workshop{}) {
		o.Workshop = &rec.Workshop
	}
	for _, f := range rec.Files {
		o.Files = append(o.Files, fileObject{f.Name, len(f.Data)})
	}
	if head.Size > 0 {
		o.Head = head.String()
	}
	return o
}
