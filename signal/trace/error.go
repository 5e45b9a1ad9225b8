package trace

import (
	"strconv"
	"strings"
)

// Error is a fault in a trace or mapping file: where it is, what is wrong and
// what to do about it.
type Error struct {
	// Source is the path or name of the file as it was given.
	Source string
	// Line counts from 1; 0 when the fault is in no single line.
	Line int
	// Column is the cell of a CSV line or the character of a TOML line,
	// counted from 1; 0 when the fault is in no single column.
	Column int
	// Name is the heading of the column; may be empty.
	Name string
	// Problem says what is wrong, Advice what the person should do next.
	Problem, Advice string
	// Err is the cause from below, such as a failed read; may be nil.
	Err error
}

func (e *Error) Error() string {
	var b strings.Builder
	b.WriteString("trace: ")
	b.WriteString(e.Source)
	if e.Line > 0 {
		b.WriteString(": line " + strconv.Itoa(e.Line))
	}
	switch {
	case e.Column > 0 && e.Name != "":
		b.WriteString(", column " + strconv.Itoa(e.Column) + " (" + e.Name + ")")
	case e.Column > 0:
		b.WriteString(", column " + strconv.Itoa(e.Column))
	case e.Name != "":
		b.WriteString(", column " + e.Name)
	}
	b.WriteString(": " + e.Problem)
	if e.Err != nil {
		b.WriteString(": " + e.Err.Error())
	}
	if e.Advice != "" {
		b.WriteString("; " + e.Advice)
	}
	return b.String()
}

// Unwrap is the cause from below.
func (e *Error) Unwrap() error { return e.Err }

// quote shows a cell or name in a message, cut to a length that fits a line.
func quote[T string | []byte](s T) string {
	const most = 40
	if len(s) > most {
		return strconv.Quote(string(s[:most])) + "…"
	}
	return strconv.Quote(string(s))
}

// list joins names for a message, the first few of many.
func list(names []string) string {
	const most = 20
	if len(names) == 0 {
		return "none"
	}
	shown := names
	if len(shown) > most {
		shown = shown[:most]
	}
	q := make([]string, len(shown))
	for i, n := range shown {
		q[i] = quote(n)
	}
	s := strings.Join(q, ", ")
	if len(names) > most {
		s += " and " + strconv.Itoa(len(names)-most) + " more"
	}
	return s
}
