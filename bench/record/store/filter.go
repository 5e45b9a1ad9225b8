package store

import (
	"fmt"
	"strings"

	"dutybench/bench/record"
)

// condition is what rows must meet, with its parameters.
type condition struct {
	where string
	args  []any
}

func (c *condition) add(q string, args ...any) {
	if c.where == "" {
		c.where = " WHERE " + q
	} else {
		c.where += " AND " + q
	}
	c.args = append(c.args, args...)
}

// persons are the columns in which a person can stand.
var persons = []string{"operator", "received_by", "opened_by", "returned_by"}

// conditions is a filter for the table of records: where apart is true and a
// person leads the search, one for each column that can name one.
func (b *base) conditions(f *record.Filter, apart bool) []condition {
	var c condition
	led, person := false, f.Person == ""
	for _, column := range finders {
		if column.name == persons[0] && !person && !led && apart {
			return b.byPerson(f)
		}
		if column.ask == nil || column.ask(f) == "" {
			continue
		}
		c.add(b.equals(column.name, led), mark(column.ask(f)))
		led = true
	}
	if !person {
		var names []string
		var args []any
		for _, name := range persons {
			names, args = append(names, b.equals(name, led)), append(args, mark(f.Person))
		}
		c.add("("+strings.Join(names, " OR ")+")", args...)
	}
	b.bounds(f, &c)
	return []condition{c}
}

// byPerson lets each column that can name a person lead.
func (b *base) byPerson(f *record.Filter) []condition {
	var out []condition
	for _, name := range persons {
		var c condition
		c.add(b.equals(name, false), mark(f.Person))
		for _, column := range finders {
			if column.ask != nil && column.ask(f) != "" {
				c.add(b.equals(column.name, true), mark(column.ask(f)))
			}
		}
		b.bounds(f, &c)
		out = append(out, c)
	}
	return out
}

// equals asks a column. Of several, one leads and its index is used: without
// counts of its rows SQLite takes any index for as good as any, and a plus
// sign keeps it from using one.
func (b *base) equals(name string, led bool) string {
	plus := ""
	if led && !b.pg {
		plus = "+"
	}
	return fmt.Sprintf("%s%s = ? AND %s <> ''", plus, name, name)
}

// bounds adds what is not asked for as a column's whole text.
func (b *base) bounds(f *record.Filter, c *condition) {
	switch {
	case f.Bench == "":
	case b.pg:
		c.add("bench = ?", strings.ToLower(f.Bench))
	default: // all of a folder is of one bench
		c.add("EXISTS (SELECT 1 FROM benches WHERE bench = ?)", strings.ToLower(f.Bench))
	}
	if f.Words != "" {
		find := "instr"
		if b.pg {
			find = "strpos"
		}
		c.add(find+"(words, ?) > 0", fold(f.Words))
	}
	if f.Interrupted {
		c.add("interrupted <> 0")
	}
	if !f.Since.IsZero() {
		c.add("made_ms >= ?", ceilMs(f.Since))
	}
	if !f.Before.IsZero() {
		c.add("made_ms < ?", ceilMs(f.Before))
	}
}
