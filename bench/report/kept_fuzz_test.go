package report_test

import (
	"encoding/json"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"dutybench/bench/record"
	"dutybench/bench/report"
	"dutybench/bench/result"
)

// typedEverywhere puts a text wherever a record holds one.
func typedEverywhere(s string) func(*record.Record) {
	return func(r *record.Record) {
		at := &r.At
		for _, p := range []*string{&at.Unit, &at.Kind, &at.Operator, &at.Fixture, &at.Fluid, &at.Notes, &at.PartNumber, &at.Revision, &at.DateCode,
			&at.Complaint, &at.Claim, &at.Order, &at.Customer, &at.CustomerContact, &at.Seal, &at.PriorOpening, &at.ReceivedBy, &at.Received, &at.OpenedBy, &at.ReturnedBy,
			&at.AuthorisedBy, &at.Lot, &at.Filling, &r.Workshop.Name, &r.Workshop.Address, &r.Workshop.Contact, &r.ClockDoubt, &r.Purpose, &r.Program,
			&r.Rig.Name, &r.Calibration, &r.Profile.Name} {
			*p = s
		}
		r.Rig.Facts = []record.Fact{{Key: s, Value: s}}
		var res result.Result
		_ = json.Unmarshal(r.Result, &res)
		res.Sentence, res.NextStep, res.Unit, res.Kind, res.Ended, res.Early, res.Disproof, res.SeparatedBy = s, s, s, s, s, s, s, s
		res.Warnings, res.NotTested, res.Reusable, res.Carried = []string{s, s}, []string{s}, []string{s}, []string{s}
		for i := range res.Findings {
			f := &res.Findings[i]
			f.Name, f.Note, f.Unit, f.Result = s, s, s, result.Failed
		}
		for i := range res.Checks {
			res.Checks[i].Name, res.Checks[i].Sentence, res.Checks[i].Unit = s, s, s
		}
		for i := range res.Causes {
			res.Causes[i].Cause, res.Causes[i].For = result.Cause(s), []string{s}
		}
		r.Result, _ = json.Marshal(res)
	}
}

// Whatever is typed, a card is one page and nothing of it becomes a tag.
func FuzzReports(f *testing.F) {
	for _, s := range []string{"", "W", strings.Repeat("W", 500), strings.Repeat("ab ", 900), hostile, "\u202e\u0000</script>", "…", strings.Repeat("\U0001F600", 99), "a\u00a0b", "()\\"} {
		f.Add(s)
	}
	small := bindingPump()
	small.Trace = sampleTrace("S", nil)
	f.Fuzz(func(t *testing.T, s string) {
		if len(s) > 4000 {
			t.Skip("long texts are among the samples")
		}
		k := keptOf(t, small, typedEverywhere(s))
		card := composed(t, k, report.Card)
		require.Len(t, regexp.MustCompile(`/Type /Page\n`).FindAll(pdfOf(t, card), -1), 1)
		for _, page := range []string{htmlOf(t, card), htmlOf(t, composed(t, k, report.Claim))} {
			require.NotContains(t, strings.ToLower(page), "<script")
			require.Equal(t, strings.Count(page, "<section"), strings.Count(page, "</section>"))
			require.Equal(t, 1, strings.Count(page, "</html>"))
		}
		pdfOf(t, composed(t, k, report.Claim))
	})
}
