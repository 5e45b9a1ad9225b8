package plot

import (
	"math"
	"slices"
)

// frame is a panel's place on the canvas and its scales.
type frame struct {
	left, right, top, bottom float64
	x, y                     Scale
	text                     float64
	flags                    []flagged // words at the top, so that the next find room
}

type flagged struct {
	from, to float64
	row      int
}

// at is the canvas point of a value; values beyond the axis stop at its ends.
func (f *frame) at(x, y float64) XY {
	return XY{
		f.left + part(x, f.x)*(f.right-f.left),
		f.bottom - part(y, f.y)*(f.bottom-f.top),
	}
}

// part is how far along a scale a value lies, 0 to 1.
func part(v float64, s Scale) float64 {
	return max(0, min(1, (v-s.Low)/(s.High-s.Low)))
}

// flag writes words near the top of the frame at x, in the first row where
// they do not touch others; words that find no room within four rows are left
// out rather than written over others.
func (f *frame) flag(c Canvas, x float64, words string, color Color) {
	if words == "" {
		return
	}
	words = Plain(words)
	w := TextWidth(words, f.text*0.92)
	from := x + 4
	if from+w > f.right {
		from = x - 4 - w
	}
	if from < f.left {
		from = max(f.left+2, f.right-w)
	}
	for row := range 4 {
		free := !slices.ContainsFunc(f.flags, func(o flagged) bool {
			return o.row == row && from < o.to+6 && o.from < from+w+6
		})
		y := f.top + f.text*(1.1+1.25*float64(row))
		if free && y < f.bottom {
			f.flags = append(f.flags, flagged{from, from + w, row})
			c.Text(XY{from, y}, words, Font{Size: f.text * 0.92, Color: color})
			return
		}
	}
}

// label is the words for a mark, beside the right end of the frame.
type label struct {
	text   string
	color  Color
	at     XY // where the mark ends
	y      float64
	glyph  bool
	shape  Shape
	swatch bool
}

// labels writes the words at the lines' ends, moved apart where they would
// touch, each joined to its line's end.
func (f *frame) labels(c Canvas, ls []label) {
	if len(ls) == 0 {
		return
	}
	slices.SortStableFunc(ls, func(a, b label) int {
		switch {
		case a.at.Y < b.at.Y:
			return -1
		case a.at.Y > b.at.Y:
			return 1
		}
		return 0
	})
	gap := f.text * 1.3
	for i := range ls {
		ls[i].y = max(ls[i].at.Y, f.top+f.text*0.4)
		if i > 0 {
			ls[i].y = max(ls[i].y, ls[i-1].y+gap)
		}
	}
	limit := f.bottom - f.text*0.3
	for i := len(ls) - 1; i >= 0; i-- {
		ls[i].y = min(ls[i].y, limit)
		limit = ls[i].y - gap
	}
	for _, l := range ls {
		x := f.right + 4
		c.Line(XY{max(l.at.X, f.right-1), l.at.Y}, XY{x + 7, l.y}, Stroke{Color: l.color, Width: 0.8})
		x += 9
		switch {
		case l.glyph:
			glyph(c, XY{x + 5, l.y}, l.shape, l.color)
			x += 12
		case l.swatch:
			c.Polygon([]XY{{x + 1, l.y - 4}, {x + 10, l.y - 4}, {x + 10, l.y + 4}, {x + 1, l.y + 4}}, BandTop,
				Stroke{Color: BandRim, Width: 1})
			x += 13
		}
		c.Text(XY{x, l.y + f.text*0.35}, Plain(l.text), Font{Size: f.text, Color: l.color})
	}
}

// offTop marks what runs off the top of the axis: an arrow at each such
// column, and the highest value in words.
func (f *frame) offTop(c Canvas, l Line, unit string) {
	best, last := -1, math.Inf(-1)
	for i := range shortest(l.X, l.Y) {
		if !(l.Y[i] > f.y.High) || !finite(l.X[i]) || !finite(l.Y[i]) || l.X[i] < f.x.Low || l.X[i] > f.x.High {
			continue
		}
		x := f.at(l.X[i], 0).X
		if x-last > 8 {
			c.Polygon([]XY{{x - 4, f.top + 8}, {x + 4, f.top + 8}, {x, f.top}}, l.Stroke.Color, Stroke{})
			last = x
		}
		if best < 0 || l.Y[i] > l.Y[best] {
			best = i
		}
	}
	if best >= 0 {
		f.flag(c, f.at(l.X[best], 0).X, "short peak, to "+Short(l.Y[best], 3)+" "+unit, l.Stroke.Color)
	}
}
