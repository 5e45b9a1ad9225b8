package plot

import (
	"math"
)

// Band is the room between two limits along x, such as what good units do.
// NaN on one side means no limit there; NaN on both leaves a gap.
type Band struct {
	X, Low, High []float64
	Name         string
}

func (b Band) widen(x, y *extent) {
	for i := range shortest(b.X, b.Low, b.High) {
		if finite(b.X[i]) && (finite(b.Low[i]) || finite(b.High[i])) {
			x.add(b.X[i])
			y.add(b.Low[i], b.High[i])
		}
	}
}

func (b Band) draw(c Canvas, f *frame) {
	n := shortest(b.X, b.Low, b.High)
	rim := Stroke{Color: BandRim, Width: 1}
	for i := 0; i < n; {
		if !b.at(i) {
			i++
			continue
		}
		j := i
		for j < n && b.at(j) {
			j++
		}
		var top, bottom []XY
		for k := i; k < j; k++ {
			lo, hi := b.Low[k], b.High[k]
			if !finite(lo) {
				lo = f.y.Low
			}
			if !finite(hi) {
				hi = f.y.High
			}
			top = append(top, f.at(b.X[k], hi))
			bottom = append(bottom, f.at(b.X[k], lo))
		}
		if len(top) == 1 { // one duty alone: a bar of its own
			t, l := top[0], bottom[0]
			top = []XY{{t.X - 4, t.Y}, {t.X + 4, t.Y}}
			bottom = []XY{{l.X - 4, l.Y}, {l.X + 4, l.Y}}
		}
		outline := append([]XY{}, top...)
		for k := len(bottom) - 1; k >= 0; k-- {
			outline = append(outline, bottom[k])
		}
		c.Polygon(outline, BandTop, Stroke{})
		c.Polyline(top, rim)
		c.Polyline(bottom, rim)
		i = j
	}
}

func (b Band) at(i int) bool { return finite(b.X[i]) && (finite(b.Low[i]) || finite(b.High[i])) }

func (b Band) legend(f *frame) (label, bool) {
	best := -1
	for i := range shortest(b.X, b.Low, b.High) {
		if b.at(i) && (best < 0 || b.X[i] >= b.X[best]) {
			best = i
		}
	}
	if best < 0 || b.Name == "" {
		return label{}, false
	}
	lo, hi := b.Low[best], b.High[best]
	if !finite(lo) {
		lo = hi
	}
	if !finite(hi) {
		hi = lo
	}
	return label{text: b.Name, color: bandWords, at: f.at(b.X[best], (lo+hi)/2), swatch: true}, true
}

// Line joins values. Long lines are thinned to the width of the frame with
// every peak kept.
type Line struct {
	X, Y   []float64
	Name   string
	Stroke Stroke
	// Step holds each value until the next.
	Step bool
	// Fill colours the room between the line and zero; empty means none.
	Fill Color
}

func (l Line) widen(x, y *extent) {
	n := shortest(l.X, l.Y)
	xs, ys := l.X[:n], l.Y[:n]
	first := true
	var x0, x1, y0, y1 float64
	for i, a := range xs { // long traces come here: no call per sample
		b := ys[i]
		switch {
		case a-a != 0 || b-b != 0: // NaN or infinite
		case first:
			x0, x1, y0, y1, first = a, a, b, b, false
		default:
			if a < x0 {
				x0 = a
			} else if a > x1 {
				x1 = a
			}
			if b < y0 {
				y0 = b
			} else if b > y1 {
				y1 = b
			}
		}
	}
	if !first {
		x.add(x0, x1)
		y.add(y0, y1)
	}
}

func (l Line) draw(c Canvas, f *frame) {
	for _, part := range l.parts(f) {
		pts := make([]XY, 0, len(part)+len(part)/2)
		for i, p := range part {
			q := f.at(p.X, p.Y)
			if l.Step && i > 0 {
				pts = append(pts, XY{q.X, pts[len(pts)-1].Y})
			}
			pts = append(pts, q)
		}
		pts = straighten(pts)
		if l.Fill != "" && len(pts) > 1 {
			base := f.at(f.x.Low, max(f.y.Low, min(0, f.y.High))).Y
			c.Polygon(append(append([]XY{{pts[0].X, base}}, pts...), XY{pts[len(pts)-1].X, base}), l.Fill, Stroke{})
		}
		if len(pts) == 1 { // a lone sample: a short dash, so that it shows
			pts = []XY{{pts[0].X - 1.5, pts[0].Y}, {pts[0].X + 1.5, pts[0].Y}}
		}
		c.Polyline(pts, l.Stroke)
	}
}

// parts is the line in unbroken stretches, thinned where it is long.
func (l Line) parts(f *frame) [][]XY {
	columns := int(f.right - f.left)
	if shortest(l.X, l.Y) > 4*columns {
		return Envelope(l.X, l.Y, f.x.Low, f.x.High, columns)
	}
	var parts [][]XY
	var part []XY
	for i := range shortest(l.X, l.Y) {
		if !finite(l.X[i]) || !finite(l.Y[i]) {
			if part != nil {
				parts = append(parts, part)
				part = nil
			}
			continue
		}
		if l.X[i] >= f.x.Low && l.X[i] <= f.x.High {
			part = append(part, XY{l.X[i], l.Y[i]})
		}
	}
	if part != nil {
		parts = append(parts, part)
	}
	return parts
}

// straighten leaves out points that change nothing: those on a level or
// upright run between their neighbours, to a tenth of a unit.
func straighten(pts []XY) []XY {
	out := pts[:0]
	for _, p := range pts {
		p = XY{math.Round(p.X*10) / 10, math.Round(p.Y*10) / 10}
		n := len(out)
		if n > 0 && out[n-1] == p {
			continue
		}
		if n > 1 && between(out[n-2], out[n-1], p) {
			out[n-1] = p
			continue
		}
		out = append(out, p)
	}
	return out
}

func between(a, b, c XY) bool {
	return a.Y == b.Y && b.Y == c.Y && (b.X-a.X)*(c.X-b.X) >= 0 ||
		a.X == b.X && b.X == c.X && (b.Y-a.Y)*(c.Y-b.Y) >= 0
}

func (l Line) legend(f *frame) (label, bool) {
	if l.Name == "" {
		return label{}, false
	}
	at, ok := rightmost(l.X, l.Y, f)
	return label{text: l.Name, color: l.Stroke.Color, at: at}, ok
}

// rightmost is the canvas point of the value furthest right in the frame.
func rightmost(x, y []float64, f *frame) (XY, bool) {
	best := -1
	for i := range shortest(x, y) {
		if finite(x[i]) && finite(y[i]) && x[i] >= f.x.Low && x[i] <= f.x.High && (best < 0 || x[i] >= x[best]) {
			best = i
		}
	}
	if best < 0 {
		return XY{}, false
	}
	return f.at(x[best], y[best]), true
}

// Region shades a stretch of x from bottom to top.
type Region struct {
	From, To float64
	Name     string
}

func (r Region) widen(x, _ *extent) {
	if finite(r.From) && finite(r.To) {
		x.add(r.From, r.To)
	}
}

func (r Region) draw(c Canvas, f *frame) {
	if !finite(r.From) || !finite(r.To) || max(r.From, r.To) < f.x.Low || min(r.From, r.To) > f.x.High {
		return
	}
	a, b := f.at(r.From, 0).X, f.at(r.To, 0).X
	if b < a {
		a, b = b, a
	}
	b = max(b, a+1)
	c.Polygon([]XY{{a, f.top}, {b, f.top}, {b, f.bottom}, {a, f.bottom}}, Shade, Stroke{})
	f.flag(c, (a+b)/2, r.Name, Third)
}

func (r Region) legend(*frame) (label, bool) { return label{}, false }

// Marker is an upright line at one x with its words at the top.
type Marker struct {
	X    float64
	Name string
}

func (m Marker) widen(x, _ *extent) { x.add(m.X) }

func (m Marker) draw(c Canvas, f *frame) {
	if !finite(m.X) || m.X < f.x.Low || m.X > f.x.High {
		return
	}
	x := f.at(m.X, 0).X
	c.Line(XY{x, f.top}, XY{x, f.bottom}, Stroke{Color: Third, Width: 1, Dash: []float64{5, 3}})
	f.flag(c, x, m.Name, Third)
}

func (m Marker) legend(*frame) (label, bool) { return label{}, false }
