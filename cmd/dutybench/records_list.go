package main

import (
	"fmt"
	"io"
	"slices"

	"github.com/spf13/cobra"

	"dutybench/bench/plot"
	"dutybench/bench/record"
	"dutybench/bench/record/store"
)

func newRecordsList(a *app) *cobra.Command {
	var f filterFlags
	var asJSON bool
	c := &cobra.Command{
		Use: "list", Short: "List the records, newest last",
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) > 0 {
				return usage("list takes no argument %q; records find looks for words", args[0])
			}
			return nil
		},
		RunE: a.do(func(*cobra.Command, []string) error { return a.listRecords(f, asJSON) }),
	}
	f.add(c)
	c.Flags().BoolVar(&asJSON, "json", false, "print one JSON object a line")
	return c
}

func (a *app) listRecords(f filterFlags, asJSON bool) error {
	filter, err := f.filter()
	if err != nil {
		return err
	}
	s, err := a.standingStore()
	if err != nil {
		return err
	}
	defer a.close(s)
	n, err := eachEntry(s, filter, func(e *record.Entry) error { return writeEntry(a.stdout, e, asJSON) })
	if n == 0 && err == nil {
		a.nothingFound(filter, nil, s)
	}
	return err
}

// lister gives entries.
type lister interface {
	List(record.Filter) ([]record.Entry, error)
}

// atOnce is how many entries are in memory at a time.
const atOnce = 2000

// eachEntry hands entries on, newest last, and says how many there were.
func eachEntry(l lister, f record.Filter, to func(*record.Entry) error) (n int, err error) {
	if f.Limit > 0 { // the newest, in the order of their time all the same
		f.Newest = true
		entries, err := l.List(f)
		slices.Reverse(entries)
		for i := range entries {
			if err := to(&entries[i]); err != nil {
				return n, err
			}
			n++
		}
		return n, err
	}
	for f.Limit = atOnce; ; f.Skip += atOnce {
		entries, err := l.List(f)
		for i := range entries {
			if err := to(&entries[i]); err != nil {
				return n, err
			}
			n++
		}
		if err != nil || len(entries) < atOnce {
			return n, err
		}
	}
}

// nothingFound says so: of words that were looked for, or of a filter.
func (a *app) nothingFound(f record.Filter, words []string, store *store.Store) {
	if f == (record.Filter{}) && len(words) == 0 {
		fmt.Fprintf(a.stderr, "No records yet in %s.\n", placeName(store))
		return
	}
	fmt.Fprintln(a.stderr, "No record is like that.")
}

// writeEntry writes a record's line.
func writeEntry(w io.Writer, e *record.Entry, asJSON bool) error {
	if asJSON {
		return writeJSON(w, entryObjectOf(e))
	}
	profile := plot.Plain(e.Profile.Name)
	if simulated(e.Rig) {
		profile += "  simulated"
	}
	if _, err := fmt.Fprintf(w, "%s  %s  %-9s %-13s %s  %s\n", e.ID, e.When.Local().Format("2006-01-02 15:04"),
		cameTo(e), dash(string(e.Cause)), dash(plot.Plain(e.At.Unit)), profile); err != nil {
		return fmt.Errorf("writing the list: %w", err)
	}
	return nil
}

// cameTo is what a test came to, in a word or two: one that did not come to its
// end is never plainly undecided.
func cameTo(e *record.Entry) string {
	switch {
	case e.Interrupted:
		return "broke off"
	case e.Cancelled:
		return "cancelled"
	case e.Verdict == "":
		return "not judged"
	}
	return string(e.Verdict)
}

func dash(s string) string {
	if s == "" {
		return "-"
	}
	return s
}
