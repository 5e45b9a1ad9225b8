package upkeep

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"math"
	"strings"

	"dutybench/bench/plot"
)

//go:embed study.html
var studyHTML string

var studyPage = template.Must(template.New("study").Parse(studyHTML))

type studyView struct {
	CSS                                   template.CSS
	Name, Sentence, Ground, Tone, Program string
	Next                                  string
	Bars                                  template.HTML
	Findings                              []findingView
	Left                                  []Left
}

type findingView struct {
	ID, Name, Mean, Repeat, Refill, Both, Unit, Share, Categories string
	Bad                                                           bool
	Meaning, Limits, Units                                        string
	SVG                                                           template.HTML
	Lines                                                         []line
	Rows                                                          []rowView
}

// Page writes a page of HTML that stands on its own: no script, nothing fetched.
func (o *Outcome) Page(w io.Writer, program string) error {
	v := studyView{CSS: template.CSS(pageCSS), Name: plot.Plain(o.Plan.Name), Sentence: o.Sentence(), Next: o.Next(), Ground: o.Ground(), Program: "Made by " + program + "."}
	var units []string
	for _, u := range o.Plan.Units {
		units = append(units, plot.Plain(u))
	}
	for i := range o.Findings {
		g := &o.Findings[i]
		s := &g.Study
		share := g.OfTolerance(s.Gauge)
		f := findingView{ID: fmt.Sprintf("f%d", i+1), Name: named(g.Finding), Mean: inUnit(g.Mean, 4, ""), Repeat: inUnit(s.Repeatability.SD(), 3, ""),
			Refill: inUnit(s.Reproducibility.SD(), 3, ""), Both: inUnit(s.Gauge.SD(), 3, ""), Unit: plot.Plain(g.Unit), Share: percent(share),
			Categories: categories(s.Categories()), Bad: share > tooMuch, Meaning: g.Meaning(), Limits: g.limits(), Units: strings.Join(units, ", "), Lines: g.lines()}
		if f.Bad {
			v.Tone = "bad"
		}
		for _, r := range s.Rows {
			f.Rows = append(f.Rows, rowOf(r))
		}
		var b bytes.Buffer
		if err := plot.SVG(&b, g.figure(units), 840, 240, f.ID); err != nil {
			return fmt.Errorf("upkeep: drawing %s: %w", g.Finding, err)
		}
		f.SVG = template.HTML(b.String())
		v.Findings = append(v.Findings, f)
	}
	for _, l := range o.Left {
		v.Left = append(v.Left, Left{named(l.Finding), plot.Plain(l.Why)})
	}
	var b bytes.Buffer
	o.bars(&b)
	v.Bars = template.HTML(b.String())
	return fill(w, studyPage, v)
}

// figure is every test, a column a filling, a gap between units.
func (g *Gauged) figure(units []string) plot.Figure {
	var x, y, mx, my []float64
	var marks []plot.Mark
	at := 0.0
	for u, unit := range g.Values {
		from := at
		for _, cell := range unit {
			at++
			var mean float64
			for _, v := range cell {
				x, y = append(x, at), append(y, v)
				mean += v / float64(len(cell))
			}
			mx, my = append(mx, at), append(my, mean)
		}
		if u%2 == 1 {
			marks = append(marks, plot.Region{From: from + 0.5, To: at + 0.5})
		}
		marks = append(marks, plot.Region{From: from + 0.5, To: from + 0.5, Name: units[u]})
		mx, my = append(mx, nan), append(my, nan) // the line breaks between units
	}
	marks = append(marks, plot.Line{X: mx, Y: my, Stroke: plot.Stroke{Color: plot.Second, Width: 1.4}},
		plot.Points{X: x, Y: y, Color: plot.First})
	name := named(g.Finding)
	return plot.Figure{Title: "Gauge study: " + name, Desc: fmt.Sprintf("Every test of the study by unit and filling: %s.", name),
		X:      plot.Axis{Label: "filling", Range: &plot.Range{Low: 0.5, High: at + 0.5}},
		Panels: []plot.Panel{{Y: plot.Axis{Label: name, Unit: plot.Plain(g.Unit)}, Marks: marks}}}
}

// bars draws each finding's share of its tolerance, with lines at 10 and 30 %.
func (o *Outcome) bars(w io.Writer) {
	const left, wide, high, end = 190.0, 560.0, 22.0, 90.0
	top := 0.4
	var rows []*Gauged
	for i := range o.Findings {
		if s := o.Findings[i].OfTolerance(o.Findings[i].Study.Gauge); !math.IsNaN(s) {
			rows = append(rows, &o.Findings[i])
			top = max(top, min(s, 1))
		}
	}
	scale := (wide - left - end) / top
	height := high*float64(len(rows)) + 26
	fmt.Fprintf(w, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %g %g" role="img" aria-labelledby="bars-t" font-family="system-ui, sans-serif" font-size="12"><title id="bars-t">Share of the tolerance by finding</title>`, wide, height)
	for _, at := range []float64{0.1, 0.3} {
		fmt.Fprintf(w, `<line x1="%.1f" y1="0" x2="%.1f" y2="%.1f" stroke="%s" stroke-dasharray="4 3" /><text x="%.1f" y="%.1f" text-anchor="middle" fill="%s">%.0f %%</text>`,
			left+at*scale, left+at*scale, height-18, plot.Ink, left+at*scale, height-4, plot.Ink, 100*at)
	}
	for i, g := range rows {
		s := g.Study
		y := high * float64(i)
		whole := g.OfTolerance(s.Gauge)
		long := min(whole, top) * scale
		// Squares add up: each source's part of the bar is its part of the variance.
		repeat := long
		if s.Gauge.Variance > 0 {
			repeat = long * s.Repeatability.Variance / s.Gauge.Variance
		}
		fmt.Fprintf(w, `<text x="%.1f" y="%.1f" text-anchor="end" fill="%s">%s</text>`, left-8, y+15, plot.Ink, template.HTMLEscapeString(named(g.Finding)))
		fmt.Fprintf(w, `<rect x="%.1f" y="%.1f" width="%.1f" height="14" fill="%s" /><rect x="%.1f" y="%.1f" width="%.1f" height="14" fill="%s" />`,
			left, y+4, repeat, plot.First, left+repeat, y+4, long-repeat, plot.BandRim)
		fmt.Fprintf(w, `<text x="%.1f" y="%.1f" fill="%s" stroke="#ffffff" stroke-width="4" paint-order="stroke">%s</text>`, left+long+6, y+15, plot.Ink, template.HTMLEscapeString(percent(whole)))
	}
	io.WriteString(w, "</svg>")
}
