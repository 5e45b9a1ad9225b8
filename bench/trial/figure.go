package trial

import (
	"fmt"
	"html"
	"io"
	"strings"

	"dutybench/bench/plot"
	"dutybench/signal/stat"
)

// The drawing's measures, in its own units.
const (
	panelWidth, panelHeight = 260.0, 190.0
	panelsAcross            = 4
	panelText               = 11.0
	margin, headHeight      = 14.0, 66.0
)

// beside is how far the two rates of one severity are drawn apart, as a part
// of the axis, so that their bars do not cover each other.
const beside = 0.018

// WriteSVG draws a small panel for each fault: over severity the rate that
// did not pass and the rate with the right side named, with 95 % intervals.
func (r *Report) WriteSVG(w io.Writer) error {
	n := len(r.Faults)
	if n == 0 {
		return fmt.Errorf("trial: nothing to draw: no fault was tried")
	}
	across := min(n, panelsAcross)
	rows := (n + across - 1) / across
	width := float64(max(across, 2))*panelWidth + 2*margin
	height := headHeight + float64(rows)*panelHeight + margin
	var b strings.Builder
	title := "Faults caught against severity: " + r.names()
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %g %g" width="%[1]g" height="%[2]g" role="img" aria-labelledby="trial-t trial-d" font-family="system-ui, 'Liberation Sans', 'DejaVu Sans', Arial, sans-serif">`+"\n", width, height)
	fmt.Fprintf(&b, "<title id=\"trial-t\">%s</title>\n<desc id=\"trial-d\">%s</desc>\n", html.EscapeString(title), html.EscapeString(r.described()))
	fmt.Fprintf(&b, `<rect width="%g" height="%g" fill="%s"/>`+"\n", width, height, plot.Paper)
	say := func(y, size float64, color plot.Color, text string) {
		fmt.Fprintf(&b, `<text x="%g" y="%g" font-size="%g" fill="%s">%s</text>`+"\n", margin, y, size, color, html.EscapeString(plot.Plain(text)))
	}
	say(21, 15, plot.Ink, title)
	say(39, 12, plot.Ink, r.subtitle())
	fmt.Fprintf(&b, `<text x="%g" y="57" font-size="12" fill="%s">▲ <tspan fill="%[2]s">did not pass</tspan><tspan fill="%s" dx="18">▽ right side named</tspan><tspan fill="%s" dx="18">bars: 95 %% intervals</tspan></text>`+"\n",
		margin, plot.First, plot.Second, plot.Faint)
	for i, f := range r.Faults {
		fmt.Fprintf(&b, `<g transform="translate(%g %g)">`+"\n", margin+float64(i%across)*panelWidth, headHeight+float64(i/across)*panelHeight)
		if err := plot.SVG(&b, f.figure(), panelWidth-8, panelHeight-8, fmt.Sprintf("fault-%d", i+1)); err != nil {
			return fmt.Errorf("trial: %w", err)
		}
		b.WriteString("</g>\n")
	}
	b.WriteString("</svg>\n")
	if _, err := io.WriteString(w, b.String()); err != nil {
		return fmt.Errorf("trial: writing the drawing: %w", err)
	}
	return nil
}

// names are those of the profiles.
func (r *Report) names() string {
	var s []string
	for _, p := range r.Profiles {
		s = append(s, p.Name)
	}
	return strings.Join(s, ", ")
}

// subtitle is one line on the good units, and on a study that was stopped.
func (r *Report) subtitle() string {
	s := fmt.Sprintf("simulated units, seed %d", r.Seed)
	if g := r.Good.NotPassed; g.Share != nil {
		s += fmt.Sprintf("; good units refused: %d of %d, %.1f to %.1f %%", g.Count, g.Of, 100**g.Low, 100**g.High)
	}
	if r.Partial {
		s += fmt.Sprintf("; PARTIAL: stopped after %d of %d tests", r.Trials, r.Planned)
	}
	return s
}

// described is the drawing in words.
func (r *Report) described() string {
	var s []string
	for _, f := range r.Faults {
		s = append(s, f.Name+": "+f.described())
	}
	return strings.Join(s, " ")
}

func (f FaultReport) described() string {
	var s []string
	for _, x := range f.Severities {
		if x.Units > 0 {
			s = append(s, fmt.Sprintf("at %g %d %% not passed, %d %% right", x.Severity, stat.WholePercent(*x.NotPassed.Share), stat.WholePercent(*x.Attributed.Share)))
		}
	}
	return strings.Join(s, "; ") + "."
}

// figure is the panel of one fault.
func (f FaultReport) figure() plot.Figure {
	var marks []plot.Mark
	for _, k := range []struct {
		rate  func(Outcomes) Rate
		shape plot.Shape
		color plot.Color
		shift float64
		dash  []float64
	}{
		{func(o Outcomes) Rate { return o.NotPassed }, plot.Standing, plot.First, -beside, nil},
		{func(o Outcomes) Rate { return o.Attributed }, plot.OnTip, plot.Second, beside, []float64{4, 3}},
	} {
		stroke := plot.Stroke{Color: k.color, Width: 1.2}
		line := plot.Line{Stroke: plot.Stroke{Color: k.color, Width: 1, Dash: k.dash}}
		for _, s := range f.Severities {
			x := k.rate(s.Outcomes)
			if x.Share == nil {
				continue
			}
			at := s.Severity + k.shift
			line.X, line.Y = append(line.X, at), append(line.Y, 100**x.Share)
			marks = append(marks, plot.Line{X: []float64{at, at}, Y: []float64{100 * *x.Low, 100 * *x.High}, Stroke: stroke})
		}
		marks = append(marks, line, plot.Points{X: line.X, Y: line.Y, Shape: k.shape, Color: k.color})
	}
	return plot.Figure{
		Title: f.Name, Desc: f.described(), Text: panelText,
		X:      plot.Axis{Label: "severity", Range: &plot.Range{Low: 0, High: 1.05}},
		Panels: []plot.Panel{{Y: plot.Axis{Label: f.Name, Unit: "%", Range: &plot.Range{Low: 0, High: 100}}, Marks: marks}},
	}
}
