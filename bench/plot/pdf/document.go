// Package pdf draws figures of package plot on the pages of a PDF: as vector
// paths and as text in faces that the file carries with it. The same content
// gives the same bytes.
package pdf

import (
	"bytes"
	"fmt"
	"io"
	"time"

	"codeberg.org/go-pdf/fpdf"

	"dutybench/bench/plot"
)

// A4 in millimetres (ISO 216).
const (
	Width_mm  = 210.0
	Height_mm = 297.0
)

// About is what a document says of itself.
type About struct {
	Title, Author, Subject string
	Created                time.Time
}

// New is an empty document of A4 pages in millimetres, with the faces in it.
// The origin of a page is its upper left corner.
func New(a About) *fpdf.Fpdf {
	d := fpdf.New("P", "mm", "A4", "")
	d.SetMargins(0, 0, 0)
	d.SetAutoPageBreak(false, 0)
	d.SetCatalogSort(true)
	created := a.Created.UTC()
	d.SetCreationDate(created)
	d.SetModificationDate(created)
	d.SetProducer("dutybench", true)
	d.SetTitle(plot.Plain(a.Title), true)
	d.SetAuthor(plot.Plain(a.Author), true)
	d.SetSubject(plot.Plain(a.Subject), true)
	d.SetLang("en")
	for face := range faces {
		d.AddUTF8FontFromBytes(faces[face].family, faces[face].style, bytes.Clone(faces[face].file))
	}
	d.SetLineCapStyle("butt")
	d.SetLineJoinStyle("round")
	return d
}

// Write ends the document and writes it.
func Write(w io.Writer, d *fpdf.Fpdf) error {
	if err := d.Output(w); err != nil {
		return fmt.Errorf("pdf: the document cannot be written; is there room? %w", err)
	}
	return nil
}

// Text sets words on the baseline at x, y in millimetres, in letters of so
// many points, and gives their width. Letters that the face lacks are shown
// as boxes.
func Text(d *fpdf.Fpdf, x, y float64, words string, face Face, size_pt float64, color plot.Color, anchor plot.Anchor) float64 {
	words, _ = Shown(words)
	w := face.Width(words, size_pt)
	switch anchor {
	case plot.Middle:
		x -= w / 2
	case plot.End:
		x -= w
	}
	if words == "" {
		return 0
	}
	r, g, b, _ := color.RGB()
	d.SetTextColor(int(r), int(g), int(b))
	f := &faces[face.known()]
	d.SetFont(f.family, f.style, size_pt)
	d.Text(x, y, words)
	return w
}
