package report

import (
	"dutybench/bench/plot"
	"dutybench/bench/plot/pdf"
)

// mostLines is how long a value may be to stand in a column of facts; a
// longer one gets the whole width.
const mostLines = 4

// facts sets keys above their values, in columns.
func (s *setter) facts(f Facts) {
	if f.Columns < 2 {
		for _, x := range f.Items {
			s.beside(marginX_mm, 42, textWidth_mm, x, s.size)
			s.y += 0.5
		}
		return
	}
	const apart = 4
	width := (textWidth_mm - apart*float64(f.Columns-1)) / float64(f.Columns)
	var row []Fact
	flush := func() {
		height := 0.0
		for _, x := range row {
			height = max(height, s.line(s.size-0.8)*float64(len(broken(x.Key, pdf.Regular, s.size-0.8, width)))+
				s.line(s.size)*float64(len(broken(x.Value, pdf.Regular, s.size, width))))
		}
		s.need(height)
		top := s.y
		for i, x := range row {
			s.y = top
			at := marginX_mm + float64(i)*(width+apart)
			s.column(at, width, x.Key, pdf.Regular, s.size-0.8, plot.Faint)
			s.column(at, width, x.Value, pdf.Regular, s.size, plot.Ink)
		}
		s.y = top + height + 0.7
		row = row[:0]
	}
	for _, x := range f.Items {
		if len(broken(x.Value, pdf.Regular, s.size, width)) > mostLines || len(broken(x.Key, pdf.Regular, s.size, width)) > mostLines {
			if len(row) > 0 {
				flush()
			}
			s.need(3 * s.line(s.size)) // the key does not stand alone
			s.column(marginX_mm, textWidth_mm, x.Key, pdf.Regular, s.size-0.8, plot.Faint)
			s.column(marginX_mm, textWidth_mm, x.Value, pdf.Regular, s.size, plot.Ink)
			s.y += 0.7
			continue
		}
		if row = append(row, x); len(row) == f.Columns {
			flush()
		}
	}
	if len(row) > 0 {
		flush()
	}
}

// table sets rows below their heads; the heads stand again on a new page.
func (s *setter) table(t Table) {
	const apart = 3
	var all float64
	for _, x := range t.Shares {
		all += x
	}
	xs, widths := make([]float64, len(t.Heads)), make([]float64, len(t.Heads))
	x := marginX_mm
	for i := range t.Heads {
		w := textWidth_mm * t.Shares[i] / all
		xs[i], widths[i] = x, w-apart
		x += w
	}
	size := s.size - 0.5
	heads := func() {
		top, low := s.y, s.y
		for i, h := range t.Heads {
			s.y = top
			s.column(xs[i], widths[i], h, pdf.Regular, size-0.4, plot.Faint)
			low = max(low, s.y)
		}
		s.y = low + 0.3
		s.rule(s.y, plot.Grid, 0.2)
		s.y += 0.4
	}
	s.need(4 * s.line(size))
	heads()
	for _, r := range t.Rows {
		cells, height := make([][]string, len(t.Heads)), 1
		face := make([]pdf.Face, len(t.Heads))
		for i := range t.Heads {
			if i < len(r.Cells) {
				if i == t.Result && r.Tone == "bad" {
					face[i] = pdf.Bold
				} else if i == t.Result && r.Tone == "open" {
					face[i] = pdf.Italic
				}
				cells[i] = broken(r.Cells[i], face[i], size, widths[i])
				height = max(height, len(cells[i]))
			}
		}
		if h := float64(height)*s.line(size) + 0.8; s.y+h > s.bottom() && h < s.bottom()-marginTop_mm-12 {
			s.page()
			heads()
		}
		s.row(cells, xs, face, size, height, heads, t, r.Tone)
	}
}

// row sets the cells of one row, line by line where it is longer than a page.
func (s *setter) row(cells [][]string, xs []float64, face []pdf.Face, size float64, height int, heads func(), t Table, tone string) {
	for from := 0; from < height; {
		room := int((s.bottom() - s.y - 0.8) / s.line(size))
		if room < 1 {
			s.page()
			heads()
			continue
		}
		to := min(height, from+room)
		for i, c := range cells {
			color := plot.Ink
			if i == t.Result && tone != "" && tone != "good" {
				color = tones[tone]
			}
			for n := from; n < min(to, len(c)); n++ {
				pdf.Text(s.doc, xs[i], s.y+float64(n-from)*s.line(size)+size*pt_mm, c[n], face[i], size, color, plot.Start)
			}
		}
		s.y += float64(to-from)*s.line(size) + 0.4
		from = to
	}
	s.rule(s.y, "#e1e6e8", 0.15)
	s.y += 0.4
}
