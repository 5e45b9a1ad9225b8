package main

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"dutybench/bench/record"
)

func newRecordsFind(a *app) *cobra.Command {
	var f filterFlags
	var asJSON bool
	c := &cobra.Command{
		Use:   "find [WORD...]",
		Short: "Find records by what is known of the unit, newest last",
		Long: `Find lists the records that all flags fit. Texts must be equal but for capitals.

A WORD is looked for in serial, part number, date code, seal, claim, order, lot,
customer and the names of people, as a whole, and anywhere in notes, complaint
and prior opening; it may be a record's own name too. Where nothing is found so,
it is looked for as a part of any of these, and of fixture, fluid and how the
customer is reached, and a number is also a record's. Several words must all be
found.`,
		Example: `  dutybench records find A17
  dutybench records find müller "runs on"
  dutybench records find --cause control-board --date-code 2431
  dutybench records find --customer "Depot 4" --since 2026-01-01 "runs on"`,
		RunE: a.do(func(c *cobra.Command, args []string) error { return a.findRecords(f, args, asJSON, c.Flags().NFlag()) }),
	}
	f.add(c)
	c.Flags().BoolVar(&asJSON, "json", false, "print one JSON object a line")
	return c
}

func (a *app) findRecords(f filterFlags, words []string, asJSON bool, flags int) error {
	if len(words) == 0 && flags == 0 {
		return usage("say what to look for: a word, or a flag such as --unit; records list shows all")
	}
	if len(words) == 0 {
		return a.listRecords(f, asJSON)
	}
	filter, err := f.filter()
	if err != nil {
		return err
	}
	store, err := a.standingStore()
	if err != nil {
		return err
	}
	defer a.close(store)
	found, err := findWords(store, filter, words)
	if err == nil && len(found) == 0 {
		err = a.patiently("Looking through every record", func() (err error) {
			found, err = findParts(store, filter, words)
			return err
		})
		if len(found) > 0 {
			fmt.Fprintln(a.stderr, "Nothing is called that; these hold it as a part, or are of that number.")
		}
	}
	if err != nil {
		return err
	}
	if filter.Limit > 0 && len(found) > filter.Limit {
		found = found[len(found)-filter.Limit:]
	}
	for _, id := range found {
		body, err := store.Body(id)
		if err != nil {
			return err
		}
		e, err := record.EntryOf(body)
		if err != nil {
			return err
		}
		if err := writeEntry(a.stdout, &e, asJSON); err != nil {
			return err
		}
	}
	if len(found) == 0 {
		a.nothingFound(filter, words, store)
	}
	return nil
}

// findWords names the records in which every word stands somewhere, in their
// order. Names alone, as many records may be found.
func findWords(l keeping, f record.Filter, words []string) ([]record.ID, error) {
	f.Limit = 0
	var found map[record.ID]bool
	for _, w := range words {
		one, err := findWord(l, f, w)
		if err != nil {
			return nil, err
		}
		if strings.Contains(w, "-") {
			if id, ok := numbered(l, f, w); ok {
				one[id] = true
			}
		}
		for id := range found {
			if !one[id] {
				delete(found, id)
			}
		}
		if found == nil {
			found = one
		}
	}
	return slices.SortedFunc(maps.Keys(found), func(x, y record.ID) int {
		return cmp.Or(cmp.Compare(x.Bench, y.Bench), cmp.Compare(x.Seq, y.Seq))
	}), nil
}

// keeping is a store, as find uses it.
type keeping interface {
	lister
	Body(record.ID) ([]byte, error)
}

// numbered is the record that a word names itself, where the flags fit it.
func numbered(l keeping, f record.Filter, word string) (record.ID, bool) {
	id, err := record.ParseID(strings.TrimPrefix(word, traceScheme))
	if err != nil {
		return id, false
	}
	body, err := l.Body(id)
	if err != nil {
		return id, false
	}
	e, err := record.EntryOf(body)
	if err != nil {
		return id, false
	}
	f.Limit = 0
	if f == (record.Filter{}) {
		return e.ID, true
	}
	// Of one moment there are few.
	fits := false
	f.Since, f.Before = later(f.Since, e.When), earlier(f.Before, e.When.Add(time.Millisecond))
	_, err = eachEntry(l, f, func(x *record.Entry) error { fits = fits || x.ID == e.ID; return nil })
	return e.ID, err == nil && fits
}

// later is the later of a bound, where there is one, and a time.
func later(bound, t time.Time) time.Time {
	if bound.After(t) {
		return bound
	}
	return t
}

// earlier is the earlier of a bound, where there is one, and a time.
func earlier(bound, t time.Time) time.Time {
	if !bound.IsZero() && bound.Before(t) {
		return bound
	}
	return t
}

// findParts names the records of which every word is a part of something that
// was told, or their number, in their order. It reads them all.
func findParts(l lister, f record.Filter, words []string) (out []record.ID, err error) {
	f.Limit = 0
	numbers := make([]int, len(words)) // as which the words can be read; 0: none
	for i, w := range words {
		if id, err := record.ParseID(w); err == nil && id.Bench == "" {
			numbers[i] = id.Seq
		}
	}
	_, err = eachEntry(l, f, func(e *record.Entry) error {
		told := strings.ToLower(toldOf(e))
		for i, w := range words {
			if numbers[i] != e.ID.Seq && !strings.Contains(told, strings.ToLower(w)) {
				return nil
			}
		}
		out = append(out, e.ID)
		return nil
	})
	return out, err
}

// toldOf is all that was told of a unit, a line each.
func toldOf(e *record.Entry) string {
	at := &e.At
	return strings.Join([]string{at.Unit, at.PartNumber, at.DateCode, at.Seal, at.Claim, at.Order, at.Lot, at.Customer, at.CustomerContact,
		at.Operator, at.ReceivedBy, at.OpenedBy, at.ReturnedBy, at.AuthorisedBy, at.Fixture, at.Fluid, at.Filling,
		at.Notes, at.Complaint, at.PriorOpening}, "\n")
}

// findWord looks for a word wherever it may stand.
func findWord(l lister, f record.Filter, word string) (map[record.ID]bool, error) {
	out := map[record.ID]bool{}
	for _, at := range []func(*record.Filter) *string{
		func(f *record.Filter) *string { return &f.Unit },
		func(f *record.Filter) *string { return &f.PartNumber },
		func(f *record.Filter) *string { return &f.DateCode },
		func(f *record.Filter) *string { return &f.Seal },
		func(f *record.Filter) *string { return &f.Claim },
		func(f *record.Filter) *string { return &f.Order },
		func(f *record.Filter) *string { return &f.Lot },
		func(f *record.Filter) *string { return &f.Customer },
		func(f *record.Filter) *string { return &f.Person },
		func(f *record.Filter) *string { return &f.Words },
	} {
		g := f
		if *at(&g) != "" && *at(&g) != word {
			continue // the flag asks for another already
		}
		*at(&g) = word
		if _, err := eachEntry(l, g, func(e *record.Entry) error { out[e.ID] = true; return nil }); err != nil {
			return nil, err
		}
	}
	return out, nil
}
