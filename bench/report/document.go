package report

import (
	"time"

	"dutybench/bench/plot"
)

// Document is what a report says, before it is set as HTML or PDF: both say
// the same. All its words are plain, in the order in which they are read.
type Document struct {
	Title  string
	Number string    // of this report
	Issued time.Time // when it was made
	// Issuer is who answers for it, a line each; Stands what it is not.
	Issuer []string
	Stands string
	Blocks []Block
	// End is the last line of all, and Foot stands at the foot of every page
	// before the page's number.
	End, Foot string
	// Small sets it for one page; Scale makes its letters smaller still, where
	// it is not 0.
	Small bool
	Scale float64
}

// Block is a part of a document: Verdict, Heading, Words, Bullets, Facts,
// Table, Drawing, Photos or Mono.
type Block interface{ block() }

// Verdict is what a report says first.
type Verdict struct {
	Word, Tone, Sentence string
	Acts                 []Fact
}

// Heading begins a section.
type Heading struct{ Text string }

// Words is a paragraph; a remark is set smaller, what is strong bolder.
type Words struct {
	Text           string
	Remark, Strong bool
}

// Bullets is a list.
type Bullets struct{ Items []string }

// Facts are keys and their values, in columns side by side.
type Facts struct {
	Items   []Fact
	Columns int // 0: one
}

// Table has a row of heads. Tone of a row is good, bad or open, and Result
// the column (from 0) whose words show it.
type Table struct {
	Heads  []string
	Shares []float64 // of the width
	Rows   []Row
	Result int
}

// Row is one row of a table.
type Row struct {
	Cells []string
	Tone  string
}

// Drawing is a figure with the words below it.
type Drawing struct {
	Figure  plot.Figure
	ID      string
	Height  float64 // in units of the figure, of which 760 make the width
	Caption string
}

// figureWidth is how many of a figure's units make the width of a page.
const figureWidth = 760

// Photos stand side by side.
type Photos struct{ Items []Photo }

// Photo is a picture that was kept with the test, made small for a page.
type Photo struct {
	Caption string
	JPEG    []byte // nil when there is none to show; the caption says why
	Width   int    // in pixels
	Height  int
}

// Mono is lines in letters of one width that must be kept as they are.
type Mono struct{ Lines []string }

func (Verdict) block() {}
func (Heading) block() {}
func (Words) block()   {}
func (Bullets) block() {}
func (Facts) block()   {}
func (Table) block()   {}
func (Drawing) block() {}
func (Photos) block()  {}
func (Mono) block()    {}

// add appends blocks.
func (d *Document) add(b ...Block) { d.Blocks = append(d.Blocks, b...) }

// section appends a heading and what stands below it; nothing without that.
func (d *Document) section(heading string, b ...Block) {
	var full []Block
	for _, x := range b {
		if !empty(x) {
			full = append(full, x)
		}
	}
	if len(full) > 0 {
		d.add(Heading{heading})
		d.add(full...)
	}
}

func empty(b Block) bool {
	switch b := b.(type) {
	case nil:
		return true
	case Words:
		return b.Text == ""
	case Bullets:
		return len(b.Items) == 0
	case Facts:
		return len(b.Items) == 0
	case Table:
		return len(b.Rows) == 0
	case Photos:
		return len(b.Items) == 0
	case Mono:
		return len(b.Lines) == 0
	}
	return false
}

// texts calls f with each of the document's texts, in the order of reading,
// but for the words in figures.
func (d *Document) texts(f func(string)) {
	facts := func(list []Fact) {
		for _, x := range list {
			f(x.Key)
			f(x.Value)
		}
	}
	all := func(list []string) {
		for _, s := range list {
			f(s)
		}
	}
	all(d.Issuer)
	all([]string{d.Title, d.Number, d.Stands})
	for _, b := range d.Blocks {
		switch b := b.(type) {
		case Verdict:
			all([]string{b.Word, b.Sentence})
			facts(b.Acts)
		case Heading:
			f(b.Text)
		case Words:
			f(b.Text)
		case Bullets:
			all(b.Items)
		case Facts:
			facts(b.Items)
		case Table:
			all(b.Heads)
			for _, r := range b.Rows {
				all(r.Cells)
			}
		case Drawing:
			f(b.Caption)
		case Photos:
			for _, p := range b.Items {
				f(p.Caption)
			}
		case Mono:
			all(b.Lines)
		}
	}
	all([]string{d.End})
}
