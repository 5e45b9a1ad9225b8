package plot

import (
	"math"

	"dutybench/bench/result"
)

// viewLooks tell the lines of a view apart by dash as well as by colour.
var viewLooks = []Stroke{
	{Color: First, Width: 1.5},
	{Color: Second, Width: 1.5, Dash: []float64{6, 3}},
	{Color: Third, Width: 1.5, Dash: []float64{2, 2}},
	{Color: Ink, Width: 1.2, Dash: []float64{8, 3, 2, 3}},
}

// View is the figure of a view: its lines above the band of what good units do,
// and its marks. Desc is for people who do not see it.
func View(v result.View, desc string) Figure {
	g := Figure{Title: v.Title, Desc: desc, X: Axis{Label: v.X.Label, Unit: v.X.Unit}}
	p := Panel{Y: Axis{Label: v.Y.Label, Unit: v.Y.Unit, Zero: v.Y.Unit == "A"}}
	var bands, lines []Mark
	for i, l := range v.Lines {
		if b, ok := viewBand(l); ok {
			if len(bands) == 0 {
				b.Name = "good units"
			}
			bands = append(bands, b)
		}
		line := Line{X: l.X, Y: l.Y, Stroke: viewLooks[i%len(viewLooks)]}
		if len(v.Lines) > 1 {
			line.Name = l.Name
		}
		lines = append(lines, line)
	}
	p.Marks = append(bands, lines...)
	for _, m := range v.Marks {
		p.Marks = append(p.Marks, Marker{X: m.X, Name: m.Label})
	}
	g.Panels = []Panel{p}
	return g
}

// viewBand is what good units do along a line; ok is false where nothing says it.
// A limit on one side only is one.
func viewBand(l result.ViewLine) (b Band, ok bool) {
	n := shortest(l.X, l.Y)
	if len(l.Low) < n && len(l.High) < n {
		return b, false
	}
	at := func(of []float64, i int) float64 {
		if i < len(of) {
			return of[i]
		}
		return math.NaN()
	}
	for i := range n {
		b.X, b.Low, b.High = append(b.X, l.X[i]), append(b.Low, at(l.Low, i)), append(b.High, at(l.High, i))
	}
	return b, true
}
