package trace

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"
)

// ReadFile reads the trace in a file; see Read.
func ReadFile(path string) (*Trace, error) { return ReadFileMapped(path, nil) }

// ReadFileMapped reads a foreign recording through a mapping; see ReadMapped.
// A nil mapping reads a trace file.
func ReadFileMapped(path string, m *Mapping) (*Trace, error) {
	return new(Reader).ReadFile(path, m)
}

// Read reads a trace in the format that the package comment states. source
// names it in messages. A byte-order mark, quoted cells, empty cells at the
// end of a row, empty lines and spaces around a number are tolerated. What is
// wrong comes back as *Error; what is only odd, as Warnings in the trace.
//
// The stream is read in pieces, so that memory is that of the samples: 8
// bytes a cell, and one piece. MaxBytes, MaxSamples, MaxLine, MaxColumns and
// MaxComments bound what is read.
func Read(r io.Reader, source string) (*Trace, error) { return ReadMapped(r, source, nil) }

// reader is the state of reading one stream.
type reader struct {
	*lines
	comments  comments
	columns   []builder
	mapping   *Mapping // nil for a trace file
	delimiter byte
	timeAt    int // index of the time column
	rows      int
	room      int   // rows that the columns have memory for
	rowsFrom  int64 // offset of the first row
	warnings  []string
	lanes     []lane  // see plain
	again     *Reader // whose memory is used
}

func (r *reader) bad(problem, advice string) *Error {
	return &Error{Source: r.source, Line: r.number, Problem: problem, Advice: advice}
}

func (r *reader) badCell(b *builder, problem, advice string) *Error {
	e := r.bad(problem, advice)
	e.Column, e.Name = b.at, b.name
	return e
}

// preamble reads the comment lines and returns the first line that is none.
func (r *reader) preamble() ([]byte, error) {
	for {
		line, err := r.next()
		if errors.Is(err, io.EOF) {
			return nil, r.nothing()
		}
		if err != nil {
			return nil, err
		}
		switch {
		case len(bytes.TrimSpace(line)) == 0:
		case isComment(line):
			if err := r.comment(line); err != nil {
				return nil, err
			}
		default:
			return line, nil
		}
	}
}

// comment takes one comment line.
func (r *reader) comment(line []byte) error {
	if bytes.IndexByte(line, '\r') >= 0 {
		return r.loneReturn(line)
	}
	s, ok := takeText(line, r.mapping != nil)
	if !ok {
		return r.bad("the comment is not UTF-8", "save the file as UTF-8")
	}
	e := parseComment(s)
	if r.mapping != nil {
		e = foreign(e, r.mapping.Meta)
	}
	if problem, advice := r.comments.add(e); problem != "" {
		return r.bad(problem, advice)
	}
	return nil
}

// loneReturn refuses a line that holds a carriage return: the line ends of a text, or
// just a byte of what is none.
func (r *reader) loneReturn(line []byte) error {
	if !utf8.Valid(line) || bytes.ContainsFunc(line, func(c rune) bool { return c < ' ' && c != '\t' && c != '\r' }) {
		return r.bad("this is no text file", "export the trace as CSV in UTF-8")
	}
	return r.bad("the lines end in a carriage return alone", "save the file with LF or CRLF line ends")
}

// nothing is the error of a file that ends before its header.
func (r *reader) nothing() error {
	if r.read == 0 {
		return &Error{Source: r.source, Line: 1, Problem: "the file is empty",
			Advice: "record the test again, or name another file"}
	}
	return &Error{Source: r.source, Line: max(r.number, 1), Problem: "the file ends before a header and rows",
		Advice: "a header line with " + strings.Join(required(), ", ") + " must follow the comments"}
}

// headings splits the header line; empty ones at the end are dropped.
func (r *reader) headings(line []byte) ([]string, error) {
	if bytes.IndexByte(line, '\r') >= 0 {
		return nil, r.loneReturn(line)
	}
	var names []string
	for pos := 0; pos <= len(line); {
		cell, _, end, ok := nextCell(line, pos, r.delimiter)
		if !ok {
			e := r.bad("the quotes of this heading are not closed", `close them with "`)
			e.Column = len(names) + 1
			return nil, e
		}
		name, ok := takeText(cell, r.mapping != nil)
		if !ok {
			return nil, r.bad("the header is not UTF-8", "save the file as UTF-8, or read it with a mapping (--map)")
		}
		if names = append(names, strings.TrimSpace(name)); len(names) > MaxColumns {
			return nil, r.bad("there are more than "+strconv.Itoa(MaxColumns)+" columns",
				"check that this is a trace, or map the columns that matter")
		}
		pos = end + 1
	}
	for len(names) > 0 && names[len(names)-1] == "" {
		names = names[:len(names)-1]
	}
	return names, nil
}

// header makes the columns of a trace file.
func (r *reader) header(line []byte) error {
	names, err := r.headings(line)
	if err != nil {
		return err
	}
	for i, name := range names {
		b := newBuilder(name, i+1)
		if name == "" {
			return r.badCell(&b, "the column has no heading", "name it in the header line")
		}
		if problem := unwritableName(name, i); problem != "" {
			return r.badCell(&b, problem, "rename the column")
		}
		if j := slices.Index(names[:i], name); j >= 0 {
			return r.badCell(&b, fmt.Sprintf("the heading %s already stands in column %d", quote(name), j+1),
				"rename or drop one of the two")
		}
		r.columns = append(r.columns, b)
	}
	for _, want := range required() {
		if !slices.Contains(names, want) {
			return r.missing(want, names, line)
		}
	}
	r.timeAt = slices.Index(names, ColTime)
	r.warnUnknown()
	return nil
}

// missing is the error of a header without a required column.
func (r *reader) missing(want string, names []string, line []byte) error {
	advice := "add the column to the header and rows, or describe the file with a mapping (--map)"
	if len(names) < 3 && bytes.ContainsAny(line, ";\t") {
		advice = "the columns seem to be parted by a semicolon or tab: read the file with a mapping (--map) that sets its delimiter"
	}
	for _, n := range names {
		if strings.EqualFold(n, want) {
			advice = "rename " + quote(n) + " to " + quote(want)
		}
	}
	e := r.bad("this required column is missing; the header has "+list(names), advice)
	e.Name = want
	return e
}

// warnUnknown says once of each column that the bench does not know it.
func (r *reader) warnUnknown() {
	n := 0
	for i := range r.columns {
		if knownColumns[r.columns[i].name] {
			continue
		}
		if n++; n <= maxUnknown {
			r.warnings = append(r.warnings, fmt.Sprintf("The column %s is not known; it was kept.", quote(r.columns[i].name)))
		}
	}
	if n > maxUnknown {
		r.warnings = append(r.warnings, fmt.Sprintf("%d more columns are not known; they were kept.", n-maxUnknown))
	}
}

// row reads one row of a trace file.
func (r *reader) row(line []byte) error {
	pos, last := 0, len(r.columns)-1
	for c := range r.columns {
		b := &r.columns[c]
		v, n := fastFloat(line[pos:])
		end := pos + n
		if n == 0 || b.isText || end < len(line) && line[end] != ',' {
			var err error
			if end, err = r.cell(b, line, pos); err != nil {
				return err
			}
		} else {
			if b.checked {
				if problem, advice := b.check(v); problem != "" {
					return r.badCell(b, problem, advice)
				}
			}
			b.values = append(b.values, v)
		}
		if end >= len(line) && c < last {
			return r.tooFew(c + 1)
		}
		pos = end + 1
	}
	if pos < len(line) && len(bytes.Trim(line[pos:], ", \t")) > 0 {
		return r.bad(fmt.Sprintf("the row has more cells than the %d of the header", len(r.columns)),
			"check for a decimal comma or a missing heading")
	}
	return nil
}

const cutOff = "the file seems to be cut off: take out its last line, or record again"

func (r *reader) tooFew(n int) error {
	advice := "fill in the row or take it out"
	if r.cut {
		advice = cutOff
	}
	return r.bad(fmt.Sprintf("the row has %d cells where the header has %d", n, len(r.columns)), advice)
}

// cell reads a cell that is not simply a number.
func (r *reader) cell(b *builder, line []byte, pos int) (end int, err error) {
	cell, _, end, ok := nextCell(line, pos, ',')
	if !ok {
		return 0, r.badCell(b, "the quotes of this cell are not closed", `close them with " on the same line`)
	}
	if len(cell) == 0 {
		switch {
		case b.required && r.cut && end >= len(line):
			return 0, r.badCell(b, "the cell is empty", cutOff)
		case b.required:
			return 0, r.badCell(b, "the cell is empty", "every row needs "+strings.Join(required(), ", ")+
				": take the row out, or read the file with a mapping (--map) that says what an empty cell means")
		}
		b.put(math.NaN())
		return end, nil
	}
	v, f := parseFloat(cell)
	if f != fine || b.isText {
		return end, r.text(b, cell, f)
	}
	if problem, advice := b.check(v); problem != "" {
		return 0, r.badCell(b, problem, advice)
	}
	b.put(v)
	return end, nil
}

// text adds a cell that is no number, where the column may hold text.
func (r *reader) text(b *builder, cell []byte, f fault) error {
	if !b.textual {
		return r.badNumber(b, cell, f)
	}
	s, ok := takeText(cell, r.mapping != nil)
	if !ok {
		return r.badCell(b, "the cell is not UTF-8", "save the file as UTF-8")
	}
	if strings.ContainsRune(s, '\r') {
		return r.loneReturn(nil)
	}
	b.putText(s)
	return nil
}

func (r *reader) badNumber(b *builder, cell []byte, f fault) error {
	switch {
	case f == notFinite:
		return r.badCell(b, quote(cell)+" is not a finite number",
			"take the row out, or leave the cell empty where the channel was not sampled")
	case isComment(cell):
		return r.badCell(b, "a comment stands among the rows", "comment lines come before the header")
	case b.required:
		return r.badCell(b, quote(cell)+" is no number", "write a plain decimal number with a point, such as 4.79")
	}
	return r.badCell(b, quote(cell)+" is no number",
		"write a plain decimal number with a point, or leave the cell empty where the channel was not sampled")
}
