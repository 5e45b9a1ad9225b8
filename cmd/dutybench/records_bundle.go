package main

import (
	"errors"
	"fmt"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"dutybench/bench/record"
	"dutybench/bench/record/bundle"
	"dutybench/bench/record/ledger"
	"dutybench/bench/record/store"
)

// bundleFlags are what goes into a bundle.
type bundleFlags struct {
	out              string
	since, keys      []string
	unit, claim, lot string
}

func newRecordsBundle(a *app) *cobra.Command {
	var f bundleFlags
	c := &cobra.Command{
		Use:   "bundle [ID...]",
		Short: "Write records with their proofs to one file that others can check",
		Long: `Bundle writes records to a zip file: what was tested, the traces, the findings,
the profile, photos, and the proof that each stands in the bench's log. Anybody
checks it on another machine with records verify FILE.zip, or by hand as its
README.txt says.

--since also proves that the log still begins with what an earlier head names:
a file from records head or records countersign, or the line off a report. Give
the head that the receiver has.

A bundle holds everything that was typed about these tests, names of people too.`,
		Example: `  dutybench records bundle 412 --out claim-4711.zip
  dutybench records bundle --claim 4711 --out claim-4711.zip --since signed.head --key desk.key.pub`,
		RunE: a.do(func(_ *cobra.Command, args []string) error { return a.bundleRecords(args, f) }),
	}
	fl := c.Flags()
	fl.StringVar(&f.out, "out", "", "the new `FILE` to write, ending in .zip")
	fl.StringArrayVar(&f.since, "since", nil, "`FILE` or line with an earlier head; may be repeated")
	fl.StringArrayVar(&f.keys, "key", nil, "`FILE` or public key of who countersigned that head; may be repeated")
	fl.StringVar(&f.unit, "unit", "", "all records of the unit of this `SERIAL`")
	fl.StringVar(&f.claim, "claim", "", "all records of the claim of this `NUMBER`")
	fl.StringVar(&f.lot, "lot", "", "all records of the lot of this `NAME`")
	return c
}

func (a *app) bundleRecords(args []string, f bundleFlags) error {
	filtered := f.unit != "" || f.claim != "" || f.lot != ""
	switch {
	case f.out == "":
		return usage("say where to: --out FILE.zip")
	case len(args) == 0 && !filtered:
		return usage("say which records: by name or number, or with --unit, --claim or --lot")
	case len(args) > 0 && filtered:
		return usage("name records, or pick them with --unit, --claim or --lot, not both")
	}
	if err := writable(f.out); err != nil {
		return err
	}
	keys, err := publicKeys(f.keys)
	if err != nil {
		return err
	}
	s, err := a.standingStore()
	if err != nil {
		return err
	}
	defer a.close(s)
	ids, err := pickRecords(s, args, f)
	if err != nil {
		return err
	}
	p := a.ticking("record")
	o := bundle.Options{Keys: keys, Progress: p.tick}
	for _, where := range f.since {
		text, err := headText(where)
		if err != nil {
			return err
		}
		h, err := ledger.Unverified(text)
		if err != nil {
			return err
		}
		o.Older = append(o.Older, h)
	}
	err = bundle.Save(f.out, s, ids, o)
	p.end()
	if err != nil {
		return err
	}
	key, err := s.Key(ids[0].Bench)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(a.stdout, "%s holds %s. Whoever checks it needs the bench's public key another way (records head --key); its fingerprint is %s.\n",
		f.out, records(len(ids)), ledger.Fingerprint(key))
	return err
}

// pickRecords is which records are meant, with whole names.
func pickRecords(s *store.Store, args []string, f bundleFlags) ([]record.ID, error) {
	var ids []record.ID
	for _, name := range args {
		id, err := record.ParseID(name)
		if err != nil {
			return nil, usage("%v", err)
		}
		r, err := s.Get(id) // gives a number alone its bench
		if err != nil {
			return nil, err
		}
		ids = append(ids, r.ID)
	}
	if len(args) > 0 {
		return ids, nil
	}
	entries, err := s.List(record.Filter{Unit: strings.TrimSpace(f.unit), Claim: strings.TrimSpace(f.claim), Lot: strings.TrimSpace(f.lot)})
	if err != nil {
		return nil, err
	}
	if len(entries) == 0 {
		return nil, errors.New("no record fits; look with records find")
	}
	for _, e := range entries {
		ids = append(ids, e.ID)
	}
	return ids, nil
}

// maxOutside bounds a file with a head or with keys, in bytes.
const maxOutside = 1 << 16

// headText reads a head from a file, or takes the line itself.
func headText(where string) ([]byte, error) {
	if strings.HasPrefix(strings.TrimSpace(where), ledger.Origin("")) && strings.Contains(where, " ") {
		return []byte(where), nil
	}
	return readOutside(where, "the head")
}

func readOutside(path, what string) ([]byte, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, fmt.Errorf("%s cannot be read: %w", what, err)
	}
	if !info.Mode().IsRegular() || info.Size() > maxOutside {
		return nil, fmt.Errorf("%s cannot be read from %s: it is no such file", what, path)
	}
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("%s cannot be read: %w", what, err)
	}
	return data, nil
}

// publicKeys reads public keys, each given itself or as a file with one a line.
func publicKeys(list []string) ([]string, error) {
	var out []string
	for _, where := range list {
		if _, err := ledger.KeyName(where); err == nil {
			out = append(out, strings.TrimSpace(where))
			continue
		}
		if strings.HasPrefix(where, "PRIVATE+") {
			_, err := ledger.KeyName(where) // says so without repeating it
			return nil, err
		}
		data, err := readOutside(where, "the key")
		if err != nil {
			return nil, err
		}
		n := len(out)
		for line := range strings.Lines(string(data)) {
			if line = strings.TrimSpace(line); line == "" {
				continue
			}
			if _, err := ledger.KeyName(line); err != nil {
				return nil, fmt.Errorf("%s: %w", where, err)
			}
			out = append(out, line)
		}
		if len(out) == n {
			return nil, fmt.Errorf("%s holds no public key", where)
		}
	}
	return out, nil
}
