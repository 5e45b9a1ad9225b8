package upkeep

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"math"
	"slices"

	"dutybench/bench/plot"
)

//go:embed page.css
var pageCSS string

//go:embed health.html
var healthHTML string

var healthPage = template.Must(template.New("health").Parse(healthHTML))

// mostAlarms is how many a page lists, the newest; all are in the JSON.
const mostAlarms = 30

// mostPoints is how many tests a figure shows, the newest: half a year.
const mostPoints = 130

type healthView struct {
	CSS                       template.CSS
	Unit, Rig, Sentence, Next string
	Tone, Span, Program, More string
	Simulated                 bool
	Rows                      []healthRow
	Alarms                    []alarmRow
	Charts                    []chartView
	Others, Rules             []string
}

type healthRow struct {
	Name, Value, Limits, Average, AverageLimits, Unit, Cpk, Note string
	Out                                                          bool
}

type chartView struct {
	ID, Name, Caption string
	SVG               template.HTML
}

// Page writes a page of HTML that stands on its own: no script, nothing fetched.
func (h *Health) Page(w io.Writer, program string) error {
	last := h.Tests[len(h.Tests)-1]
	v := healthView{CSS: template.CSS(pageCSS), Unit: plot.Plain(h.Unit), Rig: plot.Plain(h.Rig), Simulated: h.Simulated,
		Sentence: h.Sentence(), Next: h.Next(), Rules: h.Rules(), Program: "Made by " + program + ".",
		Span: fmt.Sprintf("%s from %s to %s", count(len(h.Tests), "test"), h.Tests[0].When.Local().Format("2006-01-02"), last.When.Local().Format("2006-01-02"))}
	switch {
	case h.Out:
		v.Tone = "bad"
	case h.Missing > 0:
		v.Tone = "open"
	}
	for _, c := range h.Charts {
		v.Rows = append(v.Rows, c.row())
	}
	v.Others = h.OpenWords()
	for _, o := range h.Others {
		v.Others = append(v.Others, o.Words())
	}
	v.Alarms = h.runs()
	slices.Reverse(v.Alarms)
	if n := len(v.Alarms) - mostAlarms; n > 0 {
		v.Alarms, v.More = v.Alarms[:mostAlarms], fmt.Sprintf("%d older ones are not listed.", n)
	}
	for i := range h.Charts {
		c := &h.Charts[i]
		var b bytes.Buffer
		id := fmt.Sprintf("chart-%d", i+1)
		if err := plot.SVG(&b, h.figure(c), 840, 400, id); err != nil {
			return fmt.Errorf("upkeep: drawing %s: %w", c.Finding, err)
		}
		v.Charts = append(v.Charts, chartView{id, named(c.Finding), h.caption(), template.HTML(b.String())})
	}
	return fill(w, healthPage, v)
}

// fill writes a page whole or not at all.
func fill(w io.Writer, t *template.Template, v any) error {
	var b bytes.Buffer
	if err := t.Execute(&b, v); err != nil {
		return fmt.Errorf("upkeep: filling the page: %w", err)
	}
	if _, err := w.Write(b.Bytes()); err != nil {
		return fmt.Errorf("upkeep: writing the page; is there room, and may the folder be written to? %w", err)
	}
	return nil
}

// row is the newest test of a finding.
func (c *Chart) row() healthRow {
	p, l := c.Points[len(c.Points)-1], c.Limits[len(c.Limits)-1]
	r := healthRow{Name: named(c.Finding), Value: inUnit(p.Value, 5, ""), Unit: plot.Plain(c.Unit), Out: p.Out, Note: c.Note, Cpk: plot.None}
	if l == nil {
		return r
	}
	r.Limits = inUnit(l.Low, 5, "") + " to " + inUnit(l.High, 5, "")
	r.Average, r.AverageLimits = inUnit(p.Average, 5, ""), inUnit(p.AverageLow, 5, "")+" to "+inUnit(p.AverageUp, 5, "")
	if k := l.Capability; k != nil {
		r.Cpk = fmt.Sprintf("%s (%s to %s)", plot.Short(k.Cpk, 3), plot.Short(k.CpkLow, 3), plot.Short(k.CpkHigh, 3))
	}
	return r
}

// caption says what the test numbers stand for.
func (h *Health) caption() string {
	from := max(0, len(h.Tests)-mostPoints)
	day := func(i int) string { return h.Tests[i].When.Local().Format("2006-01-02") }
	s := fmt.Sprintf("Test %d is of %s, test %d of %s.", from+1, day(from), len(h.Tests), day(len(h.Tests)-1))
	for _, ph := range h.Phases[1:] {
		if ph.From >= from {
			s += fmt.Sprintf(" From test %d on there are new limits: %s.", ph.From+1, plot.Plain(ph.Why))
		}
	}
	return s
}

// figure is one finding: values with their average, and steps below.
func (h *Health) figure(c *Chart) plot.Figure {
	from := max(0, len(c.Points)-mostPoints)
	n := len(c.Points) - from
	col := func(f func(Point) float64) []float64 {
		out := make([]float64, n)
		for i, p := range c.Points[from:] {
			out[i] = f(p)
		}
		return out
	}
	x, boxed := make([]float64, n), make([]bool, n)
	for i, p := range c.Points[from:] {
		x[i], boxed[i] = float64(from+i+1), p.Out
	}
	limit := plot.Stroke{Color: plot.Ink, Width: 1.1, Dash: []float64{5, 4}}
	drift := plot.Stroke{Color: plot.Second, Width: 1, Dash: []float64{2, 3}}
	var top, below []plot.Mark
	for i, ph := range h.Phases {
		end := ph.From
		for j := range ph.Tests {
			if c.Points[ph.From+j].InBaseline {
				end = ph.From + j + 1
			}
		}
		if end > max(from, ph.From) {
			r := plot.Region{From: float64(max(from, ph.From)) + 0.5, To: float64(end) + 0.5}
			top, below = append(top, r), append(below, r)
		}
		if i > 0 && ph.From >= from {
			m := plot.Marker{X: float64(ph.From) + 0.5, Name: "new limits"}
			top, below = append(top, m), append(below, plot.Marker{X: m.X})
		}
	}
	line := func(y []float64, name string, s plot.Stroke) plot.Line {
		return plot.Line{X: x, Y: y, Name: name, Stroke: s}
	}
	top = append(top,
		line(col(func(p Point) float64 { return p.High }), "limit", limit),
		line(col(func(p Point) float64 { return p.Low }), "limit", limit),
		line(col(func(p Point) float64 { return p.AverageUp }), "", drift),
		line(col(func(p Point) float64 { return p.AverageLow }), "", drift),
		line(col(func(p Point) float64 { return p.Average }), "average", plot.Stroke{Color: plot.Second, Width: 1.8}),
		plot.Points{X: x, Y: col(func(p Point) float64 { return p.Value }), Color: plot.First, Boxed: boxed})
	below = append(below,
		line(col(func(p Point) float64 { return p.RangeHigh }), "limit", limit),
		plot.Points{X: x, Y: col(func(p Point) float64 { return p.Range }), Color: plot.First})
	name := named(c.Finding)
	return plot.Figure{
		Title: "Check unit: " + name, Desc: fmt.Sprintf("%s of the check unit over %d tests, with limits; below, the step from the test before.", name, n),
		X:      plot.Axis{Label: "test", Range: &plot.Range{Low: float64(from) + 0.5, High: math.Max(float64(from+n), float64(from+5)) + 0.5}},
		Panels: []plot.Panel{{Y: plot.Axis{Label: name, Unit: plot.Plain(c.Unit)}, Marks: top, Share: 2.2}, {Y: plot.Axis{Label: "step", Unit: plot.Plain(c.Unit), Zero: true}, Marks: below}},
	}
}
