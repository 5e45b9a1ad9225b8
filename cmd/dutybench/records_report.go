package main

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"dutybench/bench/kinds"
	"dutybench/bench/record"
	"dutybench/bench/record/store"
	"dutybench/bench/report"
)

// reportFlags are which report is made of a record.
type reportFlags struct {
	version, format, out, check string
	overwrite                   bool
	keys                        []string // for a bundle
}

func newRecordsReport(a *app) *cobra.Command {
	var f reportFlags
	c := &cobra.Command{
		Use: "report ID | report FILE.zip [ID]", Short: "Make a report of a record, to hand over: one page, or all of it",
		Long: `Report makes a report from what the record holds, and from nothing else. The
card is one page for the job card. The claim holds what ISO/IEC 17025 asks of a
test report, with curve, evidence, uncertainties, photos, and the head of the
bench's log. No report is issued under accreditation.

The file is written where you are, under the record's name, unless --out says
otherwise; one that is there is not written over without --overwrite. Who the workshop is, dutybench workshop set tells; a record holds what
was told when it was made.

FILE.zip is a bundle, as records bundle makes it: it is verified first, and its
record reported, or the one that is named. No store is needed. With the bench's
public key, --key, somebody else than the bundle vouches for it.

--check compares the code on a report with the record that is kept here, or that
is in the bundle, and makes none.`,
		Example: `  dutybench records report 12
  dutybench records report 12 --version claim
  dutybench records report 12 --version claim --format html --out -
  dutybench records report claim-4711.zip --version claim --key bench.key.pub
  dutybench records report 12 --check 4OYM-IQUY-7QOB-JGX3-6TEJ`,
		Args: func(c *cobra.Command, args []string) error {
			if path, rest := fromBundle(args); path != "" && len(rest) == 0 {
				return nil
			} else if path != "" {
				return one("record of the bundle, by its name or number")(c, rest)
			}
			return one("record, by its name or number, or a bundle")(c, args)
		},
		RunE: a.do(func(c *cobra.Command, args []string) error {
			path, rest := fromBundle(args)
			if path == "" && len(f.keys) > 0 {
				return usage("--key is for a bundle; name one")
			}
			if c.Flags().Changed("check") {
				for _, other := range []string{"version", "format", "out", "overwrite"} {
					if c.Flags().Changed(other) {
						return usage("--check makes no report; leave --%s out", other)
					}
				}
				return a.withRecord(path, rest, f.keys, func(k *report.Kept) error { return a.checkReport(k.Record, f.check) })
			}
			return a.makeReport(path, rest, f)
		}),
	}
	fl := c.Flags()
	fl.StringVar(&f.version, "version", string(report.Card), "`VERSION`: card, one page, or claim, all of it")
	fl.StringVar(&f.format, "format", "pdf", "`FORMAT`: pdf or html")
	fl.StringVar(&f.out, "out", "", "write to `FILE`, - for standard output")
	fl.BoolVar(&f.overwrite, "overwrite", false, "write over a file that is there")
	keyFlag(c, &f.keys)
	fl.StringVar(&f.check, "check", "", "compare the verification `CODE` of a report with the record")
	return c
}

func (f reportFlags) form() (reportForm, error) {
	for _, x := range reportForms() {
		if x.String() == f.version+"."+f.format {
			return x, nil
		}
	}
	return reportForm{}, usage("--version %s --format %s: the version is card or claim, the format pdf or html", f.version, f.format)
}

func (a *app) makeReport(bundlePath string, names []string, f reportFlags) error {
	form, err := f.form()
	if err != nil {
		return err
	}
	return a.withRecord(bundlePath, names, f.keys, func(k *report.Kept) error {
		path := cmp.Or(f.out, form.file(k.Record.ID))
		to, err := openExport(path, a.stdout, f.overwrite)
		if err != nil {
			return err
		}
		defer to.abandon()
		data, err := a.compose(k, form)
		if err != nil {
			return err
		}
		a.tellUnstated(k.Record)
		if _, err := to.Write(data); err != nil {
			return fmt.Errorf("writing the report: %w", err)
		}
		if err := to.finish(); err != nil || path == "-" {
			return err
		}
		if _, err := fmt.Fprintln(a.stdout, path); err != nil {
			return fmt.Errorf("writing the report's name: %w", err)
		}
		return nil
	})
}

// tellUnstated says which of what a report should state nobody had told when
// the record was made, and how to tell it.
func (a *app) tellUnstated(rec *record.Record) {
	var not []string
	for _, x := range [][2]string{{"workshop", rec.Workshop.Name}, {"address", rec.Workshop.Address}, {"contact", rec.Workshop.Contact}, {"authorised by", rec.At.AuthorisedBy}} {
		if x[1] == "" {
			not = append(not, x[0])
		}
	}
	if len(not) > 0 {
		fmt.Fprintf(a.stderr, "dutybench: not stated on the report: %s; %s sets it for the tests to come\n", strings.Join(not, ", "), a.command("workshop set"))
	}
}

// checkReport compares the code that stands on a report with a record.
func (a *app) checkReport(rec *record.Record, code string) error {
	if !report.IsCode(code, rec.Hash) {
		return fmt.Errorf("record %s has the code %s, not %q: the report is of another record, or one of the two was changed; %s tells whether the store was",
			rec.ID, report.Code(rec.Hash), code, a.command("records verify"))
	}
	if _, err := fmt.Fprintf(a.stdout, "The code is that of record %s as it is kept here.\n", rec.ID); err != nil {
		return fmt.Errorf("writing what was found: %w", err)
	}
	return nil
}

// withRecord gets one record, from the store or from a bundle, of which it says
// who vouches for it. A bundle of one record needs no name.
func (a *app) withRecord(path string, names, keys []string, f func(*report.Kept) error) error {
	for _, n := range names {
		if _, err := record.ParseID(n); err != nil {
			return usage("%v", err)
		}
	}
	if path == "" {
		s, err := a.standingStore()
		if err != nil {
			return err
		}
		defer a.close(s)
		id, _ := record.ParseID(names[0])
		k, err := a.keptIn(s, id)
		if err != nil {
			return err
		}
		return f(k)
	}
	b, err := a.openBundle(path, keys)
	if err != nil {
		return err
	}
	defer a.close(b)
	switch {
	case len(names) > 0:
	case len(b.Records) == 1:
		names = b.names()
	default:
		return usage("%s holds %s; say which: %s", path, records(len(b.Records)), b.listed())
	}
	rec, err := b.get(names[0])
	if err != nil {
		return err
	}
	var says strings.Builder
	fill(&says, "", b.vouched(), 0, textWidth)
	fmt.Fprint(a.stderr, says.String())
	// Verify has proved that it stands in the log of this head.
	return f(&report.Kept{Record: rec, Head: b.Head, Key: b.Key})
}

// keptIn is a record of a store, with the head of the log that it was proved to
// stand in.
func (a *app) keptIn(s *store.Store, id record.ID) (*report.Kept, error) {
	rec, err := s.Get(id)
	if err != nil {
		return nil, err
	}
	k := &report.Kept{Record: rec}
	if head, err := proved(s, rec.ID); err == nil {
		k.Head = head
		if k.Key, err = s.Key(rec.ID.Bench); err != nil {
			fmt.Fprintf(a.stderr, "dutybench: the report bears no fingerprint of the bench's key, which cannot be read: %v\n", err)
		}
	} else {
		fmt.Fprintf(a.stderr, "dutybench: the report bears no head of the log, as record %s could not be proved to stand in it: %v; %s tells more\n", rec.ID, err, a.command("records verify"))
	}
	return k, nil
}

// compose makes a report of a record.
func (a *app) compose(k *report.Kept, form reportForm) (_ []byte, err error) {
	k.Issued, k.Program = a.now(), program()
	k.Wet, k.Cautions = kindFacts(k.Record.At.Kind)
	if rec := k.Record; rec.Profile.Text != nil {
		if k.Profile, err = kinds.Parse(rec.Profile.Text, rec.Profile.Name); err != nil {
			fmt.Fprintln(a.stderr, "dutybench: the record's profile cannot be read by this program:", err)
		}
	}
	d, err := report.Compose(*k, form.version)
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	if form.format == "html" {
		err = d.HTML(&b)
	} else {
		err = d.PDF(&b)
	}
	return b.Bytes(), err
}

// automaticReports makes the reports that workshop.toml asks for after each
// test, beside the record's page, and gives their paths.
func (a *app) automaticReports(s *store.Store, id record.ID) (paths []string, err error) {
	w, err := readWorkshop(s.Folder())
	if err != nil {
		return nil, err
	}
	for _, form := range w.forms() {
		path := form.beside(s.PagePath(id))
		k, e := a.keptIn(s, id)
		if e == nil {
			var data []byte
			if data, e = a.compose(k, form); e == nil {
				e = writeOwn(path, data)
			}
		}
		if e != nil {
			err = errors.Join(err, fmt.Errorf("record %s is kept, but its report %s is not: %w", id, form, e))
			continue
		}
		paths = append(paths, path)
	}
	return paths, err
}
