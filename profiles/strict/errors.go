package strict

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"
)

// Problem is one thing wrong in a file, with its place and what would be
// right. Line and column count from 1, the column in characters.
type Problem struct {
	Line, Column int
	Text         string
	// Err is the cause, where another package gave one.
	Err error
}

// Error is all that is wrong with one file.
type Error struct {
	Package  string // whose word begins the message
	Source   string
	Problems []Problem // in order of line and column
}

// shown is how many problems a message holds at most.
const shown = 100

// Error gives each problem a line of its own: file, line, column and what
// would be right.
func (e *Error) Error() string {
	var b strings.Builder
	for i, p := range e.Problems {
		if i > 0 {
			b.WriteByte('\n')
		}
		if i == shown {
			fmt.Fprintf(&b, "%s: %s: and %d more", e.Package, e.Source, len(e.Problems)-shown)
			break
		}
		fmt.Fprintf(&b, "%s: %s:%d:%d: %s", e.Package, e.Source, p.Line, p.Column, p.Text)
	}
	return b.String()
}

// Unwrap gives the causes that came from elsewhere.
func (e *Error) Unwrap() []error {
	var errs []error
	for _, p := range e.Problems {
		if p.Err != nil {
			errs = append(errs, p.Err)
		}
	}
	return errs
}

// Place is an offset into the file. Line and column are worked out only for
// what goes into an error.
type Place int

// problems collects what is wrong while a file is read.
type problems struct {
	data   []byte
	format Format
	source string
	list   []found
}

type found struct {
	at   Place
	text string
	err  error
}

// Add notes a problem at a place.
func (ps *problems) Add(at Place, format string, args ...any) {
	ps.Cause(at, nil, format, args...)
}

// Cause notes a problem with the error behind it.
func (ps *problems) Cause(at Place, err error, format string, args ...any) {
	ps.list = append(ps.list, found{at, fmt.Sprintf(format, args...), err})
}

// Count is the number of problems so far.
func (ps *problems) Count() int { return len(ps.list) }

// Err is nil when nothing was wrong, else an *Error with all of it.
func (ps *problems) Err() error {
	if len(ps.list) == 0 {
		return nil
	}
	slices.SortStableFunc(ps.list, func(a, b found) int { return cmp.Compare(a.at, b.at) })
	e := &Error{Package: ps.format.Package, Source: ps.source}
	line, column, offset := 1, 1, 0
	for _, f := range ps.list {
		for ; offset < min(int(f.at), len(ps.data)); offset++ {
			switch c := ps.data[offset]; {
			case c == '\n':
				line, column = line+1, 1
			case utf8.RuneStart(c):
				column++
			}
		}
		e.Problems = append(e.Problems, Problem{line, column, f.text, f.err})
	}
	return e
}
