package report_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/record"
	"dutybench/bench/report"
	"dutybench/bench/result"
)

// However much a person typed, the card keeps verdict, cause and next step
// whole: what was typed gives way.
func TestCardKeepsTheNextStep(t *testing.T) {
	const said = "the current is too high, in proportion most at low speed: the rotor binds (the mechanics, probability over 99 %)"
	const step = "with the supply off, turn the rotor by hand and feel for drag; check the fluid is what the profile was learned with"
	long := strings.Repeat("The plug was cleaned, and nothing else was done to it. ", 13)
	k := keptOf(t, bindingPump(), func(r *record.Record) {
		judged(func(res *result.Result) {
			res.Sentence, res.NextStep = "Fail: "+said+". Next: "+step+".", step
			res.Warnings, res.Ended = []string{long}, long
		})(r)
		r.At.Notes, r.At.Complaint, r.At.PriorOpening, r.At.Lot, r.At.ReturnedBy = long, long, long, "L-1", "the driver"
	})
	d := composed(t, k, report.Card)
	v, ok := d.Blocks[0].(report.Verdict)
	require.True(t, ok)
	assert.Equal(t, "Fail", v.Word)
	assert.Equal(t, "T"+strings.ReplaceAll(said, " %", "\u00a0%")[1:]+".", strings.TrimSuffix(v.Sentence, ".")+".")
	assert.Equal(t, []report.Fact{{Key: "Cause (opinion)", Value: "mechanical, 93 %"}, {Key: "Next step", Value: "W" + step[1:] + "."}}, v.Acts)
	words := strings.Join(d.Texts(), "\n")
	assert.Equal(t, 3, strings.Count(words, "The plug was cleaned, and nothing else was done to it. The plug was cleaned, and nothing…"), "notes, complaint and prior opening give way first: %s", words)
	assert.Contains(t, words, "the claim version has them whole")
	assert.Len(t, pagesOf.FindAll(pdfOf(t, d), -1), 1)
}

// A test that was not judged has a next step too.
func TestCardAlwaysHasANextStep(t *testing.T) {
	for name, both := range renderedSamples(t) {
		v, ok := both[report.Card].doc.Blocks[0].(report.Verdict)
		require.True(t, ok)
		require.NotEmpty(t, v.Acts, name)
		assert.Equal(t, "Next step", v.Acts[len(v.Acts)-1].Key, name)
	}
}

// Who has not the bench's store is told what to ask for, and can know the
// bench's key again.
func TestReportsSayHowToCheckElsewhere(t *testing.T) {
	k := keptOf(t, goodPump(), nil)
	head := k.Head.String()
	claim := strings.Join(composed(t, k, report.Claim).Texts(), "\n")
	assert.Contains(t, claim, `dutybench records bundle k3v7q2m9xw-000042 --out FILE.zip --since "`+head+`"`)
	assert.Contains(t, claim, `dutybench records verify FILE.zip --head "`+head+`"`)
	assert.Contains(t, claim, benchFingerprint)
	card := strings.Join(composed(t, k, report.Card).Texts(), "\n")
	assert.Contains(t, card, `ask for a bundle: dutybench records bundle k3v7q2m9xw-000042 --out FILE.zip --since "HEAD"`)
	assert.Contains(t, card, `dutybench records verify FILE.zip --head "HEAD"`)
	assert.Contains(t, card, "fingerprint "+benchFingerprint)
	k.Head.Size, k.Key = 0, ""
	for _, v := range versions {
		words := strings.Join(composed(t, k, v).Texts(), "\n")
		assert.Contains(t, words, "dutybench records verify FILE.zip")
		assert.NotContains(t, words, "--since", "there is no head to give")
		assert.Contains(t, words, "not at hand when this report was made")
	}
}

// Wherever on a page it falls, a key stays with its words, and a line that
// leads to commands with them.
func TestPagesKeepTogetherWhatBelongsTogether(t *testing.T) {
	fact := report.Fact{Key: "Not part of the statement (not measured, or no limit)", Value: "warm drift and restarts"}
	lead, commands := "To check it:", []string{"the first command", "the second command"}
	for n := range 40 { // down to the end of a page, in steps of less than a line
		lines, remarks := 39+n/5, n%5*3
		d := &report.Document{Title: "T", Issuer: []string{"I"}, Foot: "F", End: "E"}
		for i := range lines {
			d.Blocks = append(d.Blocks, report.Words{Text: "x", Remark: i < remarks})
		}
		d.Blocks = append(d.Blocks, report.Facts{Items: []report.Fact{fact}}, report.Words{Text: lead}, report.Mono{Lines: commands})
		text := squeezed(pdfText(t, pdfOf(t, d)))
		assert.Contains(t, text, squeezed(fact.Key+fact.Value), "%d lines before, %d of them small", lines, remarks)
		assert.Contains(t, text, squeezed(lead+strings.Join(commands, "")), "%d lines before, %d of them small", lines, remarks)
	}
}

// A long note of an HTML report has the page's whole width.
func TestLongFactsHaveTheWholeWidth(t *testing.T) {
	k := keptOf(t, goodPump(), func(r *record.Record) { r.At.Notes = strings.Repeat("cleaned ", 40) })
	page := htmlOf(t, composed(t, k, report.Claim))
	assert.Contains(t, page, `<div class="long"><dt>Notes</dt>`)
	assert.Contains(t, page, `.columns > .long { grid-column: 1 / -1; }`)
	assert.Contains(t, page, `<div><dt>Serial</dt>`)
}
