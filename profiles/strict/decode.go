package strict

import (
	"encoding"
	"fmt"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/pelletier/go-toml/v2/unstable"
)

// Struct tags steer both reading and writing:
//
//	toml:"name"            the key, exactly in case; a missing one is an error
//	toml:"name,omitempty"  the key may be absent; written only when not zero
//	oneof:"a|b"            the only words allowed
//	min:"0" max:"100"      bounds, ends allowed, in the unit that is held
//	above:"0"              bound, end not allowed
//	comment:"…"            written beside the key or above the table
//	inline:"true"          a list of tables that is written a line each
//
// Fields may be strings, int (in any of TOML's bases), float64 (a bare number), bool, unit types and
// other text types, structs (tables), and slices of these.
type field struct {
	name     string
	optional bool
	tag      reflect.StructTag
	index    int
}

// fieldsOf are the fields of a struct type that have a key.
func fieldsOf(t reflect.Type) []field {
	var list []field
	for i := range t.NumField() {
		tag, ok := t.Field(i).Tag.Lookup("toml")
		name, option, _ := strings.Cut(tag, ",")
		if ok && name != "-" && t.Field(i).IsExported() {
			list = append(list, field{name, option == "omitempty", t.Field(i).Tag, i})
		}
	}
	return list
}

// Decoder reads nodes into values and notes every problem on the way.
type Decoder struct {
	problems
	path []string // keys of the tables around what is read now
}

// Table reads a table into the struct that into points to; where names it in
// messages, such as "[supply]".
func (d *Decoder) Table(n *Node, into any, where string) {
	if d.path = nil; strings.HasPrefix(where, "[") {
		d.path = []string{strings.Trim(where, "[]")}
	}
	d.table(n, reflect.ValueOf(into).Elem(), where)
}

// table reads a table; where names it in messages, such as "[supply]".
func (d *Decoder) table(n *Node, v reflect.Value, where string) {
	if n.kind != unstable.InlineTable {
		d.Add(n.Place, "%s must be a table", where)
		return
	}
	var known []string
	for _, f := range fieldsOf(v.Type()) {
		known = append(known, f.name)
		if c := n.child[f.name]; c != nil {
			d.path = append(d.path, f.name)
			d.value(c, v.Field(f.index), f.tag, f.name)
			d.path = d.path[:len(d.path)-1]
		} else if !f.optional && !hasOtherCase(n, f.name) {
			d.Add(n.Place, "%s lacks the key %s: add %s", where, f.name, example(f, v.Field(f.index).Type()))
		}
	}
	for _, key := range n.order {
		if !slices.Contains(known, key) {
			d.unknown(n.child[key], key, known, where)
		}
	}
}

// heading is how a file writes the table that is read now: such as
// "[return]", or "[[return.code]] number 1" for one of a list.
func (d *Decoder) heading(name string) string {
	path := strings.Join(d.path, ".")
	if _, at, item := strings.Cut(name, " number "); item {
		return "[[" + path + "]] number " + at
	}
	return "[" + path + "]"
}

func hasOtherCase(n *Node, name string) bool {
	return slices.ContainsFunc(n.order, func(k string) bool { return strings.EqualFold(k, name) })
}

func (d *Decoder) unknown(n *Node, key string, known []string, where string) {
	for _, k := range known {
		if strings.EqualFold(k, key) {
			d.Add(n.Key, "unknown key %s in %s: write it %s, keys match exactly in case", ShownKey(key), where, k)
			return
		}
	}
	d.Add(n.Key, "unknown key %s in %s: the keys here are %s", ShownKey(key), where, strings.Join(known, ", "))
}

// value reads one value of any type that a field may have.
func (d *Decoder) value(n *Node, v reflect.Value, tag reflect.StructTag, name string) {
	if v.Kind() == reflect.Pointer {
		v.Set(reflect.New(v.Type().Elem()))
		v = v.Elem()
	}
	before := len(d.list)
	switch x := v.Addr().Interface().(type) {
	case *Values:
		d.values(n, x)
	case *Quantity:
		d.quantity(n, x, name)
	case encoding.TextUnmarshaler:
		if n.kind != unstable.String {
			d.Add(n.Place, "%s must be text in quotes%s", name, such(v.Type()))
		} else if err := x.UnmarshalText([]byte(n.Text)); err != nil {
			d.Cause(n.Place, err, "%s: %v", name, err)
		}
	default:
		d.plain(n, v, tag, name)
	}
	if len(d.list) == before {
		d.bounds(n, v, tag, name)
	}
}

// plain reads what Go has a type for.
func (d *Decoder) plain(n *Node, v reflect.Value, tag reflect.StructTag, name string) {
	switch v.Kind() {
	case reflect.String:
		if n.kind != unstable.String {
			d.Add(n.Place, "%s must be text in quotes", name)
			return
		}
		v.SetString(n.Text)
	case reflect.Bool:
		if n.kind != unstable.Bool {
			d.Add(n.Place, "%s must be true or false, without quotes", name)
			return
		}
		v.SetBool(n.Text == "true")
	case reflect.Int:
		x, err := integer(n.Text)
		if n.kind != unstable.Integer || err != nil {
			d.Add(n.Place, "%s must be a whole number without quotes, such as 3", name)
			return
		}
		v.SetInt(x)
	case reflect.Float64:
		x, ok := number10(n.Text, 0)
		if !ok || n.kind != unstable.Integer && n.kind != unstable.Float {
			d.Add(n.Place, "%s must be a plain finite number without quotes, such as 0.93", name)
			return
		}
		v.SetFloat(x)
	case reflect.Slice:
		if n.kind != unstable.Array {
			d.Add(n.Place, "%s must be a list: [ … ] or, for tables, [[%s]]", name, name)
			return
		}
		if len(n.items) > 0 {
			v.Set(reflect.MakeSlice(v.Type(), len(n.items), len(n.items)))
		}
		for i, item := range n.items {
			d.value(item, v.Index(i), tag, fmt.Sprintf("%s number %d", name, i+1))
		}
	case reflect.Struct:
		d.table(n, v, d.heading(name))
	default:
		d.Add(n.Place, "%s: a field of type %s cannot be read from a %s", name, v.Type(), d.format.Thing)
	}
}

// bounds holds a value that could be read against the field's tags.
func (d *Decoder) bounds(n *Node, v reflect.Value, tag reflect.StructTag, name string) {
	if words, ok := tag.Lookup("oneof"); ok && v.Kind() == reflect.String {
		if list := strings.Split(words, "|"); !slices.Contains(list, v.String()) {
			d.Add(n.Place, "%s is %q: it must be %s", name, Clip(v.String()), Either(list))
		}
	}
	switch v.Kind() {
	case reflect.Float64:
		d.bound(n, v.Float(), tag, name, func(x float64) string {
			return spoken(reflect.ValueOf(x).Convert(v.Type()))
		})
	case reflect.Int:
		d.bound(n, float64(v.Int()), tag, name, func(x float64) string { return Decimal(x, 0) })
	case reflect.Slice:
		if !isText(v.Type()) || v.Type().Elem().Kind() != reflect.Float64 {
			return // other lists were held against the tags item by item
		}
		for i := range v.Len() {
			d.bound(n, v.Index(i).Float(), tag, fmt.Sprintf("value %d of %s", i+1, name), func(x float64) string {
				one := reflect.MakeSlice(v.Type(), 1, 1)
				one.Index(0).SetFloat(x)
				return spoken(one)
			})
		}
	}
}

// bound holds one number against min, max and above; say writes it for people.
func (d *Decoder) bound(n *Node, x float64, tag reflect.StructTag, name string, say func(float64) string) {
	for _, b := range []struct {
		key, words string
		broken     func(bound float64) bool
	}{
		{"min", "at least", func(b float64) bool { return x < b }},
		{"max", "at most", func(b float64) bool { return x > b }},
		{"above", "above", func(b float64) bool { return x <= b }},
	} {
		bound, err := strconv.ParseFloat(tag.Get(b.key), 64)
		if err == nil && b.broken(bound) {
			d.Add(n.Place, "%s is %s: it must be %s %s", name, say(x), b.words, say(bound))
		}
	}
}

// values reads a table of named quantities, in the order in which they stand.
func (d *Decoder) values(n *Node, x *Values) {
	if n.kind != unstable.InlineTable {
		d.Add(n.Place, "values must be a table of names with numbers")
		return
	}
	for _, name := range n.order {
		var q Quantity
		d.quantity(n.child[name], &q, ShownKey(name))
		if !IsPlain(name) {
			d.Add(n.child[name].Key, "%s is no name for a value: use visible characters, at most %d", ShownKey(name), MaxName)
		}
		*x = append(*x, Value{Name: name, X: q.X, Unit: q.Unit})
	}
}

func (d *Decoder) quantity(n *Node, q *Quantity, name string) {
	var ok bool
	switch n.kind {
	case unstable.String:
		if err := q.UnmarshalText([]byte(n.Text)); err != nil {
			d.Add(n.Place, "%s: %v", name, err)
		}
	case unstable.Integer, unstable.Float:
		if q.X, ok = number10(n.Text, 0); !ok {
			d.Add(n.Place, "%s must be a plain finite number such as 0.93", name)
		}
	default:
		d.Add(n.Place, "%s must be a number with its unit in quotes such as \"0.021 A\", or a bare number when it has no unit", name)
	}
}

// example is a key with a value that would be right.
func example(f field, t reflect.Type) string {
	if words := f.tag.Get("oneof"); words != "" {
		return fmt.Sprintf("%s = %q", f.name, strings.Split(words, "|")[0])
	}
	if u := exampleOf(t); u != "" {
		return fmt.Sprintf("%s = %q", f.name, u)
	}
	switch t.Kind() {
	case reflect.String:
		return f.name + ` = "…"`
	case reflect.Int:
		return f.name + " = 1"
	case reflect.Bool:
		return f.name + " = false"
	case reflect.Struct:
		return "the table [" + f.name + "]"
	default:
		return f.name + " = …"
	}
}

// such is ", such as …" for types with an example.
func such(t reflect.Type) string {
	if e := exampleOf(t); e != "" {
		return fmt.Sprintf(", with its unit, such as %q", e)
	}
	return ""
}

// exampleOf is how a value of a type is written; empty when the type does not
// say.
func exampleOf(t reflect.Type) string {
	if x, ok := reflect.Zero(t).Interface().(interface{ Example() string }); ok {
		return x.Example()
	}
	return ""
}

// integer reads a whole number as TOML spells it: with underscores, and from
// 0x, 0o and 0b in the bases of 16, 8 and 2.
func integer(text string) (int64, error) {
	if len(text) > 2 && text[0] == '0' {
		return strconv.ParseInt(text, 0, 32)
	}
	return strconv.ParseInt(text, 10, 32)
}

// spoken is a number as the file would write it.
func spoken(v reflect.Value) string {
	if t, ok := v.Interface().(encoding.TextMarshaler); ok {
		if b, err := t.MarshalText(); err == nil {
			return string(b)
		}
	}
	return fmt.Sprint(v.Interface())
}

// MaxName is the longest name of a unit, value or finding, in characters.
const MaxName = 100

// IsPlain says whether s can serve as a name: visible, one line, not padded.
func IsPlain(s string) bool {
	return s != "" && utf8.ValidString(s) && utf8.RuneCountInString(s) <= MaxName && strings.TrimSpace(s) == s &&
		strings.IndexFunc(s, func(r rune) bool { return !unicode.IsPrint(r) }) < 0
}

// ShownKey is a key for messages.
func ShownKey(key string) string {
	if isBare(key) {
		return Clip(key)
	}
	return strconv.Quote(Clip(key))
}

// Keys are the keys that a struct reads.
func Keys(of any) []string {
	var names []string
	for _, f := range fieldsOf(reflect.TypeOf(of)) {
		names = append(names, f.name)
	}
	return names
}
