package report

import (
	"fmt"
	"strings"

	"dutybench/bench/plot"
	"dutybench/bench/result"
)

// claim is the full report: all that ISO/IEC 17025:2017 asks a test report to
// hold (7.8.2.1, 7.8.3.1, 7.8.6.2 and 7.8.7), in plain words, and the evidence.
func (c *content) claim() *Document {
	d := c.document("Test report")
	d.section("Before you act on it", Bullets{c.cautions()})
	d.section("This report", Facts{c.about(), 2})
	d.section("Item tested", Facts{c.item(), 3}, Bullets{inspectionLines(c.r.Inspection)})
	d.section("Supplied by the customer", Facts{c.customer(), 3},
		Words{Text: "The workshop has not checked what stands in this section and does not answer for it. No result and no verdict rests on it.", Remark: true})
	d.section("Method", Facts{c.method(), 2})
	d.section("Conditions", Facts{c.conditions(), 3})
	c.results(d)
	d.section("Decision rule and statement of conformity", c.conformity()...)
	d.section("Deviations from the method", Bullets{c.deviations()})
	c.opinions(d)
	c.basis(d)
	d.section("Photos", c.photos()...)
	d.section("Record and verification", c.verification()...)
	d.section("How far this report goes",
		Words{Text: "The results hold only for the item tested. This report may be copied only whole. No result in it came from an outside provider."})
	return d
}

// results are the findings, the curve and the start-up, in numbers and drawn.
func (c *content) results(d *Document) {
	if !c.judged {
		d.section("Results", Words{Text: "No result was judged."})
	} else {
		rows, words := findingRows(c.r.Findings)
		t := Table{Heads: []string{"Measured", "Value", "Limits", "Result", "Note"}, Shares: []float64{21, 18, 15, 12, 34}, Result: 3}
		for _, f := range rows {
			t.Rows = append(t.Rows, Row{[]string{f.Name, valueCell(f), f.Limits, f.Result, f.Note}, f.Tone})
		}
		d.section("Results", t, Words{Text: words, Remark: true})
	}
	if viewsFirst(c.r) {
		c.views(d)
	}
	switch {
	case curved(c.r):
		d.section("Current at each duty", Drawing{curveFigure(c.r), "curve", 330, c.curveCaption()}, c.curveTable())
	case len(c.r.Curve) > 0:
		d.section("Current at each duty", Words{Text: held(c.r)}, c.curveTable())
	}
	if !viewsFirst(c.r) {
		c.views(d)
	}
	if c.in.Trace != nil {
		if started(c.r) {
			d.section("Start-up", Drawing{startFigure(c.in), "start", 190, c.startCaption()}, c.attempts())
		}
		d.section("Whole trace", Drawing{traceFigure(c.in), "trace", 290, ""})
	}
}

// views are the kind's own pictures, each with its points.
func (c *content) views(d *Document) {
	for i, v := range views(c.r) {
		words := viewWords(v)
		d.section(viewTitle(v), Drawing{plot.View(v, words), fmt.Sprintf("view-%d", i+1), viewHeight, words + viewRemark(v)}, viewTable(v))
	}
}

func valueCell(f findingRow) string {
	s := f.Value
	if f.U != "" {
		s += " ±\u00a0" + f.U
	}
	if f.Unit != "" {
		s += "\u00a0" + f.Unit
	}
	return s
}

func (c *content) curveCaption() string {
	return curveWords(c.r.Curve) + " Full triangles: duty rising. Open triangles on their tip: duty falling. Upright bars: expanded uncertainty, k\u00a0=\u00a02; where none shows, it is smaller than the mark. A square around a mark: outside the band of good units."
}

func (c *content) startCaption() string {
	if !c.judged {
		return "Current from the first command on; attempts were not judged."
	}
	return attemptsLine(c.r.Startup)
}

func (c *content) curveTable() Table {
	t := Table{Heads: []string{"Duty, %", "Direction", "Current, A (± for k\u00a0=\u00a02)", "Limits, A", "Result"}, Shares: []float64{14, 16, 30, 24, 16}, Result: 4}
	for _, p := range c.r.Curve {
		v, u := plot.WithUncertainty(p.Current, p.Uncertainty)
		if u != "" {
			v += " ±\u00a0" + u
		}
		row := Row{Cells: []string{plot.Short(p.Duty, 4), plot.Plain(p.Direction), v, limitWords(p.Low, p.High), "inside"}}
		switch {
		case p.Low == nil && p.High == nil:
			row.Cells[4], row.Tone = "no limit", "open"
		case outside(p):
			row.Cells[4], row.Tone = "outside", "bad"
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

// mostAttempts is how many attempts a table lists.
const mostAttempts = 20

func (c *content) attempts() Table {
	t := Table{Heads: []string{"Attempt", "Start, s", "Length, s", "Mean, A", "Peak, A"}, Shares: []float64{1, 1, 1, 1, 1}, Result: -1}
	for i, a := range c.r.Startup.Attempts {
		if i == mostAttempts {
			t.Rows = append(t.Rows, Row{Cells: []string{fmt.Sprintf("and %d more", len(c.r.Startup.Attempts)-i), "", "", "", ""}})
			break
		}
		t.Rows = append(t.Rows, Row{Cells: []string{fmt.Sprint(i + 1), plot.Fixed(a.Start, 2), plot.Short(a.Length, 3), plot.Short(a.Mean, 3), plot.Short(a.Peak, 3)}})
	}
	return t
}

// opinions is what was concluded, apart from what was measured.
func (c *content) opinions(d *Document) {
	r := c.r
	if !c.judged {
		return
	}
	var facts []Fact
	if r.Verdict != result.Pass {
		facts = told(Fact{"Cause", causeLine(r)}, Fact{"What would tell them apart", separatedBy(r)})
	}
	facts = append(facts, told(Fact{"Next step", sentence(r.NextStep)}, Fact{"What would disprove it", sentence(r.Disproof)},
		Fact{"Can be reused", strings.Join(plainAll(r.Reusable), "; ")})...)
	blocks := []Block{
		Words{Text: "What stands in this section is opinion and interpretation, drawn from the results above; it is no measured result.", Remark: true},
		Facts{facts, 1},
	}
	if list := carried(r); len(list) > 0 {
		blocks = append(blocks, Words{Text: "Carried by:"}, Bullets{list})
	}
	if r.Verdict != result.Pass {
		rows, common, rare := causeRows(r.Causes)
		t := Table{Heads: []string{"Cause", "Probability", "Speaks for it", "Speaks against it"}, Shares: []float64{20, 14, 36, 30}, Result: -1}
		for _, x := range rows {
			t.Rows = append(t.Rows, Row{Cells: []string{x.Name, x.Probability, orNot(strings.Join(x.For, "; "), "nothing"), orNot(strings.Join(x.Against, "; "), "nothing")}})
		}
		blocks = append(blocks, t, Bullets{common}, Words{Text: rare, Remark: true})
	}
	d.section("Opinions and interpretations", blocks...)
}
