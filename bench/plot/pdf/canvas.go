package pdf

import (
	"codeberg.org/go-pdf/fpdf"

	"dutybench/bench/plot"
)

// Draw puts a figure on the page of d with its upper left corner at x, y, all
// in millimetres. unit is the length of one unit of the figure: what is 12
// units high in an SVG is 12 times unit high here.
func Draw(d *fpdf.Fpdf, g plot.Figure, x, y, width, height, unit float64) {
	if !(unit > 0) {
		return
	}
	g.Draw(&canvas{d, x, y, unit}, width/unit, height/unit)
	d.SetDashPattern(nil, 0)
}

// canvas is a rectangle of a page.
type canvas struct {
	d          *fpdf.Fpdf
	x, y, unit float64
}

func (c *canvas) at(p plot.XY) (x, y float64) { return c.x + p.X*c.unit, c.y + p.Y*c.unit }

// edge sets how lines look; false when there is nothing to see.
func (c *canvas) edge(s plot.Stroke) bool {
	r, g, b, ok := s.Color.RGB()
	if !ok || !(s.Width > 0) {
		return false
	}
	c.d.SetDrawColor(int(r), int(g), int(b))
	c.d.SetLineWidth(s.Width * c.unit)
	dash := make([]float64, len(s.Dash))
	for i, v := range s.Dash {
		dash[i] = v * c.unit
	}
	c.d.SetDashPattern(dash, 0)
	return true
}

func (c *canvas) path(pts []plot.XY) {
	for i, p := range pts {
		x, y := c.at(p)
		if i == 0 {
			c.d.MoveTo(x, y)
		} else {
			c.d.LineTo(x, y)
		}
	}
}

func (c *canvas) Line(from, to plot.XY, s plot.Stroke) { c.Polyline([]plot.XY{from, to}, s) }

func (c *canvas) Polyline(pts []plot.XY, s plot.Stroke) {
	if len(pts) < 2 || !c.edge(s) {
		return
	}
	c.path(pts)
	c.d.DrawPath("D")
}

func (c *canvas) Polygon(pts []plot.XY, fill plot.Color, s plot.Stroke) {
	if len(pts) < 3 {
		return
	}
	how := ""
	if r, g, b, ok := fill.RGB(); ok {
		c.d.SetFillColor(int(r), int(g), int(b))
		how = "F"
	}
	if c.edge(s) {
		how += "D"
	}
	if how == "" {
		return
	}
	c.path(pts)
	c.d.ClosePath()
	c.d.DrawPath(how)
}

func (c *canvas) Text(at plot.XY, words string, f plot.Font) {
	face := Regular
	if f.Bold {
		face = Bold
	}
	x, y := c.at(at)
	Text(c.d, x, y, words, face, f.Size*c.unit/point_mm, f.Color, f.Anchor)
}
