package plot

import "math"

// Shape of a measured point.
type Shape int

// The shapes: a full triangle that stands, and an open one on its tip.
const (
	Standing Shape = iota
	OnTip
)

// Points are measured values with their uncertainty.
type Points struct {
	X, Y []float64
	// U is half the length of the bar, in the unit of y; NaN or a short slice
	// draws no bar.
	U     []float64
	Name  string
	Shape Shape
	Color Color
	// Boxed points get a square around them: those outside their limits.
	Boxed []bool
}

func (p Points) widen(x, y *extent) {
	for i := range shortest(p.X, p.Y) {
		if !finite(p.X[i]) || !finite(p.Y[i]) {
			continue
		}
		x.add(p.X[i])
		y.add(p.Y[i])
		if u := p.u(i); u > 0 {
			y.add(p.Y[i]-u, p.Y[i]+u)
		}
	}
}

// u is the bar's half length, 0 for none.
func (p Points) u(i int) float64 {
	if i >= len(p.U) || !finite(p.U[i]) {
		return 0
	}
	return math.Abs(p.U[i])
}

func (p Points) draw(c Canvas, f *frame) {
	s := Stroke{Color: p.Color, Width: 1.3}
	for i := range shortest(p.X, p.Y) {
		if !finite(p.X[i]) || !finite(p.Y[i]) {
			continue
		}
		at := f.at(p.X[i], p.Y[i])
		if u := p.u(i); u > 0 {
			a, b := f.at(p.X[i], p.Y[i]-u), f.at(p.X[i], p.Y[i]+u)
			c.Line(a, b, s)
			for _, end := range []XY{a, b} {
				c.Line(XY{end.X - 3, end.Y}, XY{end.X + 3, end.Y}, s)
			}
		}
		glyph(c, at, p.Shape, p.Color)
		if i < len(p.Boxed) && p.Boxed[i] {
			const r = 7.5
			c.Polygon([]XY{{at.X - r, at.Y - r}, {at.X + r, at.Y - r}, {at.X + r, at.Y + r}, {at.X - r, at.Y + r}},
				"", Stroke{Color: Ink, Width: 1.2})
		}
	}
}

func glyph(c Canvas, at XY, s Shape, color Color) {
	const r = 4.2
	if s == OnTip {
		c.Polygon([]XY{{at.X - r, at.Y - r*0.7}, {at.X + r, at.Y - r*0.7}, {at.X, at.Y + r}}, Paper,
			Stroke{Color: color, Width: 1.4})
		return
	}
	c.Polygon([]XY{{at.X - r, at.Y + r*0.7}, {at.X + r, at.Y + r*0.7}, {at.X, at.Y - r}}, color,
		Stroke{Color: color, Width: 1})
}

func (p Points) legend(f *frame) (label, bool) {
	at, ok := rightmost(p.X, p.Y, f)
	return label{text: p.Name, color: p.Color, at: at, glyph: true, shape: p.Shape}, ok && p.Name != ""
}
