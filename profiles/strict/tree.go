// Package strict reads TOML that sets currents: every key must be known and
// exact in case, every number carry its unit and lie in its range. Whatever is
// wrong comes with line, column and what would be right, all of it at once.
// The same structs write the file again.
package strict

import (
	"bytes"
	"errors"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"
)

// Bounds on what is read. A profile learned from 30 good units holds about
// 1500 values, four levels deep.
const (
	MaxBytes  = 8 << 20
	maxValues = 100_000
	maxDepth  = 16
)

// Node is one value or table of a document.
type Node struct {
	Place                  // of the value; of the key where the value has none of its own
	Key   Place            // of the key
	Text  string           // of a string without its quotes; other scalars as spelled
	kind  unstable.Kind    // String, Integer, Float, Bool, Array, InlineTable (any table) or a date
	child map[string]*Node // of a table
	order []string         // its keys as written
	items []*Node          // of an array
}

// Child is what a table holds under a key; nil when it does not.
func (n *Node) Child(key string) *Node { return n.child[key] }

// Keys are a table's keys as written.
func (n *Node) Keys() []string { return n.order }

// Remove takes a key out of a table, for one that is read otherwise.
func (n *Node) Remove(key string) {
	delete(n.child, key)
	n.order = slices.DeleteFunc(n.order, func(k string) bool { return k == key })
}

// IsTable, IsString and IsInteger say what a value is.
func (n *Node) IsTable() bool   { return n.kind == unstable.InlineTable }
func (n *Node) IsString() bool  { return n.kind == unstable.String }
func (n *Node) IsInteger() bool { return n.kind == unstable.Integer }

// At follows keys (string) and indexes (int) as far as they lead, so that a
// problem always finds a place.
func (n *Node) At(path ...any) *Node {
	for _, p := range path {
		var next *Node
		switch p := p.(type) {
		case string:
			next = n.child[p]
		case int:
			if p < len(n.items) {
				next = n.items[p]
			}
		}
		if next == nil {
			return n
		}
		n = next
	}
	return n
}

// treeReader turns the parser's expressions into a tree with places.
type treeReader struct {
	parser unstable.Parser
	count  int
	problems
}

// Format is what kind of file is read: the package whose word begins its
// errors, such as "rig", and what the file is called, such as "rig file".
type Format struct{ Package, Thing string }

// Read reads a TOML document into a tree, and gives what reads the tree into
// structs. source is the path, for messages. Its error is an *Error.
func (f Format) Read(data []byte, source string) (*Node, *Decoder, error) {
	r := &treeReader{problems: problems{data: data, format: f, source: source}}
	root := r.read()
	if root == nil {
		return nil, nil, r.Err()
	}
	return root, &Decoder{problems: r.problems}, nil
}

// Decode reads a document into a struct. A struct with a method
// Check(bad func(path []any, format string, args ...any)) is asked, when all
// else is right, for what tags cannot say; the path is of keys and indexes.
func (f Format) Decode(data []byte, source string, into any) error {
	root, d, err := f.Read(data, source)
	if err != nil {
		return err
	}
	d.Table(root, into, "the "+f.Thing)
	if c, ok := into.(interface {
		Check(bad func(path []any, format string, args ...any))
	}); ok && d.Count() == 0 {
		c.Check(func(path []any, format string, args ...any) { d.Add(root.At(path...).Place, format, args...) })
	}
	return d.Err()
}

// read gives nil, and one problem, when the document cannot be read.
func (r *treeReader) read() *Node {
	if len(r.data) > MaxBytes {
		r.Add(0, "the file is larger than %d MiB: no %s is, check that this is one", MaxBytes>>20, r.format.Thing)
		return nil
	}
	if bytes.HasPrefix(r.data, []byte("\uFEFF")) {
		r.Add(0, "the file begins with a byte order mark: save it as UTF-8 without one")
		return nil
	}
	for i := 0; i < len(r.data); {
		c, size := utf8.DecodeRune(r.data[i:])
		if c == utf8.RuneError && size <= 1 {
			r.Add(Place(i), "byte 0x%02x is not UTF-8: save the file as UTF-8 text", r.data[i])
			return nil
		}
		i += size
	}

	root := &Node{kind: unstable.InlineTable}
	r.parser.Reset(r.data)
	table := root
	for table != nil && r.parser.NextExpression() {
		table = r.expression(root, table)
	}
	if len(r.list) > 0 {
		return nil
	}
	if err := r.parser.Error(); err != nil {
		at := Place(0)
		if e := (*unstable.ParserError)(nil); errors.As(err, &e) {
			at = Place(r.parser.Range(e.Highlight).Offset)
		}
		r.Add(at, "this is not valid TOML: %v", err)
		return nil
	}
	// The tree takes keys that stand twice; the full decoder does not.
	var all map[string]any
	if err := toml.Unmarshal(r.data, &all); err != nil {
		at := Place(0)
		if e := (*toml.DecodeError)(nil); errors.As(err, &e) {
			row, column := e.Position()
			for ; row > 1; row-- {
				at += Place(bytes.IndexByte(r.data[at:], '\n') + 1)
			}
			at += Place(column - 1)
		}
		r.Add(at, "this is not valid TOML: %s", strings.TrimPrefix(err.Error(), "toml: "))
		return nil
	}
	return root
}

// expression takes in one key with its value or one table header, and gives
// the table that the next keys belong to; nil after a problem.
func (r *treeReader) expression(root, table *Node) *Node {
	e := r.parser.Expression()
	switch e.Kind {
	case unstable.KeyValue:
		if !r.keyValue(table, e, 1) {
			return nil
		}
		return table
	case unstable.Table, unstable.ArrayTable:
		parent, name, at := r.descend(root, e.Key())
		if parent == nil {
			return nil
		}
		n := parent.child[name]
		if n == nil || e.Kind == unstable.ArrayTable && n.kind != unstable.Array {
			n = r.enter(parent, name, at)
		}
		if e.Kind == unstable.ArrayTable {
			n.kind = unstable.Array
			item := &Node{Place: at, Key: at, kind: unstable.InlineTable}
			n.items = append(n.items, item)
			n = item
		}
		if !r.room(at, 1) {
			return nil
		}
		return n
	}
	return table
}

// descend walks a dotted key down to the table that holds its last part.
func (r *treeReader) descend(n *Node, key unstable.Iterator) (parent *Node, name string, at Place) {
	for depth := 1; key.Next(); depth++ {
		if parent != nil {
			next := parent.child[name]
			if next == nil {
				next = r.enter(parent, name, at)
			}
			if len(next.items) > 0 { // the last of an array of tables
				next = next.items[len(next.items)-1]
			}
			n = next
		}
		parent, name = n, string(key.Node().Data)
		at = Place(key.Node().Raw.Offset)
		if !r.room(at, depth) {
			return nil, "", at
		}
	}
	return parent, name, at
}

// enter puts a new table into its parent.
func (r *treeReader) enter(parent *Node, name string, at Place) *Node {
	n := &Node{Place: at, Key: at, kind: unstable.InlineTable}
	if parent.child == nil {
		parent.child = map[string]*Node{}
	}
	if parent.child[name] == nil {
		parent.order = append(parent.order, name)
	}
	parent.child[name] = n
	return n
}

func (r *treeReader) keyValue(table *Node, kv *unstable.Node, depth int) bool {
	parent, name, at := r.descend(table, kv.Key())
	return parent != nil && r.value(r.enter(parent, name, at), kv.Value(), depth)
}

// value fills n, which already has the place of its key.
func (r *treeReader) value(n *Node, v *unstable.Node, depth int) bool {
	if v.Raw.Length > 0 {
		n.Place = Place(v.Raw.Offset)
	}
	if !r.room(n.Place, depth) {
		return false
	}
	n.kind = v.Kind
	for it := v.Children(); it.Next(); {
		if v.Kind == unstable.InlineTable {
			if !r.keyValue(n, it.Node(), depth+1) {
				return false
			}
			continue
		}
		item := &Node{Place: n.Place, Key: n.Key}
		n.items = append(n.items, item)
		if !r.value(item, it.Node(), depth+1) {
			return false
		}
	}
	if v.Kind != unstable.Array && v.Kind != unstable.InlineTable {
		n.Text = string(v.Data)
	}
	return true
}

// room counts a value and refuses what no such file needs.
func (r *treeReader) room(at Place, depth int) bool {
	if r.count++; r.count > maxValues {
		r.Add(at, "the file holds more than %d values: no %s does, check that this is one", maxValues, r.format.Thing)
	} else if depth > maxDepth {
		r.Add(at, "this is nested more than %d deep: no %s is, check the brackets", maxDepth, r.format.Thing)
	}
	return len(r.list) == 0
}
