package report

import (
	"fmt"
	"io"
	"strings"

	"codeberg.org/go-pdf/fpdf"

	"dutybench/bench/plot"
	"dutybench/bench/plot/pdf"
)

// Margins and sizes of a page, in millimetres and points (chosen: as on the
// HTML page when it is printed).
const (
	marginX_mm   = 16.0
	marginTop_mm = 13.0
	marginEnd_mm = 15.0
	textWidth_mm = pdf.Width_mm - 2*marginX_mm
	size_pt      = 9.0
	small_pt     = 8.2
	lineHeight   = 1.32 // of the letters' size
	pt_mm        = 25.4 / 72
	unit_mm      = textWidth_mm / figureWidth
)

// tones are the colours of verdicts; the word says the same.
var tones = map[string]plot.Color{"good": "#2f6b45", "bad": "#8f2f2f", "open": "#7a5a12"}

// PDF writes the document as pages of A4.
func (d *Document) PDF(w io.Writer) error {
	s := d.set()
	return pdf.Write(w, s.doc)
}

// setter puts a document on pages, from top to bottom.
type setter struct {
	doc    *fpdf.Fpdf
	y      float64 // where the next line begins, from the top
	size   float64 // of common text, in points
	gap    float64 // between blocks, in millimetres
	keep   float64 // room that a heading needs below it
	photos int
}

// set sets the whole document.
func (d *Document) set() *setter {
	s := &setter{doc: pdf.New(pdf.About{Title: d.Title + " " + d.Number, Author: d.Issuer[0], Subject: d.Stands, Created: d.Issued}),
		size: size_pt, gap: 1.5, keep: 22}
	if d.Small {
		s.size, s.gap, s.keep = small_pt, 0.8, 5
		if d.Scale > 0 {
			s.size, s.gap = small_pt*d.Scale, 0.8*d.Scale
		}
	}
	s.page()
	s.head(d)
	for i, b := range d.Blocks {
		if h, ok := b.(Heading); ok {
			var next Block
			if i+1 < len(d.Blocks) {
				next = d.Blocks[i+1]
			}
			s.heading(h.Text, next)
			continue
		}
		if w, ok := b.(Words); ok && strings.HasSuffix(w.Text, ":") && i+1 < len(d.Blocks) { // it leads to the next block
			s.need(s.room(w) + s.gap + s.room(d.Blocks[i+1]))
		}
		s.block(b)
	}
	if n := d.lacking(); n > 0 {
		s.paragraph(fmt.Sprintf("A box □ stands for a letter that the typeface of this file lacks, here %d times; the HTML version shows them.", n), pdf.Regular, s.size-0.8, plot.Faint)
	}
	s.y += s.gap
	s.paragraph(d.End, pdf.Bold, s.size, plot.Ink)
	n := s.doc.PageCount()
	for i := 1; i <= n; i++ {
		s.doc.SetPage(i)
		pdf.Text(s.doc, marginX_mm, pdf.Height_mm-8, d.Foot, pdf.Regular, 7, plot.Faint, plot.Start)
		pdf.Text(s.doc, pdf.Width_mm-marginX_mm, pdf.Height_mm-8, fmt.Sprintf("page %d of %d", i, n), pdf.Regular, 7.01, plot.Faint, plot.End)
	}
	return s
}

func (s *setter) page() {
	s.doc.AddPage()
	s.y = marginTop_mm
}

// bottom is where the text of a page ends.
func (s *setter) bottom() float64 { return pdf.Height_mm - marginEnd_mm }

// need begins a page when so much does not fit on this one.
func (s *setter) need(height float64) {
	if s.y+height > s.bottom() && s.y > marginTop_mm {
		s.page()
	}
}

// head is the title with the number, and who issues it.
func (s *setter) head(d *Document) {
	half := textWidth_mm*0.55 - 4
	top := s.y
	for i, l := range d.Issuer {
		face := pdf.Regular
		if i == 0 {
			face = pdf.Bold
		}
		s.column(marginX_mm, half, l, face, s.size, plot.Ink)
	}
	left := s.y
	s.y = top
	x, width := marginX_mm+half+4, textWidth_mm-half-4
	s.column(x, width, d.Title, pdf.Bold, s.size+5, plot.Ink)
	s.column(x, width, "Number "+d.Number, pdf.Regular, s.size-1, plot.Ink)
	s.column(x, width, "Issued "+at(d.Issued)+". "+d.Stands, pdf.Regular, s.size-1, plot.Ink)
	s.y = max(s.y, left) + s.gap
}

func (s *setter) block(b Block) {
	switch b := b.(type) {
	case Verdict:
		s.verdict(b)
	case Words:
		face, size, color := pdf.Regular, s.size, plot.Ink
		if b.Strong {
			face = pdf.Bold
		}
		if b.Remark {
			size, color = s.size-0.8, plot.Faint
		}
		s.paragraph(b.Text, face, size, color)
	case Bullets:
		for _, item := range b.Items {
			s.need(s.line(s.size))
			pdf.Text(s.doc, marginX_mm+1, s.y+s.size*pt_mm, "•", pdf.Regular, s.size, plot.Ink, plot.Start)
			s.column(marginX_mm+4, textWidth_mm-4, item, pdf.Regular, s.size, plot.Ink)
		}
	case Facts:
		s.facts(b)
	case Table:
		s.table(b)
	case Drawing:
		height := b.Height * unit_mm
		s.need(s.room(b))
		pdf.Draw(s.doc, b.Figure, marginX_mm, s.y, textWidth_mm, height, unit_mm)
		s.y += height + 0.5
		s.paragraph(b.Caption, pdf.Regular, s.size-0.8, plot.Faint)
	case Photos:
		s.pictures(b)
	case Mono:
		for _, l := range b.Lines {
			s.asIs(l)
		}
	}
	s.y += s.gap
}

// room is what a block needs in one piece: a figure and short words all of
// it, and of others their beginning.
func (s *setter) room(b Block) float64 {
	switch b := b.(type) {
	case Drawing:
		return b.Height*unit_mm + 2*s.line(s.size)
	case Words:
		return min(float64(len(broken(b.Text, pdf.Regular, s.size, textWidth_mm)))*s.line(s.size), longestKept)
	case Mono:
		lines := 0
		for _, l := range b.Lines {
			lines += 1 + int(pdf.Mono.Width(l, s.size-0.8)/textWidth_mm)
		}
		return min(float64(lines)*s.line(s.size-0.8), longestKept)
	case Photos:
		return 70
	}
	return s.keep
}

// heading is set only where what comes next can begin below it.
func (s *setter) heading(words string, next Block) {
	lines := broken(words, pdf.Bold, s.size+1.2, textWidth_mm)
	s.y += s.gap
	s.need(float64(len(lines))*s.line(s.size+1.2) + s.room(next) + 1.1)
	s.column(marginX_mm, textWidth_mm, words, pdf.Bold, s.size+1.2, plot.Ink)
	s.rule(s.y+0.2, plot.Grid, 0.25)
	s.y += 1.1
}

func (s *setter) rule(y float64, color plot.Color, width float64) {
	r, g, b, _ := color.RGB()
	s.doc.SetDrawColor(int(r), int(g), int(b))
	s.doc.SetLineWidth(width)
	s.doc.Line(marginX_mm, y, marginX_mm+textWidth_mm, y)
}
