package report

import (
	"cmp"
	"strings"

	"dutybench/bench/plot"
	"dutybench/bench/plot/pdf"
)

// broken is words in lines of a width in millimetres, broken at blanks, and
// within words that are wider than a line.
func broken(words string, face pdf.Face, size_pt, width float64) []string {
	words, _ = pdf.Shown(words)
	var lines []string
	line, used := "", 0.0
	blank := face.Width(" ", size_pt)
	for _, w := range strings.Split(words, " ") {
		if w == "" {
			continue
		}
		wide := face.Width(w, size_pt)
		switch {
		case line == "":
			line, used = w, wide
		case used+blank+wide <= width:
			line, used = line+" "+w, used+blank+wide
		default:
			lines = append(lines, line)
			line, used = w, wide
		}
		for used > width {
			n := fitting(line, face, size_pt, width)
			lines = append(lines, line[:n])
			line = line[n:]
			used = face.Width(line, size_pt)
		}
	}
	if line != "" {
		lines = append(lines, line)
	}
	return lines
}

// lacking is how many letters of the document the typefaces do not have.
func (d *Document) lacking() int {
	sum := 0
	d.texts(func(s string) {
		_, n := pdf.Shown(s)
		sum += n
	})
	return sum
}

// fitting is how many bytes of a word fit into a width: at least a letter.
func fitting(word string, face pdf.Face, size_pt, width float64) int {
	used := 0.0
	for i, r := range word {
		w := face.Width(string(r), size_pt)
		if i > 0 && used+w > width {
			return i
		}
		used += w
	}
	return len(word)
}

// line is the height of a line of text.
func (s *setter) line(size float64) float64 { return size * pt_mm * lineHeight }

func (s *setter) paragraph(words string, face pdf.Face, size float64, color plot.Color) {
	s.column(marginX_mm, textWidth_mm, words, face, size, color)
}

// column sets words within a width, over as many pages as they need.
func (s *setter) column(x, width float64, words string, face pdf.Face, size float64, color plot.Color) {
	for _, l := range broken(words, face, size, width) {
		s.need(s.line(size))
		pdf.Text(s.doc, x, s.y+size*pt_mm, l, face, size, color, plot.Start)
		s.y += s.line(size)
	}
}

// asIs sets a line with its blanks, broken only where it is wider than the page.
func (s *setter) asIs(line string) {
	size := s.size - 0.8
	line, _ = pdf.Shown(line)
	if line == "" {
		s.y += s.line(size)
	}
	for line != "" {
		n := fitting(line, pdf.Mono, size, textWidth_mm)
		s.need(s.line(size))
		pdf.Text(s.doc, marginX_mm, s.y+size*pt_mm, line[:n], pdf.Mono, size, plot.Ink, plot.Start)
		s.y += s.line(size)
		line = line[n:]
	}
}

// verdict has a bar at its left: whole for good, double for bad, broken for
// what is open.
func (s *setter) verdict(v Verdict) {
	x, width, top := marginX_mm+5, textWidth_mm-5, s.y
	color := tones[cmp.Or(v.Tone, "open")]
	from := s.doc.PageNo()
	s.column(x, width, v.Word, pdf.Bold, s.size+8, plot.Ink)
	s.column(x, width, v.Sentence, pdf.Regular, s.size+1.8, plot.Ink)
	for _, a := range v.Acts {
		s.y += 0.6
		s.beside(x, 32, width, a, s.size)
	}
	to, end := s.doc.PageNo(), s.y
	for n := from; n <= to; n++ {
		s.doc.SetPage(n)
		low := s.bottom()
		if n == to {
			low = end
		}
		s.bar(v.Tone, color, top, low)
		top = marginTop_mm
	}
	s.y += s.gap
}

func (s *setter) bar(tone string, color plot.Color, top, low float64) {
	r, g, b, _ := color.RGB()
	s.doc.SetFillColor(int(r), int(g), int(b))
	switch tone {
	case "bad":
		s.doc.Rect(marginX_mm, top, 1, low-top, "F")
		s.doc.Rect(marginX_mm+1.8, top, 1, low-top, "F")
	case "good":
		s.doc.Rect(marginX_mm, top, 2, low-top, "F")
	default:
		for y := top; y < low; y += 4 {
			s.doc.Rect(marginX_mm, y, 2, min(2.5, low-y), "F")
		}
	}
}

// longestKept is how long a piece may be, in millimetres, to be kept on one
// page; a longer one goes over pages (chosen: a fifth of a page).
const longestKept = 55.0

// beside sets a key and its words to the right of it, on one page.
func (s *setter) beside(x, key, width float64, f Fact, size float64) {
	height := max(s.line(size-0.6)*float64(len(broken(f.Key, pdf.Regular, size-0.6, key-2))),
		s.line(size)*float64(len(broken(f.Value, pdf.Regular, size, width-key))))
	s.need(max(min(height, longestKept), s.line(size)))
	top, page := s.y, s.doc.PageNo()
	s.column(x, key-2, f.Key, pdf.Regular, size-0.6, plot.Faint)
	under := s.y
	if s.doc.PageNo() == page {
		s.y = top
	}
	s.column(x+key, width-key, f.Value, pdf.Regular, size, plot.Ink)
	if s.doc.PageNo() == page {
		s.y = max(s.y, under)
	}
}
