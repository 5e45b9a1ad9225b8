package main

import (
	"strings"
	"time"

	"github.com/spf13/cobra"

	"dutybench/bench/record"
	"dutybench/bench/result"
)

// filterFlags pick records.
type filterFlags struct {
	record.Filter
	verdict, cause, since, before string
}

// add defines the flags.
func (f *filterFlags) add(c *cobra.Command) {
	fl := c.Flags()
	for _, t := range []struct {
		to         *string
		name, says string
	}{
		{&f.Bench, "bench", "by the bench of this `KEY` word, the first part of a record's name"},
		{&f.Unit, "unit", "of the unit of this `SERIAL`"},
		{&f.Kind, "kind", "of units of this `KIND`, such as pump"},
		{&f.Filter.Profile, "profile", "judged against the profile of this `NAME`"},
		{&f.verdict, "verdict", "that came out as `VERDICT`: pass, fail or undecided"},
		{&f.cause, "cause", "with this `CAUSE`: control-board, mechanical, electrical, hydraulic, wiring or bench"},
		{&f.Purpose, "purpose", "made for this `PURPOSE`, such as return"},
		{&f.PartNumber, "part-number", "of units with this part `NUMBER`"},
		{&f.Revision, "revision", "of units with this `REVISION`"},
		{&f.DateCode, "date-code", "of units with this date `CODE`"},
		{&f.Complaint, "complaint", "with exactly this complaint, in `WORDS`"},
		{&f.Claim, "claim", "of the claim of this `NUMBER`"},
		{&f.Order, "order", "of the job or order of this `NUMBER`"},
		{&f.Customer, "customer", "of the customer of this `NAME`"},
		{&f.Seal, "seal", "of the unit with the seal of this `NUMBER`"},
		{&f.Lot, "lot", "of the lot of this `NAME`"},
		{&f.Operator, "operator", "of tests run by `NAME`"},
		{&f.Rig, "rig", "of tests on the rig of this `NAME`"},
		{&f.Person, "person", "that `NAME` received, opened, returned or tested"},
		{&f.Words, "words", "with `WORDS` in their notes, complaint or prior opening"},
		{&f.since, "since", "made on this `DATE` or later, such as 2026-11-26"},
		{&f.before, "before", "made before this `DATE`"},
	} {
		fl.StringVar(t.to, t.name, "", "only those "+t.says)
	}
	fl.BoolVar(&f.Interrupted, "interrupted", false, "only those of tests that broke off")
	fl.IntVar(&f.Limit, "limit", 0, "`N` records at most, the newest")
}

// filter is what the flags pick.
func (f *filterFlags) filter() (record.Filter, error) {
	out := f.Filter
	for _, t := range []*string{&out.Unit, &out.PartNumber, &out.Claim, &out.Order, &out.Seal, &out.Lot, &out.DateCode} {
		*t = strings.TrimSpace(*t) // a scanner ends with a blank
	}
	switch v := result.Verdict(f.verdict); v {
	case "", result.Pass, result.Fail, result.Undecided:
		out.Verdict = v
	default:
		return out, usage("--verdict %q: it is pass, fail or undecided", f.verdict)
	}
	if f.cause != "" {
		var names []string
		for _, c := range result.Causes() {
			names = append(names, string(c))
			if string(c) == f.cause {
				out.Cause = c
			}
		}
		if out.Cause == "" {
			return out, usage("--cause %q: it is one of %s", f.cause, strings.Join(names, ", "))
		}
	}
	var err error
	if out.Since, err = dateFlag("since", f.since); err != nil {
		return out, err
	}
	if out.Before, err = dateFlag("before", f.before); err != nil {
		return out, err
	}
	if out.Limit < 0 {
		return out, usage("--limit %d: give a number above 0, or leave it out", out.Limit)
	}
	return out, nil
}

// dateFlag reads a date, whose day begins by the local clock, or a whole time.
func dateFlag(flag, s string) (time.Time, error) {
	if s == "" {
		return time.Time{}, nil
	}
	if t, err := time.ParseInLocation(time.DateOnly, s, time.Local); err == nil {
		return t, nil
	}
	if t, err := time.Parse(time.RFC3339, s); err == nil {
		return t, nil
	}
	return time.Time{}, usage("--%s %q is no date: write it as 2026-11-26, or with a time as 2026-11-26T14:30:00+01:00", flag, s)
}
