package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"unicode/utf8"

	"dutybench/bench/plainfile"
	"dutybench/bench/record"
	"dutybench/bench/report"
	"dutybench/profiles/strict"
)

// workshopName is the file in a bench's folder that says who tests here.
const workshopName = "workshop.toml"

// workshopFile is what it holds.
type workshopFile struct {
	Name         string   `toml:"name,omitempty" comment:"stands at the head of every report"`
	Address      string   `toml:"address,omitempty" comment:"where the bench stands"`
	Contact      string   `toml:"contact,omitempty"`
	AuthorisedBy string   `toml:"authorised_by,omitempty" comment:"who answers for reports, when run is not told"`
	Automatic    []string `toml:"automatic,omitempty" oneof:"card.pdf|card.html|claim.pdf|claim.html" comment:"reports that run writes beside the page after each test"`
}

const workshopHeading = `# Who tests at this bench. Records take it over when they are made: what is
# changed here does not change records that are kept already.

`

// mostWorkshop is how long the file may be, in bytes (chosen, far beyond use).
const mostWorkshop = 1 << 20

// longestWorkshop is how long each text may be, in characters.
const longestWorkshop = 200

// Check refuses what no report could show.
func (w *workshopFile) Check(bad func(path []any, format string, args ...any)) {
	for key, s := range map[string]string{"name": w.Name, "address": w.Address, "contact": w.Contact, "authorised_by": w.AuthorisedBy} {
		if utf8.RuneCountInString(s) > longestWorkshop {
			bad([]any{key}, "%s is longer than %d characters: shorten it, it stands on every report", key, longestWorkshop)
		}
		if strings.ContainsFunc(s, func(r rune) bool { return r < ' ' }) {
			bad([]any{key}, "%s must be one line", key)
		}
	}
	for i, form := range w.Automatic {
		if slices.Contains(w.Automatic[:i], form) {
			bad([]any{"automatic", i}, "%s stands twice", form)
		}
	}
}

func workshopPath(folder string) string { return filepath.Join(folder, workshopName) }

// readWorkshop reads a bench's workshop; empty where nobody told any.
func readWorkshop(folder string) (w workshopFile, err error) {
	path := workshopPath(folder)
	data, err := plainfile.Read(path, mostWorkshop)
	if errors.Is(err, fs.ErrNotExist) {
		return w, nil
	}
	if err != nil {
		return w, fmt.Errorf("who the workshop is cannot be read: %w", err)
	}
	return w, (strict.Format{Package: "workshop", Thing: "workshop file"}).Decode(data, path, &w)
}

// write puts the file into a bench's folder, which is made when need be.
func (w *workshopFile) write(folder string) error {
	data, err := strict.Encode(workshopHeading, "", w)
	if err != nil {
		return err
	}
	var back workshopFile
	if err := (strict.Format{Package: "workshop", Thing: "workshop file"}).Decode(data, workshopName, &back); err != nil {
		return usage("%v", err)
	}
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return fmt.Errorf("the bench's folder cannot be made: %w", err)
	}
	return writeFile(workshopPath(folder), data)
}

// record is what records and reports take over.
func (w *workshopFile) record() record.Workshop {
	return record.Workshop{Name: w.Name, Address: w.Address, Contact: w.Contact}
}

// forms are the reports that are made by themselves.
func (w *workshopFile) forms() []reportForm {
	var out []reportForm
	for _, x := range reportForms() {
		if slices.Contains(w.Automatic, x.String()) {
			out = append(out, x)
		}
	}
	return out
}

// reportForm is a version of a report in a format.
type reportForm struct {
	version report.Version
	format  string
}

func reportForms() []reportForm {
	return []reportForm{{report.Card, "pdf"}, {report.Card, "html"}, {report.Claim, "pdf"}, {report.Claim, "html"}}
}

func (f reportForm) String() string { return string(f.version) + "." + f.format }

// file is the name of a record's report.
func (f reportForm) file(id record.ID) string { return id.String() + "-" + f.String() }

// beside is its path beside the record's page.
func (f reportForm) beside(page string) string {
	return strings.TrimSuffix(page, filepath.Ext(page)) + "-" + f.String()
}
