package report

import (
	"errors"
	"fmt"
	"strings"

	"dutybench/bench/plot"
	"dutybench/bench/result"
)

// tight is how much a card says, so that it fits one page.
type tight struct {
	typed   int     // letters of what a person typed of the item and its customer
	letters int     // of each other text
	rows    int     // of the table; lists have two more
	figure  float64 // height of the curve, in its units
	scale   float64 // of the letters; 0 is 1
	view    float64 // height of the first view beside the curve; 0: left out
}

// tights are tried in turn, from all that a card may hold to what always fits.
// What a person typed gives way first: the claim version has it whole.
// With a curve and a view, both are tried first.
func tights(both bool) []tight {
	var first []tight
	if both {
		first = []tight{{600, 600, 9, 250, 0, 200}, {300, 600, 9, 220, 0, 170}, {160, 600, 6, 200, 0, 150}}
	}
	return append(first, []tight{
		{600, 600, 9, 300, 0, 0}, {600, 600, 9, 250, 0, 0}, {300, 600, 9, 250, 0, 0}, {160, 600, 9, 250, 0, 0}, {90, 600, 9, 250, 0, 0},
		{90, 600, 8, 215, 0, 0}, {90, 600, 6, 200, 0, 0}, {90, 600, 5, 180, 0, 0}, {90, 600, 4, 170, 0, 0}, {90, 600, 4, 220, 0.94, 0}, {90, 600, 4, 165, 0.94, 0},
		{90, 300, 4, 165, 0.94, 0}, {90, 120, 4, 160, 0.94, 0}, {60, 60, 4, 150, 0.94, 0}, {40, 40, 3, 150, 0.9, 0}, {30, 30, 2, 130, 0.85, 0}, {20, 20, 1, 110, 0.7, 0}, {20, 20, 1, 90, 0.6, 0},
	}...)
}

// How long verdict, cause and next step may be, in letters: they are what a
// card is for, so no tightness cuts what the program itself says, which is
// shorter (chosen: twice the longest of its own).
const (
	longestVerdict = 700
	longestAct     = 450
)

// card is the version for the job card: one page.
func (c *content) card() (*Document, error) {
	for _, t := range tights(curved(c.r) && len(views(c.r)) > 0) {
		d := c.cardAt(t)
		if d.set().doc.PageCount() == 1 {
			return d, nil
		}
	}
	return nil, errors.New("report: the job card does not fit one page; make the claim version instead")
}

func (c *content) cardAt(t tight) *Document {
	d := c.document("Test report for the job card")
	d.Small, d.Scale = true, t.scale
	rec, r := c.Record, c.r
	d.section("Before you act on it", Bullets{c.cautions()})
	profile := ""
	if rec.Profile.Name != "" {
		profile = fmt.Sprintf("%s, revision %d", rec.Profile.Name, rec.Profile.Revision)
	}
	facts := []Fact{fact("Serial", rec.At.Unit), fact("Kind", r.Kind), fact("Part number", rec.At.PartNumber),
		fact("Tested on", at(rec.When)), fact("Tested by", rec.At.Operator), fact("Authorised by", rec.At.AuthorisedBy),
		fact("Profile", profile), fact("Rig", rec.Rig.Name), {"History", c.history()}}
	facts = append(facts, told(Fact{"Revision", rec.At.Revision}, Fact{"Date code", rec.At.DateCode}, Fact{"Seal number", rec.At.Seal},
		Fact{"Received", strings.TrimSpace(rec.At.Received + " " + rec.At.ReceivedBy)}, Fact{"Notes", rec.At.Notes})...)
	d.section("What was tested", Facts{facts, 4})
	d.section("Supplied by the customer, not checked", Facts{c.customerTold(), 4})
	pictures := views(r)
	curve := func(height float64) {
		d.section("Current at each duty", Drawing{curveFigure(r), "curve", height, curveWords(r.Curve)})
	}
	first := viewsFirst(r)
	if curved(r) && !first {
		curve(t.figure)
	}
	switch {
	case len(pictures) > 0 && (t.view > 0 || !curved(r) || first):
		v, height := pictures[0], t.view
		if !curved(r) || first {
			height = t.figure
		}
		words := viewWords(v)
		d.section(viewTitle(v), Drawing{plot.View(v, words), "view-1", height, words + viewRemark(v)})
	case !curved(r) && c.in.Trace != nil:
		d.section("What was measured", Drawing{traceFigure(c.in), "trace", t.figure, ""})
	}
	if curved(r) && first && t.view > 0 {
		curve(t.view)
	}
	if c.judged {
		d.section("Findings", append(c.cardFindings(t),
			Facts{c.cardFacts(), 1})...)
	}
	cut := d.cut(t)
	d.section("Verification", Mono{c.cardCheck()})
	end := "The results hold only for the item tested. Copy this page only whole. The claim version says more: method, uncertainties, decision rule, evidence."
	if cut {
		end += " Texts that end in … were cut to fit this page; the claim version has them whole."
	}
	d.add(Words{Text: end, Remark: true})
	return d
}

// cardFacts are what stands below the findings.
func (c *content) cardFacts() (out []Fact) {
	if words := held(c.r); words != "" && len(c.r.Curve) > 0 && !curved(c.r) {
		out = append(out, Fact{"Settled current", words})
	}
	if started(c.r) {
		out = append(out, Fact{"Start-up", attemptsLine(c.r.Startup)})
	}
	return append(out, Fact{"Not tested", sentence(list(plainAll(NotTested(c.r))))})
}

// customerTold is what the customer supplied, as far as anything was told.
func (c *content) customerTold() []Fact {
	var out []Fact
	for _, f := range c.customer() {
		if f.Value != "not stated" {
			out = append(out, f)
		}
	}
	return out
}

// cardFindings are those that did not pass, and how many did.
func (c *content) cardFindings(t tight) []Block {
	rows, words := findingRows(c.r.Findings)
	table := Table{Heads: []string{"Measured", "Value", "Limits", "Result"}, Shares: []float64{34, 26, 22, 18}, Result: 3}
	good, not, more := 0, 0, 0
	for i, f := range rows {
		switch {
		case c.r.Findings[i].Result == result.NotMeasured || f.Result == "no limit":
			not++
		case c.r.Findings[i].Result == result.Passed && (c.r.Verdict != result.Pass || len(table.Rows) == t.rows):
			good++
		case len(table.Rows) == t.rows:
			more++
		default:
			table.Rows = append(table.Rows, Row{[]string{f.Name, valueCell(f), f.Limits, f.Result}, f.Tone})
		}
	}
	var say []string
	if good > 0 {
		say = append(say, fmt.Sprintf("%d more within their limits.", good))
	}
	if more > 0 {
		say = append(say, fmt.Sprintf("%d more in the claim version.", more))
	}
	if not > 0 {
		say = append(say, fmt.Sprintf("%d not measured or without a limit.", not))
	}
	if len(table.Rows) > 0 {
		say = append(say, words)
	}
	return []Block{table, Words{Text: strings.Join(say, " "), Remark: true}}
}

// cut shortens every text, list and table, and says whether it had to.
func (d *Document) cut(t tight) bool {
	any := false
	short := func(s string, n int) string {
		r := []rune(plot.Plain(s))
		if len(r) <= n {
			return s
		}
		any = true
		return strings.TrimSpace(string(r[:n-1])) + "…"
	}
	for i := range d.Issuer {
		d.Issuer[i] = short(d.Issuer[i], min(t.letters, 90))
	}
	for i, b := range d.Blocks {
		switch b := b.(type) {
		case Verdict:
			b.Sentence = short(b.Sentence, longestVerdict)
			for j := range b.Acts {
				b.Acts[j].Value = short(b.Acts[j].Value, longestAct)
			}
			d.Blocks[i] = b
		case Words:
			b.Text = short(b.Text, t.letters)
			d.Blocks[i] = b
		case Bullets:
			if most := t.rows + 2; len(b.Items) > most {
				any = true
				b.Items = b.Items[:most]
			}
			for j := range b.Items {
				b.Items[j] = short(b.Items[j], t.letters)
			}
			d.Blocks[i] = b
		case Facts:
			most := t.letters
			if b.Columns > 1 { // of the item and its customer
				most = t.typed
			}
			for j := range b.Items {
				b.Items[j].Value = short(b.Items[j].Value, most)
			}
		case Table:
			for j := range b.Rows {
				for k := range b.Rows[j].Cells {
					b.Rows[j].Cells[k] = short(b.Rows[j].Cells[k], min(t.letters, 60))
				}
			}
		case Drawing:
			b.Caption = short(b.Caption, t.letters)
			d.Blocks[i] = b
		}
	}
	return any
}
