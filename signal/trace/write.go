package trace

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"
)

// Write writes a trace in the format that Read reads. Every number is spelled
// as short as gives the same bits when read; NaN in an optional column is an
// empty cell. A trace that Read would refuse is an error, and then nothing
// was written.
func Write(w io.Writer, t *Trace) error {
	if err := writable(t, nil); err != nil {
		return err
	}
	b := bufio.NewWriterSize(w, chunk)
	for _, e := range t.Meta {
		text := e.Value
		if e.Key != "" {
			text = e.Key + ": " + e.Value
		}
		b.WriteString(strings.TrimRight("# "+text, " ") + "\n")
	}
	for i := range t.Columns {
		if i > 0 {
			b.WriteByte(',')
		}
		writeText(b, t.Columns[i].Name)
	}
	b.WriteByte('\n')
	for row := range t.Len() {
		for i := range t.Columns {
			if i > 0 {
				b.WriteByte(',')
			}
			c := &t.Columns[i]
			switch {
			case c.Text != nil:
				writeText(b, c.Text[row])
			case !math.IsNaN(c.Values[row]):
				b.Write(strconv.AppendFloat(b.AvailableBuffer(), c.Values[row], 'g', -1, 64))
			}
		}
		if err := b.WriteByte('\n'); err != nil {
			return fmt.Errorf("trace: writing row %d: %w", row+1, err)
		}
	}
	if err := b.Flush(); err != nil {
		return fmt.Errorf("trace: writing: %w", err)
	}
	return nil
}

// WriteFile writes a trace to a file: all of it or nothing. It writes to a
// temporary file beside, syncs it and renames it, so that a crash leaves the
// old file or the new one.
func WriteFile(path string, t *Trace) error {
	if err := writeFile(path, t); err != nil {
		var p *Error
		if errors.As(err, &p) {
			return err
		}
		return fmt.Errorf("trace: %s was not written; check the folder and its free space: %w", path, err)
	}
	return nil
}

func writeFile(path string, t *Trace) error {
	if err := writable(t, nil); err != nil {
		return err
	}
	return replace(path, func(w io.Writer) error { return Write(w, t) })
}

// replace puts what write writes in the place of a file, or leaves all as it
// was.
func replace(path string, write func(io.Writer) error) (err error) {
	if i, err := os.Stat(path); err == nil && !i.Mode().IsRegular() {
		return errors.New("it is no regular file")
	}
	dir := filepath.Dir(path)
	f, err := os.CreateTemp(dir, "."+filepath.Base(path)+".*.tmp")
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			f.Close()
			os.Remove(f.Name())
		}
	}()
	if err := write(f); err != nil {
		return err
	}
	if err := f.Chmod(0o644); err != nil {
		return err
	}
	if err := f.Sync(); err != nil {
		return err
	}
	if err := f.Close(); err != nil {
		return err
	}
	if err := os.Rename(f.Name(), path); err != nil {
		return err
	}
	// The rename itself must reach the disk; not every file system can sync
	// a folder, and the file is whole either way.
	if d, err := os.Open(dir); err == nil {
		_ = d.Sync()
		d.Close()
	}
	return nil
}

// writable finds what would not come back when the trace is read. missing,
// where it is not nil, gets the number of NaN of each column.
func writable(t *Trace, missing []int) error {
	bad := func(c *Column, row int, problem, advice string) error {
		e := &Error{Source: t.Source, Problem: problem, Advice: advice}
		if e.Source == "" {
			e.Source = "trace to be written"
		}
		if c != nil {
			e.Name = c.Name
		}
		if row >= 0 {
			e.Problem = fmt.Sprintf("row %d: %s", row+1, problem)
		}
		return e
	}
	var m comments
	for _, e := range t.Meta {
		problem, advice := m.add(e)
		if problem == "" {
			problem, advice = unwritable(e), "write a key and value of plain text on one line"
		}
		if problem != "" {
			return bad(nil, -1, problem, advice)
		}
	}
	for _, want := range required() {
		if c := t.Column(want); c == nil || c.Text != nil {
			return bad(&Column{Name: want}, -1, "the required column is missing", "give the trace "+strings.Join(required(), ", "))
		}
	}
	rows := t.Len()
	if rows == 0 {
		return bad(nil, -1, "there are no rows of samples", "record the test again")
	}
	if len(t.Columns) > MaxColumns || rows > MaxSamples/len(t.Columns) {
		return bad(nil, -1, "there are too many columns or samples", "write one trace a test")
	}
	names := make([]string, 0, len(t.Columns))
	for i := range t.Columns {
		c := &t.Columns[i]
		if slices.Contains(names, c.Name) {
			return bad(c, -1, "the column stands twice", "rename or drop one of the two")
		}
		names = append(names, c.Name)
		if problem := unwritableName(c.Name, i); problem != "" {
			return bad(c, -1, problem, "rename the column")
		}
		n, row, problem := c.unwritable(rows)
		if problem != "" {
			return bad(c, row, problem, "correct what made the trace")
		}
		if missing != nil {
			missing[i] = n
		}
	}
	if row := tooLong(t, rows); row >= 0 {
		return bad(nil, row, "the line would be longer than 1 MiB", "shorten the text")
	}
	return nil
}

// tooLong finds the first row that could be longer than a line may be; -1
// when there is none. Numbers alone always fit.
func tooLong(t *Trace, rows int) int {
	const number = 32 // more than the longest number and its comma
	for row := range rows {
		n, text := 0, false
		for i := range t.Columns {
			n += number
			if c := &t.Columns[i]; c.Text != nil {
				text = true
				n += 2 * len(c.Text[row])
			}
		}
		switch {
		case n > MaxLine:
			return row
		case !text:
			return -1
		}
	}
	return -1
}

// unwritable finds the first row of a column that would not come back; row is
// -1 when it is the column as a whole. missing is the number of NaN.
func (c *Column) unwritable(rows int) (missing, row int, problem string) {
	b := newBuilder(c.Name, 0)
	if c.Text != nil {
		switch {
		case !b.textual:
			return 0, -1, "the column holds text where numbers belong"
		case c.Values != nil || len(c.Text) != rows:
			return 0, -1, fmt.Sprintf("the column holds %d texts for %d rows", len(c.Text), rows)
		}
		for i, s := range c.Text {
			if strings.ContainsAny(s, "\r\n\x00") || !utf8.ValidString(s) {
				return 0, i, "the text " + quote(s) + " does not fit a cell"
			}
		}
		return 0, -1, ""
	}
	if len(c.Values) != rows {
		return 0, -1, fmt.Sprintf("the column holds %d values for %d rows", len(c.Values), rows)
	}
	if missing, ok := c.fine(); ok {
		return missing, -1, ""
	}
	for i, v := range c.Values {
		switch {
		case math.IsNaN(v) && b.required:
			return 0, i, "the value is NaN, but this column is required in every row"
		case math.IsInf(v, 0):
			return 0, i, "the value is infinite"
		case b.checked && !math.IsNaN(v):
			if problem, _ := b.check(v); problem != "" {
				return 0, i, problem
			}
			b.values = c.Values[:i+1]
		}
	}
	return 0, -1, ""
}

// unwritable says why a comment would not come back as it is, "" when it does.
func unwritable(e Entry) string {
	switch back := parseComment("# " + e.Key + ": " + e.Value); {
	case strings.ContainsAny(e.Key+e.Value, "\r\n\x00") || !utf8.ValidString(e.Key+e.Value):
		return "the comment " + quote(e.Key+": "+e.Value) + " is not one line of plain text"
	case len(e.Key)+len(e.Value) > MaxLine/2:
		return "the comment " + quote(e.Key) + " is too long"
	case e.Key == "":
		if back := parseComment("# " + e.Value); back != e {
			return "the comment " + quote(e.Value) + " would be read as a key and a value"
		}
	case back != e:
		return "the comment key " + quote(e.Key) + " or its value would be read differently"
	}
	return ""
}

func unwritableName(name string, at int) string {
	switch {
	case name == "" || strings.TrimSpace(name) != name || strings.ContainsAny(name, "\r\n\x00") ||
		!utf8.ValidString(name) || len(name) > MaxLine/MaxColumns/2:
		return "the name is not plain text"
	case at == 0 && (name[0] == '#' || strings.HasPrefix(name, "\ufeff")):
		return "the name of the first column would be read as a comment"
	}
	return ""
}

// writeText writes a heading or a cell of text, in quotes where it needs
// them.
func writeText(b *bufio.Writer, s string) {
	if !strings.ContainsAny(s, "\",#") && strings.TrimSpace(s) == s {
		b.WriteString(s)
		return
	}
	b.WriteByte('"')
	b.WriteString(strings.ReplaceAll(s, `"`, `""`))
	b.WriteByte('"')
}
