package trace

import (
	"errors"
	"fmt"
	"io"
	"slices"
)

// ReadMapped reads a foreign recording through a mapping, unedited. A nil
// mapping reads a trace file; see Read for limits and errors. Headings and
// text that are not UTF-8 are taken as ISO 8859-1. The hash in the trace is
// that of the bytes read, not of what the mapping made of them.
func ReadMapped(src io.Reader, source string, m *Mapping) (*Trace, error) {
	return new(Reader).Read(src, source, m)
}

// all reads the rows to the end.
func (r *reader) all(row func([]byte) error) error {
	r.rowsFrom = r.consumed
	head := r.number
	for {
		if r.mapping == nil {
			r.plain()
		}
		line, err := r.next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return err
		}
		if len(line) == 0 || blank(line) {
			continue
		}
		if r.rows == r.room {
			if err := r.reserve(); err != nil {
				return err
			}
		}
		if err := row(line); err != nil {
			return err
		}
		r.rows = len(r.columns[r.timeAt].values)
	}
	if r.rows == 0 {
		return &Error{Source: r.source, Line: max(1, head, r.number), Problem: "there are no rows of samples",
			Advice: "record the test again, or name another file"}
	}
	return nil
}

func blank(line []byte) bool {
	for _, c := range line {
		if c != ' ' && c != '\t' && c != '\r' {
			return false
		}
	}
	return true
}

// reserve makes room for the rows that are still to come, as far as the size
// of the stream tells, and for half as many again otherwise.
func (r *reader) reserve() error {
	most := MaxSamples / len(r.columns)
	if r.rows >= most {
		return r.bad(fmt.Sprintf("there are more than %d samples (rows times columns)", MaxSamples),
			"cut the file into one per test, or map fewer columns")
	}
	more := r.rowsLeft(r.rowsFrom, r.rows) + 1
	if more <= 1 {
		more = max(1024, r.rows/2)
	}
	// A few short lines ahead of long ones must not claim the whole memory: a
	// row takes at least a byte a cell.
	if r.size >= 0 {
		more = min(more, int(min((r.size-r.consumed)/int64(len(r.columns)), MaxSamples))+16)
	}
	more = min(max(more, r.rows/8), max(1<<20, r.rows), most-r.rows)
	r.room = r.rows + more
	for c := range r.columns {
		if b := &r.columns[c]; !b.isText {
			b.values = append(r.again.column(c, r.room), b.values...)
		}
	}
	return nil
}

// trace is what was read.
func (r *reader) trace() *Trace {
	t := &Trace{Source: r.source, SHA256: r.hash(), Meta: r.comments.entries,
		Columns: make([]Column, len(r.columns))}
	for i := range r.columns {
		b := &r.columns[i]
		c := Column{Name: b.name, Values: b.values, Missing: b.missing}
		if b.isText {
			c.Values, c.Text = nil, b.text
		} else {
			c.Resolution, r.again.scratch = resolution(b.values, r.again.scratch)
		}
		t.Columns[i] = c
	}
	t.Warnings = slices.Concat(r.comments.notes, r.warnings, warnEqual(t))
	return t
}

// warnEqual says how many rows have the time of the row before.
func warnEqual(t *Trace) []string {
	if n := equalTimes(t.Time()); n > 0 {
		return []string{fmt.Sprintf("%d of %d rows have the same time as the row before; they were kept.", n, t.Len())}
	}
	return nil
}

func equalTimes(x []float64) (n int) {
	for i := 1; i < len(x); i++ {
		if x[i] == x[i-1] {
			n++
		}
	}
	return n
}
