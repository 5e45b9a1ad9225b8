package report

import (
	"bytes"
	"fmt"

	"codeberg.org/go-pdf/fpdf"

	"dutybench/bench/plot"
	"dutybench/bench/plot/pdf"
)

// pictures sets photos in two columns, each within its box.
func (s *setter) pictures(p Photos) {
	const apart, tall = 6.0, 62.0
	width := (textWidth_mm - apart) / 2
	for i := 0; i < len(p.Items); i += 2 {
		pair := p.Items[i:min(i+2, len(p.Items))]
		height, words := 0.0, 0
		for _, x := range pair {
			_, h := fitted(x, width, tall)
			height = max(height, h)
			words = max(words, len(broken(x.Caption, pdf.Regular, s.size-0.8, width)))
		}
		s.need(height + float64(words)*s.line(s.size-0.8) + 1)
		top := s.y
		low := top
		for j, x := range pair {
			left := marginX_mm + float64(j)*(width+apart)
			w, h := fitted(x, width, tall)
			if x.JPEG != nil {
				s.photos++
				name := fmt.Sprint("photo", s.photos)
				o := fpdf.ImageOptions{ImageType: "JPG"}
				s.doc.RegisterImageOptionsReader(name, o, bytes.NewReader(x.JPEG))
				s.doc.ImageOptions(name, left, top, w, h, false, o, 0, "")
			}
			s.y = top + height + 0.6
			s.column(left, width, x.Caption, pdf.Regular, s.size-0.8, plot.Faint)
			low = max(low, s.y)
		}
		s.y = low + 1.5
	}
}

// fitted is the size of a photo within a box.
func fitted(p Photo, width, height float64) (w, h float64) {
	if p.JPEG == nil || p.Width < 1 || p.Height < 1 {
		return 0, 0
	}
	k := min(width/float64(p.Width), height/float64(p.Height))
	return float64(p.Width) * k, float64(p.Height) * k
}
