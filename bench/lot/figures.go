package lot

import (
	"fmt"

	"dutybench/bench/plot"
)

// mostBars is how many causes the figure has room for; its caption has all.
const mostBars = 8

// causesFigure is the causes of failed units, most frequent first, each share
// with its interval.
func (s *Summary) causesFigure() plot.Figure {
	g := plot.Figure{Title: "Causes of failed units, ranked", Text: 12,
		Desc:   "One bar a cause, the most frequent first; the thin line on each is the 95 % interval of its share.",
		X:      plot.Axis{Label: "rank", Whole: true, Range: &plot.Range{Low: 0.4, High: float64(min(max(len(s.Causes), 1), mostBars)) + 0.6}},
		Panels: []plot.Panel{{Y: plot.Axis{Label: "of failed units", Unit: "%", Zero: true, AtLeast: 100}}}}
	colours := []plot.Color{plot.First, plot.Second, plot.Third, plot.Faint}
	var bars, lines []plot.Mark
	for i, c := range s.Causes {
		if i == mostBars {
			break
		}
		x, colour := float64(i+1), colours[i%len(colours)]
		bars = append(bars, plot.Line{X: []float64{x, x}, Y: []float64{0, 100 * *c.Rate.Share},
			Name: fmt.Sprintf("%d  %s", i+1, CausesWord(c.Causes)), Stroke: plot.Stroke{Color: colour, Width: 24}})
		low, high := 100**c.Rate.Low, 100**c.Rate.High
		ink := plot.Stroke{Color: plot.Ink, Width: 1.4}
		lines = append(lines, plot.Line{X: []float64{x, x}, Y: []float64{low, high}, Stroke: ink},
			plot.Line{X: []float64{x - 0.08, x + 0.08}, Y: []float64{low, low}, Stroke: ink},
			plot.Line{X: []float64{x - 0.08, x + 0.08}, Y: []float64{high, high}, Stroke: ink})
	}
	g.Panels[0].Marks = append(bars, lines...)
	return g
}

// fewPoints is up to how many tests stand as points of their own; more are a
// line, thinned with every peak kept.
const fewPoints = 120

// timesFigure is what each test took, in the order of the day.
func (s *Summary) timesFigure() plot.Figure {
	g := plot.Figure{Title: "Bench time of each test", Text: 12,
		Desc: "In the order of the day: above, how long each test ran; below, how long the unit before it took to change for it.",
		X:    plot.Axis{Label: "test of the lot", Whole: true, Range: &plot.Range{Low: 0.5, High: float64(max(len(s.Times.Points), 2)) + 0.5}}}
	panel := func(label string, of func(TimePoint) float64, m Spread) {
		var x, y []float64
		for i, p := range s.Times.Points {
			x, y = append(x, float64(i+1)), append(y, of(p))
		}
		var marks []plot.Mark
		if m.Median != nil && len(x) > 1 {
			marks = append(marks, plot.Line{X: []float64{1, float64(len(x))}, Y: []float64{*m.Median, *m.Median},
				Name: "median " + plot.Short(*m.Median, 3) + " s", Stroke: plot.Stroke{Color: plot.Second, Width: 1.4, Dash: []float64{6, 3}}})
		}
		if len(x) <= fewPoints {
			marks = append(marks, plot.Points{X: x, Y: y, Color: plot.First})
		} else {
			marks = append(marks, plot.Line{X: x, Y: y, Stroke: plot.Stroke{Color: plot.First, Width: 1.2}})
		}
		g.Panels = append(g.Panels, plot.Panel{Y: plot.Axis{Label: label, Unit: "s", Zero: true}, Marks: marks})
	}
	panel("test", func(p TimePoint) float64 { return p.Test_s }, s.Times.Test)
	if s.Times.Handling.N > 0 {
		panel("handling before it", func(p TimePoint) float64 { return p.Handling }, s.Times.Handling)
	}
	return g
}
