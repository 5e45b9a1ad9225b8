package report_test

import (
	"encoding/json"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/record"
	"dutybench/bench/report"
	"dutybench/bench/result"
)

func TestWorded(t *testing.T) {
	for in, want := range map[string]string{
		"repeat the test whole (--full).":                                  "repeat the test whole.",
		"bleed the loop and repeat, saying so (--primed): what stays":      "bleed the loop and repeat, saying so: what stays",
		"test it with --soak":                                              "test it with a soak",
		"--full runs the whole plan":                                       "full runs the whole plan",
		"known to 6e+02 % only, which is wider than good units spread":     "not known to better than 600\u00a0%, which is wider than good units spread",
		"Known to 0.2 A only.":                                             "Not known to better than 0.2 A.",
		"moved by 1.5e-05 A":                                               "moved by 0.000015 A",
		"1e+300 A, unit 12e4x, A--full, 3 - 2, well-known, nothing to say": "1e+300 A, unit 12e4x, A--full, 3 - 2, well-known, nothing to say",
		"": "",
	} {
		assert.Equal(t, want, report.Worded(in), in)
	}
}

func TestUncertaintiesAsPeopleWriteThem(t *testing.T) {
	for want, u := range map[string]float64{"0.0026 A": 0.0026, "under 0.00001 A": 5.2e-6, "over a million A": 3e7, "0 A": 0, "24 A": 24} {
		assert.Equal(t, want, report.PartWords(u, "A"))
	}
	assert.Equal(t, "3.87", report.Freedom(3.87))
	assert.Equal(t, "many", report.Freedom(1.38e7))
}

// judged is a sample whose result was changed.
func judged(change func(*result.Result)) func(*record.Record) {
	return func(r *record.Record) {
		var res result.Result
		_ = json.Unmarshal(r.Result, &res)
		change(&res)
		r.Result, _ = json.Marshal(res)
	}
}

// Flags of the program stand on no page that a customer gets.
func TestNoFlagsOnPages(t *testing.T) {
	flagged := func(r *result.Result) {
		r.Sentence = "Fail: the loop is dry. Next: bleed the loop and repeat, saying so (--primed)."
		r.NextStep, r.Disproof, r.Ended, r.Early = "repeat (--primed)", "a pass with --soak", "the operator ended it (--attended)", "the rest would change nothing (--full)"
		r.Warnings, r.NotTested, r.Reusable = []string{"test it with --soak"}, []string{"hot running (--soak)"}, []string{"board (--full)"}
		r.Findings[0].Note, r.Checks[0].Sentence, r.Risk.Rule = "a soak (--soak) shows it", "look (--primed)", "guarded (--purpose)"
		r.Causes[0].For, r.Causes[0].Against = []string{"without --primed"}, []string{"with --primed"}
	}
	k := keptOf(t, bindingPump(), judged(flagged))
	for _, v := range versions {
		for _, s := range composed(t, k, v).Texts() {
			if !strings.Contains(s, "dutybench records ") { // commands are for who has the program
				assert.NotContains(t, s, "--", "%s", v)
			}
		}
	}
	in := bindingPump()
	in.Result.Checks, in.Result.Risk = []result.Check{{}}, &result.Risk{}
	in.Result.Causes = []result.CauseProbability{{Cause: result.Mechanical, Probability: 1}}
	flagged(&in.Result)
	var b strings.Builder
	require.NoError(t, report.Page(&b, in))
	assert.NotRegexp(t, `--[a-z]`, tags.ReplaceAllString(b.String(), ""))
	assert.Contains(t, in.Result.Sentence, "(--primed)", "what was given stays as it is")
}

// What speaks for, or against, every cause is said once.
func TestCommonEvidenceIsSaidOnce(t *testing.T) {
	k := keptOf(t, bindingPump(), judged(func(r *result.Result) {
		r.Causes = []result.CauseProbability{
			{Cause: result.Mechanical, Probability: 0.6, For: []string{"unrest 4 %", "the rotor binds"}, Against: []string{"missing command"}},
			{Cause: result.ControlBoard, Probability: 0.3, For: []string{"unrest 4 %"}, Against: []string{"missing command"}},
			{Cause: result.Wiring, Probability: 0.1, For: []string{"unrest 4 %", "a resistance"}, Against: []string{"missing command", "steady"}},
		}
	}))
	all := htmlOf(t, composed(t, k, report.Claim))
	assert.Equal(t, 3, strings.Count(all, "<td>nothing else</td>"))
	page := htmlText(all)
	for _, once := range []string{"unrest 4\u00a0%", "missing command", "Speaks for each of these causes: unrest", "Speaks against each of these causes: missing command."} {
		assert.Equal(t, 1, strings.Count(page, once), once)
	}
	one := keptOf(t, bindingPump(), judged(func(r *result.Result) {
		r.Causes = []result.CauseProbability{{Cause: result.Mechanical, Probability: 1, For: []string{"unrest"}}}
	}))
	assert.NotContains(t, htmlText(htmlOf(t, composed(t, one, report.Claim))), "each of these causes")
}
