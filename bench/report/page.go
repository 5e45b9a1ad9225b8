package report

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"strings"

	"dutybench/bench/plot"
	"dutybench/bench/result"
)

//go:embed page.html
var pageHTML string

//go:embed page.css
var pageCSS string

var page = template.Must(template.New("page").Parse(pageHTML))

// view is the page's content, every number already in words.
type view struct {
	CSS                          template.CSS
	Title, Verdict, Tone, Lead   string
	Cause, Next, Disproof        string
	Carried, Cautions            []string
	Header                       []Fact
	Curve, Startup, Trace        drawing
	CurveWords, StartWords       string
	Curved, Started, ViewsFirst  bool
	Views                        []viewDrawing
	Findings                     []findingRow
	FindingsWords                string
	Lacking                      []string // findings not measured, for one reason each
	Budgets                      []budget
	Causes                       []causeRow
	Common                       []string
	Rare                         string
	Rule                         string
	Risk                         []string
	SeparatedBy                  string
	Reusable, NotTested, Warning []string
	Connector                    [][]string // cavities by row and column; empty: none there
	SeenFrom                     string
	Inspection, Reports          []string
	Checks                       []checkRow
	Facts                        []Fact
	Raw                          []Fact
	Judged                       bool
}

// viewDrawing is a view in two shapes, in words, and in numbers.
type viewDrawing struct {
	drawing
	ID, Title, Words string
	Table            Table
}

type findingRow struct{ Name, Value, U, Unit, Limits, Result, Tone, Note string }

type budget struct {
	Name  string
	Parts []Fact
}

type causeRow struct {
	Name, Probability string
	For, Against      []string
}

// Page writes a page of HTML that stands on its own: no script, nothing
// fetched.
func Page(w io.Writer, in Input) error {
	v, err := newView(in)
	if err != nil {
		return fmt.Errorf("report: drawing the page: %w", err)
	}
	var b bytes.Buffer
	if err := page.Execute(&b, v); err != nil {
		return fmt.Errorf("report: filling the page: %w", err)
	}
	if _, err := w.Write(b.Bytes()); err != nil {
		return fmt.Errorf("report: writing the page; is there room, and may the folder be written to? %w", err)
	}
	return nil
}

func newView(in Input) (v view, err error) {
	in.Result = readable(in.Result)
	r := in.Result
	v = view{
		CSS: template.CSS(pageCSS), Title: title(r), Verdict: verdictWord(r), Tone: tone(r), Lead: said(r),
		Cause: causeLine(r), Next: nextStep(r), Disproof: sentence(r.Disproof),
		Carried: carried(r), Cautions: cautions(in), Header: header(in),
		CurveWords: curveWords(r.Curve), StartWords: attemptsLine(r.Startup),
		Reusable: plainAll(r.Reusable), NotTested: plainAll(NotTested(r)), Warning: plainAll(r.Warnings),
		Judged: r.Error == "", Inspection: inspectionLines(r.Inspection), Reports: reportedLines(r.Reports), Checks: checkRows(r.Checks),
	}
	if v.Judged && r.Verdict != result.Pass {
		v.SeparatedBy = separatedBy(r)
		v.Causes, v.Common, v.Rare = causeRows(r.Causes)
	}
	findings, lacking := unmeasured(r.Findings)
	v.Findings, v.FindingsWords = findingRows(findings)
	v.Lacking = lacking
	v.Budgets = budgets(r.Findings)
	if r.Risk != nil {
		v.Rule, v.Risk = sentence(r.Risk.Rule), riskLines(r)
	}
	for _, f := range in.Facts {
		v.Facts = append(v.Facts, Fact{plot.Plain(f.Key), plot.Plain(f.Value)})
	}
	v.Curved, v.Started, v.ViewsFirst = curved(r), started(r), viewsFirst(r)
	if !v.Curved {
		v.CurveWords = held(r)
	}
	for i, x := range views(r) {
		d := viewDrawing{ID: fmt.Sprintf("view-%d", i+1), Title: viewTitle(x), Words: viewWords(x), Table: viewTable(x)}
		if d.drawing, err = draw(plot.View(x, d.Words), d.ID, viewHeight); err != nil {
			return v, err
		}
		d.Words += viewRemark(x)
		v.Views = append(v.Views, d)
	}
	v.Raw = raw(in)
	if p := in.Profile; p != nil {
		v.Connector, v.SeenFrom = plugRows(p.Connector), plot.Plain(p.Connector.SeenFrom)
	}
	for _, d := range []struct {
		to     *drawing
		g      plot.Figure
		id     string
		height float64
	}{
		{&v.Curve, curveFigure(r), "curve", 400},
		{&v.Startup, startFigure(in), "start", 190},
		{&v.Trace, traceFigure(in), "trace", 320},
	} {
		if *d.to, err = draw(d.g, d.id, d.height); err != nil {
			return v, err
		}
	}
	return v, nil
}

// viewHeight is that of a view, in units of which 760 make the width.
const viewHeight = 290

func title(r result.Result) string {
	s := verdictWord(r)
	if r.Unit != "" {
		s = plot.Plain(r.Unit) + ": " + strings.ToLower(s)
	}
	return s
}

// tone is the class that sets the rule beside the verdict; the word beside it
// says the same.
func tone(r result.Result) string {
	switch {
	case r.Error != "":
		return "open"
	case r.Verdict == result.Pass:
		return "good"
	case r.Verdict == result.Fail:
		return "bad"
	}
	return "open"
}

// carried are the findings that carry the cause, each with its value.
func carried(r result.Result) []string {
	if r.Verdict == result.Pass {
		return nil
	}
	var out []string
	for _, name := range r.Carried {
		s := named(name)
		for _, f := range r.Findings {
			if f.Name == name {
				value, u := valueWords(f)
				if u != "" {
					value += " ±\u00a0" + u
				}
				if value != plot.None && f.Unit != "" {
					value += "\u00a0" + plot.Plain(f.Unit)
				}
				s += ": " + value + ", where good units have " + strings.TrimSpace(limitWords(f.Low, f.High)+" "+plot.Plain(f.Unit))
				if value == plot.None {
					s = named(name) + ": not measured"
				}
				break
			}
		}
		out = append(out, s)
	}
	return out
}

func header(in Input) []Fact {
	r := in.Result
	profile := r.Profile.Name
	if profile != "" {
		profile = fmt.Sprintf("%s, revision %d", profile, r.Profile.Revision)
	}
	when := ""
	if !in.When.IsZero() {
		when = in.When.Format("2006-01-02 15:04:05 -07:00")
	}
	rig := in.Rig
	if in.Simulated {
		rig = strings.TrimSpace(rig + " (simulated)")
	}
	primed := "not stated"
	if in.Primed {
		primed = "operator says primed, bled and open"
	}
	out := []Fact{
		{"Unit", r.Unit}, {"Kind", r.Kind}, {"Tested on", when}, {"Operator", in.Operator},
		{"Profile", profile}, {"Profile hash", r.Profile.SHA256},
		{"Rig", rig}, {"Fixture", in.Fixture},
	}
	if in.Temperature != "" {
		out = append(out, Fact{"Temperature", in.Temperature})
	}
	if in.Wet || in.Primed {
		out = append(out, Fact{"Loop", primed})
	}
	if r.Risk != nil && r.Risk.Purpose != "" {
		out = append(out, Fact{"Purpose", purposeWord(r.Risk.Purpose)})
	} else if in.Purpose != "" {
		out = append(out, Fact{"Purpose", in.Purpose})
	}
	out = append(out, Fact{"Program", in.Program}, Fact{"Record", r.Record})
	for i := range out {
		if out[i].Value = plot.Plain(out[i].Value); out[i].Value == "" {
			out[i].Value = "not stated"
		}
	}
	return out
}

// raw says where the samples are and how to know them again.
func raw(in Input) []Fact {
	var out []Fact
	path := in.TracePath
	if path == "" {
		path = in.Result.Source
	}
	if path == "" && in.Trace != nil {
		path = in.Trace.Source
	}
	if path == "" {
		path = "not stated"
	}
	out = append(out, Fact{"Kept at", plot.Plain(path)})
	if t := in.Trace; t != nil {
		if t.SHA256 != "" {
			out = append(out, Fact{"SHA-256", plot.Plain(t.SHA256)})
		}
		out = append(out, Fact{"Samples", fmt.Sprintf("%d, on average %s a second", t.Len(), plot.Short(t.Rate(), 4))})
		if lost, ok := t.Get("lost_samples"); ok {
			out = append(out, Fact{"Lost samples", plot.Plain(lost)})
		}
	}
	return out
}
