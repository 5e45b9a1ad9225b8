package trace

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io"
	"os"
	"slices"
	"strings"

	"github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"
)

// maxMapping is the largest mapping file, in bytes.
const maxMapping = 1 << 20

// ReadMapping reads a mapping file. It is strict: a key that is not known, a
// value of the wrong type or an impossible number is an *Error with the line
// and column in the file.
func ReadMapping(path string) (*Mapping, error) {
	f, err := os.Open(path)
	if err == nil {
		defer f.Close()
		var data []byte
		if data, err = io.ReadAll(io.LimitReader(f, maxMapping+1)); err == nil {
			return ParseMapping(data, path)
		}
	}
	var p *os.PathError
	if errors.As(err, &p) {
		err = p.Err
	}
	return nil, &Error{Source: path, Problem: "the mapping cannot be read", Err: err,
		Advice: "check the path and its permissions"}
}

// ParseMapping reads a mapping from the bytes of a TOML file; source names it
// in messages. See ReadMapping.
func ParseMapping(data []byte, source string) (*Mapping, error) {
	if len(data) > maxMapping {
		return nil, &Error{Source: source, Problem: "the mapping is larger than 1 MiB",
			Advice: "name a mapping file, not a recording"}
	}
	sum := sha256.Sum256(data)
	m := &Mapping{Source: source, SHA256: hex.EncodeToString(sum[:])}
	if err := toml.NewDecoder(bytes.NewReader(data)).DisallowUnknownFields().Decode(m); err != nil {
		return nil, tomlError(err, source)
	}
	if f := m.check(); f != nil {
		e := &Error{Source: source, Problem: f.problem, Advice: f.advice}
		e.Line, e.Column = locate(data, f.path)
		return nil, e
	}
	return m, nil
}

// tomlError turns the decoder's error into ours, with its place.
func tomlError(err error, source string) error {
	var unknown *toml.StrictMissingError
	if errors.As(err, &unknown) && len(unknown.Errors) > 0 {
		first := &unknown.Errors[0]
		e := &Error{Source: source, Problem: "the key " + quote(strings.Join(first.Key(), ".")) + " is not known",
			Advice: rightKeys(first.Key())}
		e.Line, e.Column = first.Position()
		return e
	}
	e := &Error{Source: source, Problem: "this is not a mapping in TOML",
		Advice: `text stands in quotes, numbers without, as in factor = 0.001`}
	var decode *toml.DecodeError
	if !errors.As(err, &decode) {
		e.Err = err
		return e
	}
	e.Line, e.Column = decode.Position()
	e.Err = errors.New(strings.TrimPrefix(decode.Error(), "toml: "))
	return e
}

// rightKeys lists the keys that would be known in the place of one that is
// not.
func rightKeys(key toml.Key) string {
	if len(key) > 1 && key[0] == "columns" {
		return "a column knows from, column, constant, step_s, schedule, factor, offset, time_format, levels, points and empty"
	}
	return "a mapping knows delimiter, decimal_comma, skip_lines, header, [meta] and [columns.NAME]"
}

// locate finds the line and column of a dotted key, or of the nearest table
// above it that stands in the file; line 1 when none does.
func locate(data []byte, path []string) (line, column int) {
	line, column = 1, 1
	best := 0
	var p unstable.Parser
	p.Reset(data)
	var table []string
	for p.NextExpression() {
		n := p.Expression()
		switch n.Kind {
		case unstable.Table, unstable.ArrayTable:
			table = keyOf(n)
			best, line, column = nearer(&p, n, table, path, best, line, column)
		case unstable.KeyValue:
			best, line, column = nearer(&p, n, slices.Concat(table, keyOf(n)), path, best, line, column)
		}
	}
	return line, column
}

// nearer takes the place of n if its key covers more of the path than the
// best so far.
func nearer(p *unstable.Parser, n *unstable.Node, key, path []string, best, line, column int) (int, int, int) {
	if len(key) > len(path) {
		// [columns.t_s] is the nearest to a fault of "columns".
		key = key[:len(path)]
	}
	if len(key) <= best || !slices.Equal(key, path[:len(key)]) {
		return best, line, column
	}
	it := n.Key()
	if !it.Next() {
		return best, line, column
	}
	at := p.Shape(it.Node().Raw).Start
	return len(key), at.Line, at.Column
}

func keyOf(n *unstable.Node) []string {
	var key []string
	for it := n.Key(); it.Next(); {
		key = append(key, string(it.Node().Data))
	}
	return key
}
