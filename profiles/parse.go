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

	"dutybench/profiles/strict"
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
	root, reader, err := asProfile.Read(data, source)
	if err != nil {
		return nil, err
	}
	d := decoder{reader}
	f := &file{}
	if !d.head(root) {
		return nil, d.Err()
	}
	own, err := section(root.Child("kind").Text)
	if err != nil {
		d.Cause(root.Child("kind").Place, err, "kind: %v", err)
		return nil, d.Err()
	}
	f.Section = d.section(root, root.Child("kind").Text, own)
	d.strangers(root, section)
	d.Table(root, f, "the profile")
	if d.Count() == 0 {
		d.check(root, f)
	}
	if err := d.Err(); err != nil {
		return nil, err
	}
	p := f.profile()
	sum := sha256.Sum256(data)
	p.SHA256, p.Source = hex.EncodeToString(sum[:]), source
	return p, nil
}

// decoder reads a profile, and notes every problem on the way.
type decoder struct{ *strict.Decoder }

// head looks at what decides how the rest is to be read, so that a file for
// another program or another bench gets one clear sentence.
func (d *decoder) head(root *strict.Node) bool {
	switch n := root.Child("format"); {
	case n == nil:
		d.Add(root.Place, "the profile lacks the key format: begin with format = %d", Format)
	case !n.IsInteger():
		d.Add(n.Place, "format must be a whole number without quotes: format = %d", Format)
	default:
		x, err := strconv.Atoi(n.Text)
		if errors.Is(err, strconv.ErrRange) || x > Format {
			d.Add(n.Place, "format %s is newer than format %d, the newest that this program reads: use a newer program", strict.Clip(n.Text), Format)
		} else if err != nil || x < 1 {
			d.Add(n.Place, "format is %s: it must be %d", strict.Clip(n.Text), Format)
		}
	}
	if n := root.At("command", "type"); n.IsString() && n.Text != Signal && n.Text != Switched {
		switch n.Text {
		case "0-10 V", "lin", "can":
			d.Add(n.Place, "command type %q is not supported by this bench: it commands by \"pwm\", or switches the unit itself, \"switched\"", n.Text)
		default:
			d.Add(n.Place, "command type %q is not known: this bench commands by \"pwm\", or switches the unit itself, \"switched\" (\"0-10 V\", \"lin\" and \"can\" are not supported)", strict.Clip(n.Text))
		}
	}
	if n := root.Child("kind"); n == nil {
		d.Add(root.Place, `the profile lacks the key kind: add one such as kind = "pump"`)
	} else if !n.IsString() {
		d.Add(n.Place, `kind must be text in quotes, such as kind = "pump"`)
	}
	return d.Count() == 0
}

// section reads the kind's own table and takes it out of root; nil when the
// file has none.
func (d *decoder) section(root *strict.Node, kind string, own any) any {
	n := root.Child(kind)
	v := reflect.ValueOf(own)
	if n == nil || own == nil || ownKeys[kind] {
		return nil
	}
	root.Remove(kind)
	if v.Kind() != reflect.Pointer || v.IsNil() || v.Elem().Kind() != reflect.Struct {
		d.Add(n.Place, "the section of kind %q is to be read into a %T, which is no pointer to a struct: this is a fault in the program", kind, own)
		return nil
	}
	before := d.Count()
	d.Table(n, own, "["+kind+"]")
	if c, ok := own.(interface {
		Check(bad func(key, problem string))
	}); ok && d.Count() == before {
		c.Check(func(key, problem string) { d.Add(n.At(key).Place, "%s: %s", key, problem) })
	}
	return own
}

// strangers are tables at the top that are neither the format's nor this
// kind's: sections of another kind, or of none.
func (d *decoder) strangers(root *strict.Node, section func(kind string) (any, error)) {
	kind := root.Child("kind").Text
	for _, key := range slices.Clone(root.Keys()) {
		n := root.Child(key)
		if ownKeys[key] || !n.IsTable() || slices.ContainsFunc(ownNames, func(k string) bool { return strings.EqualFold(k, key) }) {
			continue
		}
		switch _, err := section(key); {
		case key != kind && strings.EqualFold(key, kind):
			d.Add(n.Key, "unknown table [%s]: write it [%s], keys match exactly in case", strict.ShownKey(key), kind)
		case key == kind:
			d.Add(n.Key, "unknown table [%s]: the kind %q has no section", strict.ShownKey(key), kind)
		case err != nil:
			d.Cause(n.Key, err, "unknown table [%s], neither part of a profile nor of a kind: %v", strict.ShownKey(key), err)
		default:
			d.Add(n.Key, "the table [%s] belongs to the kind %q, but this profile's kind is %q: remove it or correct the kind", key, key, kind)
		}
		root.Remove(key)
	}
}

// ownNames are the top-level keys of the format; ownKeys is the same as a set.
var ownNames, ownKeys = func() (names []string, set map[string]bool) {
	set = map[string]bool{}
	for _, name := range strict.Keys(file{}) {
		names = append(names, name)
		set[name] = true
	}
	return names, set
}()

// isHash says whether s is a SHA-256 in small hex digits.
func isHash(s string) bool {
	b, err := hex.DecodeString(s)
	return err == nil && len(b) == sha256.Size && s == fmt.Sprintf("%x", b)
}
