package lot

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"io"

	"dutybench/bench/plot"
)

//go:embed card.html
var cardHTML string

var cardPage = template.Must(template.New("card").Parse(cardHTML))

// Word is one control word on the card: what is scanned and what it does.
type Word struct{ Scan, Does string }

// Sizes of a barcode on the card: the module is a wide one, so that a plain
// printer draws it and a hand scanner reads it from the wall (chosen; 0.33 mm
// and up is common practice, no source).
const (
	module_mm = 0.4
	height_mm = 14
	widest_mm = 180 // what an A4 page has room for: 35 characters
)

type cardWord struct {
	Scan, Does string
	Bars       template.HTML
	Unprinted  string // why there is no barcode; empty when there is one
}

// Card writes a page with control words as barcodes, to hang beside the bench.
// A word with letters beyond ASCII has none, nor one that is too long for the
// page, and the page says so.
func Card(w io.Writer, words []Word) error {
	var v []cardWord
	for _, x := range words {
		scan := plot.Plain(x.Scan)
		w := cardWord{Scan: scan, Does: plot.Plain(x.Does)}
		switch widths, ok := Barcode(scan); {
		case !ok:
			w.Unprinted = "it has letters that Code 128 lacks"
		case modules(widths)*module_mm > widest_mm:
			w.Unprinted = "it is too long for the page"
		default:
			// Only numbers come out of the drawing, so that it needs no escaping.
			w.Bars = template.HTML(barcodeSVG(widths, module_mm, height_mm))
		}
		v = append(v, w)
	}
	var b bytes.Buffer
	if err := cardPage.Execute(&b, v); err != nil {
		return fmt.Errorf("lot: filling the card: %w", err)
	}
	if _, err := w.Write(b.Bytes()); err != nil {
		return fmt.Errorf("lot: writing the card; is there room, and may the folder be written to? %w", err)
	}
	return nil
}
