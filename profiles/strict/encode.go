package strict

import (
	"encoding"
	"fmt"
	"math"
	"reflect"
	"strings"
	"unicode/utf8"
)

// Encode writes a struct as commented TOML below a heading of comments, the
// same bytes for the same struct. A field of an interface type is a table of
// the name section, when it holds a pointer to a struct.
func Encode(heading, section string, from any) ([]byte, error) {
	e := &encoder{}
	e.buf.WriteString(heading)
	e.table("", section, reflect.ValueOf(from).Elem())
	return []byte(e.buf.String()), e.err
}

// encoder writes the structs that Decoder reads, by the same tags.
type encoder struct {
	buf strings.Builder
	err error // the first
}

func (e *encoder) fail(name string, err error) {
	if e.err == nil {
		e.err = fmt.Errorf("%s: %w", name, err)
	}
}

// table writes a struct's keys, then its tables. prefix is the table's dotted
// name; section the name for the kind's own.
func (e *encoder) table(prefix, section string, v reflect.Value) {
	e.keys(prefix, v)
	for i := range v.NumField() {
		f, tag := v.Field(i), v.Type().Field(i).Tag
		name, option, _ := strings.Cut(tag.Get("toml"), ",")
		if f.Kind() == reflect.Interface { // the section
			if f.IsNil() {
				continue
			}
			if f = f.Elem(); f.Kind() != reflect.Pointer || f.IsNil() || f.Elem().Kind() != reflect.Struct {
				e.fail("section", fmt.Errorf("a %s is no pointer to a struct", f.Type()))
				continue
			}
			name, f = section, f.Elem()
		}
		if name == "" || name == "-" || option == "omitempty" && f.IsZero() {
			continue
		}
		full := strings.TrimPrefix(prefix+"."+bareOrQuoted(name), ".")
		switch {
		case isTables(f.Type(), tag):
			e.comment(tag)
			for j := range f.Len() {
				if j > 0 {
					e.buf.WriteByte('\n')
				}
				e.buf.WriteString("[[" + full + "]]\n")
				e.table(full, "", f.Index(j))
			}
		case isTable(f.Type()):
			e.comment(tag)
			e.buf.WriteString("[" + full + "]\n")
			if list, ok := f.Interface().(Values); ok {
				e.values(list)
			} else {
				e.table(full, "", f)
			}
		}
	}
}

// comment heads a part of the file.
func (e *encoder) comment(tag reflect.StructTag) {
	e.buf.WriteByte('\n')
	if c := tag.Get("comment"); c != "" {
		e.buf.WriteString("# " + strings.ReplaceAll(c, "\n", "\n# ") + "\n")
	}
}

// keys writes what is no table, with the comments of short lines in a column.
func (e *encoder) keys(where string, v reflect.Value) {
	type line struct{ text, comment string }
	var lines []line
	width := 0
	for _, f := range fieldsOf(v.Type()) {
		x := v.Field(f.index)
		if isTable(x.Type()) || isTables(x.Type(), f.tag) || f.optional && x.IsZero() {
			continue
		}
		text, err := literal(x)
		if err != nil {
			e.fail(strings.TrimPrefix(where+"."+f.name, "."), err)
			continue
		}
		l := line{bareOrQuoted(f.name) + " = " + text, f.tag.Get("comment")}
		if n := utf8.RuneCountInString(l.text); l.comment != "" && n <= 48 {
			width = max(width, n)
		}
		lines = append(lines, l)
	}
	for _, l := range lines {
		switch n := utf8.RuneCountInString(l.text); {
		case l.comment == "":
			e.buf.WriteString(l.text + "\n")
		case n <= 48:
			e.buf.WriteString(l.text + strings.Repeat(" ", width-n) + "  # " + l.comment + "\n")
		default:
			e.buf.WriteString("# " + l.comment + "\n" + l.text + "\n")
		}
	}
}

func (e *encoder) values(list Values) {
	seen := map[string]bool{}
	for _, x := range list {
		if seen[x.Name] {
			e.fail("values", fmt.Errorf("%q stands twice", x.Name))
		}
		seen[x.Name] = true
		text, err := literal(reflect.ValueOf(Quantity{x.X, x.Unit}))
		if err != nil {
			e.fail(x.Name, err)
		}
		e.buf.WriteString(bareOrQuoted(x.Name) + " = " + text + "\n")
	}
}

// isTable and isTables say which types get a header of their own. Lists of
// structs that fit a line each are written inline.
func isTable(t reflect.Type) bool {
	return t == reflect.TypeFor[Values]() || t.Kind() == reflect.Struct && !isText(t)
}

func isTables(t reflect.Type, tag reflect.StructTag) bool {
	return t.Kind() == reflect.Slice && !isText(t) && isTable(t.Elem()) && tag.Get("inline") == "" && t != reflect.TypeFor[Values]()
}

func isText(t reflect.Type) bool {
	return t == reflect.TypeFor[Quantity]() || t.Implements(reflect.TypeFor[encoding.TextMarshaler]())
}

// literal is a value as TOML.
func literal(v reflect.Value) (string, error) {
	if q, ok := v.Interface().(Quantity); ok {
		return quantityText(q)
	}
	if v.Kind() == reflect.Pointer && !v.IsNil() {
		return literal(v.Elem())
	}
	if t, ok := v.Interface().(encoding.TextMarshaler); ok {
		b, err := t.MarshalText()
		return quote(string(b)), err
	}
	switch v.Kind() {
	case reflect.String:
		if !utf8.ValidString(v.String()) {
			return "", fmt.Errorf("%q is not UTF-8", v.String())
		}
		return quote(v.String()), nil
	case reflect.Bool, reflect.Int:
		return fmt.Sprint(v.Interface()), nil
	case reflect.Float64:
		if math.IsNaN(v.Float()) || math.IsInf(v.Float(), 0) {
			return "", fmt.Errorf("%v is not finite", v.Float())
		}
		return Decimal(v.Float(), 0), nil
	case reflect.Slice:
		var items []string
		length := 0
		for i := range v.Len() {
			s, err := literal(v.Index(i))
			if err != nil {
				return "", err
			}
			items = append(items, s)
			length += len(s) + 2
		}
		if length <= 64 && !(v.Len() > 0 && v.Index(0).Kind() == reflect.Struct && !isText(v.Index(0).Type())) {
			return "[" + strings.Join(items, ", ") + "]", nil
		}
		return "[\n  " + strings.Join(items, ",\n  ") + ",\n]", nil
	case reflect.Struct:
		var items []string
		for _, f := range fieldsOf(v.Type()) {
			s, err := literal(v.Field(f.index))
			if err != nil {
				return "", err
			}
			items = append(items, f.name+" = "+s)
		}
		return "{ " + strings.Join(items, ", ") + " }", nil
	}
	return "", fmt.Errorf("a value of type %s cannot be written", v.Type())
}

// quantityText is the reverse of decoder.quantity.
func quantityText(q Quantity) (string, error) {
	switch {
	case q.Unit != "" && !isUnit(q.Unit):
		return "", fmt.Errorf("%q is no unit: it must be one word", q.Unit)
	case math.IsInf(q.X, 0):
		return "", fmt.Errorf("%v is not finite", q.X)
	case math.IsNaN(q.X):
		return quote(strings.TrimSpace("- " + q.Unit)), nil
	case q.Unit != "":
		return quote(Decimal(q.X, 0) + " " + q.Unit), nil
	}
	return Decimal(q.X, 0), nil
}

// quote writes a TOML basic string.
func quote(s string) string {
	var b strings.Builder
	b.WriteByte('"')
	for _, r := range s {
		switch {
		case r == '"' || r == '\\':
			b.WriteString(`\` + string(r))
		case r == '\n':
			b.WriteString(`\n`)
		case r == '\t':
			b.WriteString(`\t`)
		case r < ' ' || r == 0x7f:
			fmt.Fprintf(&b, `\u%04X`, r)
		default:
			b.WriteRune(r)
		}
	}
	return b.String() + `"`
}

// isBare says whether a key needs no quotes.
func isBare(key string) bool {
	for _, r := range key {
		if !(r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '_' || r == '-') {
			return false
		}
	}
	return key != ""
}

func bareOrQuoted(key string) string {
	if isBare(key) {
		return key
	}
	return quote(key)
}
