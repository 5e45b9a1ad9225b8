package report_test

import (
	"bytes"
	"errors"
	"html"
	"image"
	"image/jpeg"
	"math/rand/v2"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/plot/pdf"
	"dutybench/bench/record"
	"dutybench/bench/report"
)

var versions = []report.Version{report.Card, report.Claim}

// pagesOf finds the pages of a PDF.
var pagesOf = regexp.MustCompile(`/Type /Page\n`)

var tags = regexp.MustCompile(`(?s)<style>.*?</style>|<svg.*?</svg>|<[^>]*>`)

// htmlText is the words of a page, without those of its figures.
func htmlText(page string) string { return html.UnescapeString(tags.ReplaceAllString(page, " ")) }

// footers are left out of what a PDF says, as they fall between its lines.
func withoutFooters(d *report.Document, text string) string {
	text = strings.ReplaceAll(squeezed(text), squeezed(d.Foot), "")
	return regexp.MustCompile(`page\d+of\d+`).ReplaceAllString(text, "")
}

func TestPDFAndHTMLSayTheSame(t *testing.T) {
	for name, both := range renderedSamples(t) {
		for v, r := range both {
			d := r.doc
			page, file := squeezed(htmlText(r.page)), withoutFooters(d, pdfText(t, r.pdf))
			for _, s := range d.Texts() {
				assert.Contains(t, page, squeezed(s), "%s %s, HTML", name, v)
				if name == "hostile" {
					continue // rows of tables go over pages, and heads stand between their lines
				}
				shown, lacking := pdf.Shown(s)
				assert.Zero(t, lacking)
				assert.Contains(t, file, squeezed(shown), "%s %s, PDF", name, v)
			}
		}
	}
}

// Each item that ISO/IEC 17025:2017 asks of a test report has its place in
// the claim version: clause and letter, and what must stand there.
func TestClaimHoldsWhatISO17025Asks(t *testing.T) {
	k := keptOf(t, bindingPump(), photographed(t))
	d := composed(t, k, report.Claim)
	page, file := squeezed(htmlText(htmlOf(t, d))), squeezed(pdfText(t, pdfOf(t, d)))
	for _, c := range []struct {
		clause string
		wants  []string
	}{
		{"7.8.2.1 a title", []string{"Test report"}},
		{"7.8.2.1 b laboratory", []string{"Workshop Sample Rebuilds", "Address 2 Sample Yard, Sampleton"}},
		{"7.8.2.1 c where", []string{"Tested at 2 Sample Yard, Sampleton; rig left bench of bench k3v7q2m9xw"}},
		{"7.8.2.1 d unique number, clear end", []string{"Report number k3v7q2m9xw-000042-claim-20260305T093000Z", "End of report k3v7q2m9xw-000042-claim-20260305T093000Z"}},
		{"7.8.2.1 e customer", []string{"Customer Sample Motors", "How to reach the customer 1 Sample Street, Sampleton; desk@sample.example"}},
		{"7.8.2.1 f method", []string{"Method supply current", "Profile sample-pump-medium, revision 3", "SHA-256 of the profile " + k.Record.Profile.SHA256, "Steps taken up from 20 to 100 % in 9"}},
		{"7.8.2.1 g item", []string{"Serial S-1002", "Kind pump", "Part number SP-0420", "Revision C", "Date code 2611", "Seal number 004471", "By the operator's eye and hand: leak no", "Opened before customer says nobody"}},
		{"7.8.2.1 h receipt", []string{"Received on 2026-03-02"}},
		{"7.8.2.1 i date of test", []string{"Tested on 2026-03-04 14:04:05 UTC"}},
		{"7.8.2.1 j date of issue", []string{"Issued 2026-03-05 09:30:00 UTC"}},
		{"7.8.2.1 k sampling", []string{"Sampling of items none: the one item named was tested"}},
		{"7.8.2.1 l only the item tested", []string{"The results hold only for the item tested."}},
		{"7.8.2.1 m results with units", []string{"current at 30 % 0.561 ± 0.014 A 0.25 to 0.38 fail", "start-up attempts 2 at most 1 fail"}},
		{"7.8.2.1 n deviations", []string{"Deviations from the method", "Not measured: ripple frequency."}},
		{"7.8.2.1 o authorised", []string{"Authorised by C. Sample, head of the workshop"}},
		{"7.8.2.1 p outside providers", []string{"No result in it came from an outside provider."}},
		{"7.8.2.1 note, whole copies", []string{"This report may be copied only whole."}},
		{"7.8.2.2 data of the customer", []string{"Supplied by the customer", "The workshop has not checked what stands in this section", "Complaint No heat at idle", "Hours run 1840 h"}},
		{"7.8.3.1 a conditions", []string{"Temperature 21.6 °C", "Fluid water with a third of glycol", "Supply at the unit 13.2 to 13.5 V"}},
		{"7.8.3.1 b conformity", []string{"The item does not conform to the limits of profile sample-pump-medium, revision 3: start-up attempts"}},
		{"7.8.3.1 c uncertainty", []string{"± is the expanded uncertainty, k = 2.", "Uncertainty budgets", "noise 0.0035 A, 88 degrees of freedom"}},
		{"7.8.3.1 d opinions", []string{"Opinions and interpretations", "What stands in this section is opinion and interpretation", "Cause (opinion) mechanical, 93 %"}},
		{"7.8.3.1 e what customers ask for", []string{"Photos", "photo-1.jpg", "Current at each duty", "Start-up", "Not tested Head and flow"}},
		{"7.8.6.1 rule and risk", []string{"Decision rule Guard bands of the uncertainty", "Risk of a wrong statement:", "errors of this measurement alone turned the fail: at most 0.3 %"}},
		{"7.8.6.2 a which results", []string{"Within the limits switch-on charge, quiet current and hysteresis", "Undecided full-command current"}},
		{"7.8.6.2 b which limits", []string{"Outside the limits start-up attempts, current at 30 % and share of the linear term"}},
		{"7.8.6.2 c which rule", []string{"Decision rule and statement of conformity"}},
		{"no accreditation", []string{"Not issued under accreditation."}},
		{"history", []string{"test number 2 of this serial in this store; 1 came before"}},
		{"verification", []string{k.Head.String(), "Fingerprint of the bench's key " + benchFingerprint, "Verification code " + report.Code(k.Record.Hash), `dutybench records verify --head "` + k.Head.String(), "dutybench records report k3v7q2m9xw-000042 --check " + report.Code(k.Record.Hash)}},
	} {
		for _, want := range c.wants {
			assert.Contains(t, page, squeezed(want), "HTML, %s", c.clause)
			assert.Contains(t, file, squeezed(want), "PDF, %s", c.clause)
		}
	}
	n := len(regexp.MustCompile(`/Type /Page\n`).FindAll(pdfOf(t, d), -1))
	require.Greater(t, n, 2)
	for i := 1; i <= n; i++ {
		assert.Contains(t, file, "page"+strconv.Itoa(i)+"of"+strconv.Itoa(n), "7.8.2.1 d, page x of y")
	}
	assert.Contains(t, htmlOf(t, d), `counter(page) " of " counter(pages)`)
}

func TestSentenceStandsFirst(t *testing.T) {
	for name, want := range map[string]string{
		"pass":        "No fault found Unit S-1001 is good",
		"fail":        "Fail Unit S-1002 fails: something binds in it.",
		"undecided":   "Undecided Unit S-1003 cannot be judged for sure",
		"interrupted": "Interrupted The test of unit S-1001 was interrupted: the program or its machine stopped before the test ended. What was measured until 11.99 s is kept. It was not judged",
		"unjudged":    "Not judged The test of unit S-1001 was not judged, so it says neither good nor bad.",
		"cancelled":   "Cancelled The test of unit S-1001 was cancelled by a person or the system before it ended. What was measured until 60 s is kept. Of that it was said: Unit S-1001 is good",
		"bare":        "Not judged The test of the unit was not judged, so it says neither good nor bad. Nothing that was measured could be kept.",
	} {
		for _, r := range renderedSamples(t)[name] {
			d := r.doc
			first, ok := d.Blocks[0].(report.Verdict)
			require.True(t, ok)
			assert.True(t, strings.HasPrefix(first.Word+" "+first.Sentence, want), "%s: %s", name, first.Sentence)
			assert.Equal(t, name == "bare" || name == "interrupted" || name == "unjudged", strings.Contains(strings.Join(d.Texts(), "\n"), "was not judged"))
		}
	}
}

func TestCardIsOnePage(t *testing.T) {
	for name, r := range renderedSamples(t) {
		assert.Len(t, regexp.MustCompile(`/Type /Page\n`).FindAll(r[report.Card].pdf, -1), 1, name)
	}
	// What a person can type in reason is not cut.
	for _, name := range []string{"pass", "fail", "undecided", "cancelled", "interrupted", "unjudged"} {
		assert.NotContains(t, strings.Join(renderedSamples(t)[name][report.Card].doc.Texts(), " "), "…", name)
	}
}

func TestReportsOfHostileRecords(t *testing.T) {
	for _, v := range versions {
		page := renderedSamples(t)["hostile"][v].page
		assert.NotRegexp(t, `(?i)<script|\sonerror=[^&]*>|<link|<iframe|@import|url\(|ZgotmplZ`, strings.ReplaceAll(page, "onerror=alert(2)&gt;", ""))
		assert.NotContains(t, page, "\x1b")
		assert.NotContains(t, page, "\u202e")
		assert.Equal(t, 1, strings.Count(page, "</title>\n<style>"))
		for _, m := range regexp.MustCompile(`src="[^"]{0,30}`).FindAllString(page, -1) {
			assert.True(t, strings.HasPrefix(m, `src="data:image/jpeg;base64,`), m)
		}
	}
}

func TestReportsAreTheSameBytesEachTime(t *testing.T) {
	for v, r := range renderedSamples(t)["pass"] {
		again := composed(t, r.Kept, v)
		assert.True(t, bytes.Equal(r.pdf, pdfOf(t, again)))
		assert.Equal(t, r.page, htmlOf(t, again))
	}
}

func TestCheckersHoldThePDFs(t *testing.T) {
	for name, both := range renderedSamples(t) {
		for _, r := range both {
			out := checker(t, r.pdf, name+".pdf", "qpdf", "--check")
			assert.Contains(t, out, "No syntax or stream encoding errors found", name)
		}
	}
}

func TestCheckersHoldTheHTML(t *testing.T) {
	for name, both := range renderedSamples(t) {
		for _, r := range both {
			// tidy does not know yet that groups of a dl may stand in a div (HTML
			// Standard, 4.4.9), so it gets them without.
			page := regexp.MustCompile(`<div(?: class="long")?>(<dt>.*?</dd>)</div>`).ReplaceAllString(r.page, "$1")
			out := checker(t, []byte(page), name+".html", "tidy", "-errors", "-quiet", "--warn-proprietary-attributes", "no", "--drop-empty-elements", "no")
			assert.Empty(t, strings.TrimSpace(out), name)
		}
	}
}

// An independent reader finds the same words.
func TestPopplerReadsTheWords(t *testing.T) {
	d := composed(t, keptOf(t, bindingPump(), nil), report.Claim)
	path := t.TempDir() + "/text"
	checker(t, pdfOf(t, d), "claim.pdf", "sh", "-c", "command -v pdftotext >/dev/null || exit 0; pdftotext \"$0\" "+path)
	data, err := readIfThere(path)
	require.NoError(t, err)
	if data == nil {
		t.Skip("pdftotext (poppler-utils) is not installed, so its reading is not compared")
	}
	for _, s := range []string{"something binds in it", "0.561 ± 0.014 A", "5 mΩ shunt", "21.6 °C", "End of report " + d.Number} {
		assert.Contains(t, squeezed(string(data)), squeezed(s))
	}
}

func TestCode(t *testing.T) {
	// RFC 4648, section 6: the base32 alphabet; the hash of the empty text
	// (FIPS 180-4) begins with the bytes e3b0c44298fc1c149afbf4c8.
	const hash = "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"
	assert.Equal(t, "4OYM-IQUY-7QOB-JGX3-6TEJ", report.Code(hash))
	for typed, want := range map[string]bool{"4OYM-IQUY-7QOB-JGX3-6TEJ": true, "4oymiquy 7qobjgx3 6tej": true, "4OYM-IQUY-7QOB-JGX3-6TEK": false, "4OYM": false, "": false} {
		assert.Equal(t, want, report.IsCode(typed, hash), typed)
	}
	for _, none := range []string{"", "zz", "e3b0"} {
		assert.Empty(t, report.Code(none))
		assert.False(t, report.IsCode("", none))
	}
}

func TestComposeRefuses(t *testing.T) {
	_, err := report.Compose(report.Kept{}, report.Card)
	assert.ErrorContains(t, err, "no record")
	_, err = report.Compose(keptOf(t, goodPump(), nil), "long")
	assert.ErrorContains(t, err, "there are card and claim")
	k := keptOf(t, goodPump(), nil)
	k.Record.Result = []byte("{")
	_, err = report.Compose(k, report.Claim)
	assert.ErrorContains(t, err, "cannot be read")
	d := composed(t, keptOf(t, goodPump(), nil), report.Claim)
	assert.ErrorIs(t, d.PDF(full{}), errNoRoom)
	assert.ErrorIs(t, d.HTML(full{}), errNoRoom)
}

var errNoRoom = errors.New("no room")

type full struct{}

func (full) Write([]byte) (int, error) { return 0, errNoRoom }

// A head that does not reach the record, or none at all, is said.
func TestHeadThatDoesNotReach(t *testing.T) {
	k := keptOf(t, goodPump(), func(r *record.Record) { r.Trace = []byte("t_s,duty") })
	k.Head.Size = 41
	words := strings.Join(composed(t, k, report.Claim).Texts(), "\n")
	assert.Contains(t, words, "(does not reach this record)")
	assert.Contains(t, words, "The record's trace cannot be read")
	k.Head.Size, k.Head.Signed = 0, nil
	assert.Contains(t, strings.Join(composed(t, k, report.Card).Texts(), "\n"), "not at hand")
}

// photoOf12Million is as rough as a photo is, so that it takes as long to read.
func photoOf12Million(b *testing.B) []byte {
	img := picture(4000, 3000).(*image.RGBA)
	rng := rand.New(rand.NewPCG(4, 2))
	for i := range img.Pix {
		if i%4 != 3 {
			img.Pix[i] = uint8(min(255, int(img.Pix[i])+rng.IntN(24)))
		}
	}
	var out bytes.Buffer
	require.NoError(b, jpeg.Encode(&out, img, &jpeg.Options{Quality: 85}))
	return out.Bytes()
}

// Reports with four photos of 12 million pixels; the bar is 2 s on one core.
func BenchmarkReports(b *testing.B) {
	in := goodPump()
	photo := photoOf12Million(b)
	k := keptOf(b, in, func(r *record.Record) {
		for i := range 4 {
			r.Files = append(r.Files, record.File{Name: "photo-" + strconv.Itoa(i+1) + ".jpg", Data: photo})
		}
	})
	for _, v := range versions {
		for form, write := range map[string]func(*report.Document) error{
			"pdf": func(d *report.Document) error { return d.PDF(&bytes.Buffer{}) }, "html": func(d *report.Document) error { return d.HTML(&bytes.Buffer{}) }} {
			b.Run(string(v)+"."+form, func(b *testing.B) {
				for range b.N {
					require.NoError(b, write(composed(b, k, v)))
				}
			})
		}
	}
}
