package plot

import (
	"fmt"
	"math"
	"strings"
)

// Terminal draws in characters.
type Terminal struct {
	// Width and Height in characters, axes included; 0 means 80 and 16.
	Width, Height int
	// Unicode allows triangles, shades and blocks; without it plain ASCII.
	Unicode bool
	// Colour adds ANSI colour to what shapes already tell.
	Colour bool
}

// Dot is one measured point of a curve. NaN in U, Low or High means none.
type Dot struct {
	X, Y, U, Low, High float64
	Up                 bool
}

// Outside says that the point lies outside its limits.
func (d Dot) Outside() bool { return d.Y < d.Low || d.Y > d.High }

// cell is one character with its colour, 0 for none.
type cell struct {
	r      rune
	colour int
}

// ANSI colours of the terminal, each only where Colour is set.
const (
	ansiBand = 32
	ansiUp   = 36
	ansiDown = 33
	ansiOut  = 31
)

type glyphs struct {
	up, down, both, band rune
	axis, corner, tick   rune
	rule                 rune
}

func (t Terminal) glyphs() glyphs {
	if t.Unicode {
		return glyphs{'▲', '▽', '◆', '░', '│', '└', '┴', '─'}
	}
	return glyphs{'^', 'v', '*', ':', '|', '+', '+', '-'}
}

func (t Terminal) size() (width, height int) {
	width, height = t.Width, t.Height
	if width <= 0 {
		width = 80
	}
	if height <= 0 {
		height = 16
	}
	return max(width, 30), max(height, 8)
}

// Curve draws the sweep up and down inside the band of good units. y is the
// words above the axis and x those below it, such as "current, A". Each line
// ends with a line feed; none is wider than Width.
func (t Terminal) Curve(dots []Dot, x, y string) string {
	width, height := t.size()
	var xs, ys extent
	for _, d := range dots {
		if finite(d.X) && finite(d.Y) {
			xs.add(d.X)
			ys.add(d.Y, d.Low, d.High)
		}
	}
	if !xs.any {
		return "nothing to draw: no point of the curve was measured\n"
	}
	g := t.glyphs()
	sy, rows := t.rows(min(ys.low, 0), ys.high, height-4)
	margin := labelWidth(sy) + 1
	cols := width - margin - 2
	span := xs.high - xs.low
	sx := Within(xs.low-span*0.02, xs.high+span*0.02, max(2, cols/9))
	grid := newGrid(rows, cols)
	t.band(grid, dots, sx, sy)
	for _, d := range dots {
		if !finite(d.X) || !finite(d.Y) {
			continue
		}
		r, c := row(d.Y, sy, rows), column1(d.X, sx, cols)
		mark, colour := g.down, ansiDown
		if d.Up {
			mark, colour = g.up, ansiUp
		}
		if d.Outside() {
			colour = ansiOut
		}
		if old := grid[r][c].r; old == g.up || old == g.down || old == g.both {
			if old != mark {
				mark = g.both
			}
			if grid[r][c].colour == ansiOut {
				colour = ansiOut
			}
		}
		grid[r][c] = cell{mark, colour}
	}
	var b strings.Builder
	fmt.Fprintf(&b, "%s\n", clip(Plain(y), width))
	t.write(&b, grid, sx, sy, margin, g)
	b.WriteString(strings.Repeat(" ", max(0, margin+1+cols-runes(Plain(x)))) + clip(Plain(x), width) + "\n")
	signs := fmt.Sprintf("%c up   %c down   %c both   ", g.up, g.down, g.both)
	good := strings.Repeat(string(g.band), 3) + " good units"
	if margin+1+runes(signs+good) > width {
		signs = strings.TrimRight(signs, " ") + "\n" + strings.Repeat(" ", margin+1)
	}
	fmt.Fprintf(&b, "%*s %s%s\n", margin, "", signs, good)
	return b.String()
}

// rows is the scale upwards and how many rows it takes, at most most, so that
// ticks stand evenly; of the scales that fit, the one that gives the values
// most rows.
func (t Terminal) rows(low, high float64, most int) (s Scale, rows int) {
	best := math.Inf(-1)
	for intervals := 2; intervals <= max(2, most/2); intervals++ {
		now := Nice(low, high, intervals)
		n := max(1, len(now.Ticks)-1)
		r := n*max(1, (most-1)/n) + 1
		if used := float64(r) / (now.High - now.Low); used > best {
			s, rows, best = now, r, used
		}
	}
	return s, rows
}

// band fills the cells between the limits, straight from point to point.
func (t Terminal) band(grid [][]cell, dots []Dot, sx, sy Scale) {
	g := t.glyphs()
	rows, cols := len(grid), len(grid[0])
	for _, up := range []bool{true, false} {
		var prev *Dot
		for _, d := range ordered(dots, up) {
			from, to := column1(d.X, sx, cols), column1(d.X, sx, cols)
			if prev != nil {
				from = column1(prev.X, sx, cols)
			}
			for c := from; c <= to; c++ {
				lo, hi := d.Low, d.High
				if prev != nil && to > from {
					w := float64(c-from) / float64(to-from)
					lo, hi = prev.Low+w*(d.Low-prev.Low), prev.High+w*(d.High-prev.High)
				}
				if !finite(lo) {
					lo = sy.Low
				}
				if !finite(hi) {
					hi = sy.High
				}
				for r := row(hi, sy, rows); r <= row(lo, sy, rows); r++ {
					grid[r][c] = cell{g.band, ansiBand}
				}
			}
			prev = &d
		}
	}
}

// ordered is the points of one direction that have limits, x rising.
func ordered(dots []Dot, up bool) []Dot {
	var out []Dot
	for _, d := range dots {
		if d.Up != up || !finite(d.X) || !finite(d.Y) || (!finite(d.Low) && !finite(d.High)) {
			continue
		}
		i := len(out)
		for i > 0 && out[i-1].X > d.X {
			i--
		}
		out = append(out[:i], append([]Dot{d}, out[i:]...)...)
	}
	return out
}

// Wave draws a trace as columns from zero up, each as high as the highest
// value in it, so that a peak shorter than a column still stands. Values
// above top (0: none) are cut off and marked.
func (t Terminal) Wave(x, y []float64, top float64, xWords, yWords string) string {
	width, height := t.size()
	var xs, ys extent
	for i := range shortest(x, y) {
		if finite(x[i]) && finite(y[i]) {
			xs.add(x[i])
			ys.add(y[i])
		}
	}
	if !xs.any {
		return "nothing to draw: no sample here\n"
	}
	high := max(ys.high, 0)
	if top > 0 {
		high = top
	}
	sy, rows := t.rows(0, high, height-4)
	margin := labelWidth(sy) + 1
	cols := width - margin - 2
	sx := Within(xs.low, xs.high, max(2, cols/9))
	peak := make([]float64, cols)
	for c := range peak {
		peak[c] = math.NaN()
	}
	for i := range shortest(x, y) {
		if finite(x[i]) && finite(y[i]) {
			if c := column1(x[i], sx, cols); !(peak[c] >= y[i]) {
				peak[c] = y[i]
			}
		}
	}
	grid := newGrid(rows, cols)
	cut := t.columns(grid, peak, sy)
	var b strings.Builder
	head := Plain(yWords)
	if cut {
		note := fmt.Sprintf("%c runs off the top, to %s", t.arrow(), Short(ys.high, 3))
		if runes(head+note)+3 <= width {
			head += "   " + note
		} else {
			b.WriteString(clip(note, width) + "\n")
		}
	}
	b.WriteString(clip(head, width) + "\n")
	t.write(&b, grid, sx, sy, margin, t.glyphs())
	b.WriteString(strings.Repeat(" ", max(0, margin+1+cols-runes(Plain(xWords)))) + clip(Plain(xWords), width) + "\n")
	return b.String()
}

func (t Terminal) arrow() rune {
	if t.Unicode {
		return '↑'
	}
	return '^'
}

// columns fills each column up to its peak and reports whether one was cut.
func (t Terminal) columns(grid [][]cell, peak []float64, sy Scale) (cut bool) {
	rows := len(grid)
	eighths := []rune(" ▁▂▃▄▅▆▇█")
	last := 0
	for c, v := range peak {
		n := last // a column without a sample repeats the one before
		if finite(v) {
			n = int(math.Round(part(v, sy) * float64(rows) * 8))
			last = n
		}
		for r := range rows {
			fill := max(0, min(8, n-(rows-1-r)*8))
			switch {
			case t.Unicode:
				grid[r][c].r = eighths[fill]
			case fill >= 4:
				grid[r][c].r = '#'
			case fill > 0:
				grid[r][c].r = '.'
			}
			if fill > 0 {
				grid[r][c].colour = ansiUp
			}
		}
		if v > sy.High {
			grid[0][c] = cell{t.arrow(), ansiOut}
			cut = true
		}
	}
	return cut
}

// write puts out the grid with its axes.
func (t Terminal) write(b *strings.Builder, grid [][]cell, sx, sy Scale, margin int, g glyphs) {
	rows, cols := len(grid), len(grid[0])
	words := make([]string, rows)
	for _, v := range sy.Ticks {
		words[row(v, sy, rows)] = sy.Words(v)
	}
	for r, line := range grid {
		fmt.Fprintf(b, "%*s %c", margin-1, words[r], g.axis)
		end := len(line)
		for end > 0 && (line[end-1].r == ' ' || line[end-1].r == 0) {
			end--
		}
		colour := 0
		for _, c := range line[:end] {
			if t.Colour && c.colour != colour {
				colour = c.colour
				fmt.Fprintf(b, "\x1b[%dm", colour)
			}
			b.WriteRune(c.r)
		}
		if colour != 0 {
			b.WriteString("\x1b[0m")
		}
		b.WriteByte('\n')
	}
	rule := []rune(strings.Repeat(string(g.rule), cols))
	under := []rune(strings.Repeat(" ", margin+1+cols))
	free := 0
	for _, v := range sx.Ticks {
		c := column1(v, sx, cols)
		rule[c] = g.tick
		w := []rune(sx.Words(v))
		at := min(max(margin+1+c-len(w)/2, 0), len(under)-len(w))
		if at >= free && at >= 0 {
			copy(under[at:], w)
			free = at + len(w) + 1
		}
	}
	fmt.Fprintf(b, "%*s%c%s\n", margin, "", g.corner, string(rule))
	b.WriteString(strings.TrimRight(string(under), " ") + "\n")
}

func newGrid(rows, cols int) [][]cell {
	g := make([][]cell, rows)
	for r := range g {
		g[r] = make([]cell, cols)
		for c := range g[r] {
			g[r][c].r = ' '
		}
	}
	return g
}

func labelWidth(s Scale) int {
	w := 1
	for _, v := range s.Ticks {
		w = max(w, runes(s.Words(v)))
	}
	return w + 1
}

func row(v float64, s Scale, rows int) int {
	return rows - 1 - int(math.Round(part(v, s)*float64(rows-1)))
}

func column1(v float64, s Scale, cols int) int {
	return int(math.Round(part(v, s) * float64(cols-1)))
}

func runes(s string) int { return len([]rune(s)) }

// clip cuts a text to so many characters.
func clip(s string, width int) string {
	if r := []rune(s); len(r) > width {
		return string(r[:width])
	}
	return s
}
