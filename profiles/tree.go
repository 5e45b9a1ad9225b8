package profiles

import (
	"bytes"
	"errors"
	"strings"
	"unicode/utf8"

	"github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"
)

// Bounds on what is read. A profile learned from 30 good units holds about
// 1500 values, four levels deep.
const (
	maxBytes  = 8 << 20
	maxValues = 100_000
	maxDepth  = 16
)

// node is one value or table of a document.
type node struct {
	place                  // of the value; of the key where the value has none of its own
	key   place            // of the key
	kind  unstable.Kind    // String, Integer, Float, Bool, Array, InlineTable (any table) or a date
	text  string           // of a string without its quotes; other scalars as spelled
	child map[string]*node // of a table
	order []string         // its keys as written
	items []*node          // of an array
}

// at follows keys (string) and indexes (int) as far as they lead, so that a
// problem always finds a place.
func (n *node) at(path ...any) *node {
	for _, p := range path {
		var next *node
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

// parseTree reads a TOML document. Its error is an *Error.
func parseTree(data []byte, source string) (*node, error) {
	r := &treeReader{problems: problems{data: data}}
	root := r.read()
	if root == nil {
		return nil, r.err(source)
	}
	return root, nil
}

// read gives nil, and one problem, when the document cannot be read.
func (r *treeReader) read() *node {
	if len(r.data) > maxBytes {
		r.add(0, "the file is larger than %d MiB: no profile is, check that this is one", maxBytes>>20)
		return nil
	}
	if bytes.HasPrefix(r.data, []byte("\uFEFF")) {
		r.add(0, "the file begins with a byte order mark: save it as UTF-8 without one")
		return nil
	}
	for i := 0; i < len(r.data); {
		c, size := utf8.DecodeRune(r.data[i:])
		if c == utf8.RuneError && size <= 1 {
			r.add(place(i), "byte 0x%02x is not UTF-8: save the file as UTF-8 text", r.data[i])
			return nil
		}
		i += size
	}

	root := &node{kind: unstable.InlineTable}
	r.parser.Reset(r.data)
	table := root
	for table != nil && r.parser.NextExpression() {
		table = r.expression(root, table)
	}
	if len(r.list) > 0 {
		return nil
	}
	if err := r.parser.Error(); err != nil {
		at := place(0)
		if e := (*unstable.ParserError)(nil); errors.As(err, &e) {
			at = place(r.parser.Range(e.Highlight).Offset)
		}
		r.add(at, "this is not valid TOML: %v", err)
		return nil
	}
	// The tree takes keys that stand twice; the full decoder does not.
	var all map[string]any
	if err := toml.Unmarshal(r.data, &all); err != nil {
		at := place(0)
		if e := (*toml.DecodeError)(nil); errors.As(err, &e) {
			row, column := e.Position()
			for ; row > 1; row-- {
				at += place(bytes.IndexByte(r.data[at:], '\n') + 1)
			}
			at += place(column - 1)
		}
		r.add(at, "this is not valid TOML: %s", strings.TrimPrefix(err.Error(), "toml: "))
		return nil
	}
	return root
}

// expression takes in one key with its value or one table header, and gives
// the table that the next keys belong to; nil after a problem.
func (r *treeReader) expression(root, table *node) *node {
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
			item := &node{place: at, key: at, kind: unstable.InlineTable}
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
func (r *treeReader) descend(n *node, key unstable.Iterator) (parent *node, name string, at place) {
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
		at = place(key.Node().Raw.Offset)
		if !r.room(at, depth) {
			return nil, "", at
		}
	}
	return parent, name, at
}

// enter puts a new table into its parent.
func (r *treeReader) enter(parent *node, name string, at place) *node {
	n := &node{place: at, key: at, kind: unstable.InlineTable}
	if parent.child == nil {
		parent.child = map[string]*node{}
	}
	if parent.child[name] == nil {
		parent.order = append(parent.order, name)
	}
	parent.child[name] = n
	return n
}

func (r *treeReader) keyValue(table *node, kv *unstable.Node, depth int) bool {
	parent, name, at := r.descend(table, kv.Key())
	return parent != nil && r.value(r.enter(parent, name, at), kv.Value(), depth)
}

// value fills n, which already has the place of its key.
func (r *treeReader) value(n *node, v *unstable.Node, depth int) bool {
	if v.Raw.Length > 0 {
		n.place = place(v.Raw.Offset)
	}
	if !r.room(n.place, depth) {
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
		item := &node{place: n.place, key: n.key}
		n.items = append(n.items, item)
		if !r.value(item, it.Node(), depth+1) {
			return false
		}
	}
	if v.Kind != unstable.Array && v.Kind != unstable.InlineTable {
		n.text = string(v.Data)
	}
	return true
}

// room counts a value and refuses what no profile needs.
func (r *treeReader) room(at place, depth int) bool {
	if r.count++; r.count > maxValues {
		r.add(at, "the file holds more than %d values: no profile does, check that this is one", maxValues)
	} else if depth > maxDepth {
		r.add(at, "this is nested more than %d deep: no profile is, check the brackets", maxDepth)
	}
	return len(r.list) == 0
}
