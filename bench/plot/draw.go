package plot

import (
	"math"
	"slices"
	"strings"
)

// Draw puts the figure on a canvas of the given size.
func (g Figure) Draw(c Canvas, width, height float64) {
	text := g.Text
	if !(text > 0) {
		text = 12
	}
	var xs extent
	ys := make([]extent, len(g.Panels))
	for i, p := range g.Panels {
		var own extent
		for _, m := range p.Marks {
			m.widen(&own, &ys[i])
		}
		// A region or a marker alone holds no value; it must not stretch x.
		if ys[i].any && own.any {
			xs.add(own.low, own.high)
		}
	}
	if !xs.any || width < 8*text || height < 6*text {
		c.Text(XY{max(width/2, 0), max(height/2, text)}, "nothing to draw: no values here",
			Font{Size: text, Color: Faint, Anchor: Middle})
		return
	}
	g.panels(c, width, height, text, xs, ys)
}

func (g Figure) panels(c Canvas, width, height, text float64, xs extent, ys []extent) {
	small := text * 0.92
	frames := make([]frame, len(g.Panels))
	bottom := height - text*2.9
	var shares float64
	for _, p := range g.Panels {
		shares += share(p)
	}
	left, right, y := text*2, text, 0.0
	for i, p := range g.Panels {
		f := &frames[i]
		f.text = text
		f.x = xScale(g.X, xs, 1) // the ends hold, the ticks follow
		f.top = y + text*1.9
		if i > 0 {
			f.top += text * 0.8 // clear of marks on the floor above
		}
		y += bottom * share(p) / shares
		f.bottom = y
		f.y = yScale(p, ys[i], int(max(3, min((f.bottom-f.top)/(text*2), 8))))
		for _, t := range f.y.Ticks {
			left = max(left, TextWidth(f.y.Words(t), small)+10)
		}
		for _, m := range p.Marks {
			if l, ok := m.legend(f); ok {
				w := TextWidth(Plain(l.text), text) + 15
				if l.glyph || l.swatch {
					w += 13
				} else {
					w *= 1.1 // words alone, in a wide face
				}
				right = max(right, w)
			}
		}
	}
	right = min(right, width*0.4)
	for i := range frames {
		f := &frames[i]
		f.left, f.right = left, width-right
	}
	x := xScale(g.X, xs, int(max(2, min((width-left-right)/(text*3.4), 12))))
	for i, p := range g.Panels {
		f := &frames[i]
		f.x = x
		drawPanel(c, f, p, ys[i].any)
	}
	last := frames[len(frames)-1]
	for _, t := range x.Ticks {
		c.Text(XY{last.at(t, 0).X, last.bottom + text*1.25}, x.Words(t),
			Font{Size: small, Color: Faint, Anchor: Middle})
	}
	c.Text(XY{last.right, last.bottom + text*2.5}, axisWords(g.X), Font{Size: text, Color: Ink, Anchor: End})
}

func drawPanel(c Canvas, f *frame, p Panel, any bool) {
	c.Text(XY{2, f.top - f.text*0.75}, axisWords(p.Y), Font{Size: f.text, Color: Ink})
	// Bands and regions lie below the grid, lines and points above it.
	for _, m := range p.Marks {
		if under(m) {
			m.draw(c, f)
		}
	}
	grid := Stroke{Color: Grid, Width: 0.7}
	free := math.Inf(1) // above the words of the tick below
	for _, t := range f.y.Ticks {
		at := f.at(f.x.Low, t)
		c.Line(XY{f.left, at.Y}, XY{f.right, at.Y}, grid)
		if any && at.Y <= free {
			free = at.Y - f.text*0.9
			c.Text(XY{f.left - 6, at.Y + f.text*0.33}, f.y.Words(t),
				Font{Size: f.text * 0.92, Color: Faint, Anchor: End})
		}
	}
	for _, t := range f.x.Ticks {
		at := f.at(t, f.y.Low)
		c.Line(XY{at.X, f.bottom}, XY{at.X, f.bottom + 4}, Stroke{Color: Ink, Width: 1})
	}
	c.Line(XY{f.left, f.bottom}, XY{f.right, f.bottom}, Stroke{Color: Ink, Width: 1})
	c.Line(XY{f.left, f.top}, XY{f.left, f.bottom}, Stroke{Color: Ink, Width: 1})
	if !any {
		c.Text(XY{(f.left + f.right) / 2, (f.top+f.bottom)/2 + f.text*0.35}, "nothing to draw: not sampled",
			Font{Size: f.text, Color: Faint, Anchor: Middle})
		return
	}
	var ls []label
	for _, m := range p.Marks {
		if !under(m) {
			m.draw(c, f)
		}
		if l, ok := m.(Line); ok && p.Y.Held > 0 {
			f.offTop(c, l, p.Y.Unit)
		}
		if l, ok := m.legend(f); ok {
			ls = append(ls, l)
		}
	}
	f.labels(c, ls)
}

func under(m Mark) bool {
	switch m.(type) {
	case Band, Region:
		return true
	}
	return false
}

func share(p Panel) float64 {
	if p.Share > 0 {
		return p.Share
	}
	return 1
}

func axisWords(a Axis) string {
	var parts []string
	for _, s := range []string{a.Label, a.Unit} {
		if s != "" {
			parts = append(parts, Plain(s))
		}
	}
	return strings.Join(parts, ", ")
}

func xScale(a Axis, e extent, most int) Scale {
	if a.Range != nil {
		e = extent{low: a.Range.Low, high: a.Range.High, any: true}
	}
	if a.Zero {
		e.add(0)
	}
	return whole(a, Within(e.low, e.high, most))
}

// whole leaves out the ticks between whole numbers where an axis counts.
func whole(a Axis, s Scale) Scale {
	if !a.Whole || s.Step >= 1 {
		return s
	}
	between := func(x float64) bool { return math.Abs(x-math.Round(x)) > s.Step/4 }
	if ticks := slices.DeleteFunc(slices.Clone(s.Ticks), between); len(ticks) > 0 {
		s.Ticks, s.Step, s.Decimals = ticks, 1, 0
	}
	return s
}

func yScale(p Panel, e extent, most int) Scale {
	if p.Y.Range != nil {
		return whole(p.Y, Within(p.Y.Range.Low, p.Y.Range.High, most))
	}
	if p.Y.Held > 0 {
		e = heldExtent(p, e)
	}
	if p.Y.AtLeast != 0 {
		e.add(p.Y.AtLeast)
	}
	if p.Y.Zero {
		e.add(0)
		// Noise around zero asks for no room on the other side of it.
		if e.low < 0 && -e.low < 0.03*e.high {
			e.low = 0
		}
		if e.high > 0 && e.high < -0.03*e.low {
			e.high = 0
		}
	}
	if !e.any {
		e.add(0, 1)
	}
	return whole(p.Y, Nice(e.low, e.high, most))
}

// heldExtent lowers the top of a panel to what its lines hold for longer than
// a short peak, when the peaks stand far higher.
func heldExtent(p Panel, e extent) extent {
	var others extent
	for _, m := range p.Marks {
		if _, ok := m.(Line); !ok {
			var x extent
			m.widen(&x, &others)
		}
	}
	others.add(p.Y.AtLeast)
	top := others
	for _, m := range p.Marks {
		if l, ok := m.(Line); ok {
			top.add(HeldTop(l.X, l.Y, p.Y.Held, max(others.high, 0)))
		}
	}
	if top.any {
		e.high = min(e.high, top.high)
	}
	return e
}

// HeldTop is where an axis for y may end: at the highest value or, when peaks
// shorter than window (in units of x) stand more than twice as high as what
// is held for longer, a fifth above that. It is never below least; 0 without
// a finite value.
func HeldTop(x, y []float64, window, least float64) float64 {
	var xs, e extent
	Line{X: x, Y: y}.widen(&xs, &e)
	if !e.any {
		return max(least, 0)
	}
	top := max(held(x, y, window), least)
	if top > 0 && e.high > 2*top {
		return max(top*1.2, least)
	}
	return max(e.high, least)
}
