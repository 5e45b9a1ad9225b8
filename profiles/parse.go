package profiles

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"reflect"
	"slices"
	"strconv"
	"strings"

	"github.com/pelletier/go-toml/v2/unstable"
)

// Parse reads a profile, strictly: every key must be known and exact in case,
// every value carry its unit and lie in its range, and the parts agree.
//
// source is the path, or "built-in", for messages. section gives, for the name
// of a kind, a pointer to a zero struct of that kind's own section, or an
// error that names the kinds there are; nil without error for a kind that has
// no section. The struct's tags are read as this package's own. A section
// with a method Check(bad func(key, problem string)) is asked for what tags
// cannot say.
//
// The error is an *Error that lists every problem with line and column.
func Parse(data []byte, source string, section func(kind string) (any, error)) (*Profile, error) {
	root, err := parseTree(data, source)
	if err != nil {
		return nil, err
	}
	d := decoder{problems{data: data}}
	f := &file{}
	if !d.head(root) {
		return nil, d.err(source)
	}
	own, err := section(root.child["kind"].text)
	if err != nil {
		d.cause(root.child["kind"].place, err, "kind: %v", err)
		return nil, d.err(source)
	}
	f.Section = d.section(root, root.child["kind"].text, own)
	d.strangers(root, section)
	d.table(root, reflect.ValueOf(f).Elem(), "the profile")
	if len(d.list) == 0 {
		d.check(root, f)
	}
	if err := d.err(source); err != nil {
		return nil, err
	}
	p := f.profile()
	sum := sha256.Sum256(data)
	p.SHA256, p.Source = hex.EncodeToString(sum[:]), source
	return p, nil
}

// head looks at what decides how the rest is to be read, so that a file for
// another program or another bench gets one clear sentence.
func (d *decoder) head(root *node) bool {
	switch n := root.child["format"]; {
	case n == nil:
		d.add(root.place, "the profile lacks the key format: begin with format = %d", Format)
	case n.kind != unstable.Integer:
		d.add(n.place, "format must be a whole number without quotes: format = %d", Format)
	default:
		x, err := strconv.Atoi(n.text)
		if errors.Is(err, strconv.ErrRange) || x > Format {
			d.add(n.place, "format %s is newer than format %d, the newest that this program reads: use a newer program", clip(n.text), Format)
		} else if err != nil || x < 1 {
			d.add(n.place, "format is %s: it must be %d", clip(n.text), Format)
		}
	}
	if n := root.at("command", "type"); n.kind == unstable.String && n.text != "pwm" {
		switch n.text {
		case "0-10 V", "lin", "can":
			d.add(n.place, "command type %q is not supported by this bench: it commands by \"pwm\" only", n.text)
		default:
			d.add(n.place, "command type %q is not known: this bench commands by \"pwm\" only (\"0-10 V\", \"lin\" and \"can\" are not supported)", clip(n.text))
		}
	}
	if n := root.child["kind"]; n == nil {
		d.add(root.place, `the profile lacks the key kind: add one such as kind = "pump"`)
	} else if n.kind != unstable.String {
		d.add(n.place, `kind must be text in quotes, such as kind = "pump"`)
	}
	return len(d.list) == 0
}

// section reads the kind's own table and takes it out of root; nil when the
// file has none.
func (d *decoder) section(root *node, kind string, own any) any {
	n := root.child[kind]
	v := reflect.ValueOf(own)
	if n == nil || own == nil || ownKeys[kind] {
		return nil
	}
	delete(root.child, kind)
	root.order = slices.DeleteFunc(root.order, func(k string) bool { return k == kind })
	if v.Kind() != reflect.Pointer || v.IsNil() || v.Elem().Kind() != reflect.Struct {
		d.add(n.place, "the section of kind %q is to be read into a %T, which is no pointer to a struct: this is a fault in the program", kind, own)
		return nil
	}
	before := len(d.list)
	d.table(n, v.Elem(), "["+kind+"]")
	if c, ok := own.(interface {
		Check(bad func(key, problem string))
	}); ok && len(d.list) == before {
		c.Check(func(key, problem string) { d.add(n.at(key).place, "%s: %s", key, problem) })
	}
	return own
}

// strangers are tables at the top that are neither the format's nor this
// kind's: sections of another kind, or of none.
func (d *decoder) strangers(root *node, section func(kind string) (any, error)) {
	kind := root.child["kind"].text
	root.order = slices.DeleteFunc(root.order, func(key string) bool {
		n := root.child[key]
		if ownKeys[key] || n.kind != unstable.InlineTable || slices.ContainsFunc(ownNames, func(k string) bool { return strings.EqualFold(k, key) }) {
			return false
		}
		switch _, err := section(key); {
		case key != kind && strings.EqualFold(key, kind):
			d.add(n.key, "unknown table [%s]: write it [%s], keys match exactly in case", shownKey(key), kind)
		case key == kind:
			d.add(n.key, "unknown table [%s]: the kind %q has no section", shownKey(key), kind)
		case err != nil:
			d.cause(n.key, err, "unknown table [%s], neither part of a profile nor of a kind: %v", shownKey(key), err)
		default:
			d.add(n.key, "the table [%s] belongs to the kind %q, but this profile's kind is %q: remove it or correct the kind", key, key, kind)
		}
		return true
	})
}

// ownNames are the top-level keys of the format; ownKeys is the same as a set.
var ownNames, ownKeys = func() (names []string, set map[string]bool) {
	set = map[string]bool{}
	for _, f := range fieldsOf(reflect.TypeFor[file]()) {
		names = append(names, f.name)
		set[f.name] = true
	}
	return names, set
}()

// isHash says whether s is a SHA-256 in small hex digits.
func isHash(s string) bool {
	b, err := hex.DecodeString(s)
	return err == nil && len(b) == sha256.Size && s == fmt.Sprintf("%x", b)
}
