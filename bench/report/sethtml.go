package report

import (
	"bytes"
	_ "embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"unicode/utf8"
)

// columnLetters is how long a fact may be to stand in a column; a longer one
// gets the whole width, as on a PDF (chosen: four lines of a narrow column).
const columnLetters = 120

//go:embed kept.html
var keptHTML string

//go:embed kept.css
var keptCSS string

var keptPage = template.Must(template.New("kept").Funcs(template.FuncMap{
	"at":     at,
	"kind":   kindOf,
	"shares": shares,
	"tone": func(t Table, row Row, column int) string {
		if column == t.Result {
			return row.Tone
		}
		return ""
	},
	"long":   func(s string) bool { return utf8.RuneCountInString(s) > columnLetters },
	"anchor": func(i int) string { return fmt.Sprintf("s%d", i) },
	"figure": func(g Drawing) (template.HTML, error) {
		p, err := draw(g.Figure, g.ID, g.Height)
		return `<div class="wide">` + p.Wide + `</div><div class="narrow">` + p.Narrow + `</div>`, err
	},
	"photo": func(p Photo) template.URL { // of our own encoding, letters of base64 alone
		return template.URL("data:image/jpeg;base64," + base64.StdEncoding.EncodeToString(p.JPEG))
	},
}).Parse(keptHTML))

// HTML writes the document as one page that needs nothing else: no script,
// nothing fetched; printed, it gives A4 pages with their numbers.
func (d *Document) HTML(w io.Writer) error {
	var b bytes.Buffer
	if err := keptPage.Execute(&b, struct {
		*Document
		CSS      template.CSS
		Sections []part
	}{d, template.CSS(keptCSS + pageFoot(d) + scaled(d)), parts(d.Blocks)}); err != nil {
		return fmt.Errorf("report: filling the page: %w", err)
	}
	if _, err := w.Write(b.Bytes()); err != nil {
		return fmt.Errorf("report: writing the report; is there room, and may the folder be written to? %w", err)
	}
	return nil
}

// pageFoot puts number and page at the foot of each printed page (CSS Paged
// Media Module Level 3, 4.2).
func pageFoot(d *Document) string {
	plain := func(s string) string { // nothing that could leave the string
		var out []rune
		for _, r := range s {
			if r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '-' || r == ' ' {
				out = append(out, r)
			}
		}
		return string(out)
	}
	return fmt.Sprintf("@page { @bottom-left { content: %q; } @bottom-right { content: \"page \" counter(page) \" of \" counter(pages); } }\n", plain(d.Foot))
}

// scaled makes the letters of a printed card as much smaller as those of a PDF.
func scaled(d *Document) string {
	if !d.Small || d.Scale <= 0 {
		return ""
	}
	return fmt.Sprintf("@media print { body.small { font-size: %.2fpt; } }\n", 7.6*d.Scale)
}

// part is a heading and the blocks below it; the first has no heading.
type part struct {
	Heading string
	Blocks  []Block
}

func parts(blocks []Block) []part {
	out := []part{{}}
	for _, b := range blocks {
		if h, ok := b.(Heading); ok {
			out = append(out, part{Heading: h.Text})
			continue
		}
		p := &out[len(out)-1]
		p.Blocks = append(p.Blocks, b)
	}
	return out
}

// kindOf names a block's type for the template.
func kindOf(b Block) string {
	switch b.(type) {
	case Verdict:
		return "verdict"
	case Words:
		return "words"
	case Bullets:
		return "bullets"
	case Facts:
		return "facts"
	case Table:
		return "table"
	case Drawing:
		return "drawing"
	case Photos:
		return "photos"
	case Mono:
		return "mono"
	}
	return ""
}

// shares are a table's columns in percent of its width.
func shares(t Table) []int {
	var all float64
	for _, x := range t.Shares {
		all += x
	}
	out := make([]int, len(t.Shares))
	for i, x := range t.Shares {
		out[i] = int(100*x/all + 0.5)
	}
	return out
}
