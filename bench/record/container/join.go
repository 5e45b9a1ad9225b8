package container

import (
	"errors"
	"fmt"
	"slices"

	"dutybench/signal/trace"
)

// Block gives rows of a trace under way as a piece that can be read alone: a
// container of its own, with its comment lines and columns. What Encode
// refuses is an error.
func Block(rows *trace.Trace) ([]byte, error) { return Encode(rows) }

// ParseBlock reads what Block gave.
func ParseBlock(data []byte) (*trace.Trace, error) { return Decode(data, "chunk") }

// Join makes one trace of pieces, in their order. Its comment lines are those
// of the last. It stops where a piece is damaged or does not follow the one
// before; the error then says so, and the trace holds all that came first. It
// is nil where nothing is left.
func Join(pieces [][]byte) (*trace.Trace, error) {
	var t *trace.Trace
	stop := func(i int, err error) (*trace.Trace, error) {
		rows := 0
		if t != nil {
			rows = t.Len()
			if cerr := t.Complete(); cerr != nil {
				return nil, fmt.Errorf("container: the pieces make no trace: %w", cerr)
			}
		}
		if err == nil {
			return t, nil
		}
		return t, fmt.Errorf("container: piece %d of %d: %w; the %d rows before that were kept", i+1, len(pieces), err, rows)
	}
	if len(pieces) == 0 {
		return nil, errors.New("container: there are no pieces: nothing was measured")
	}
	for i, data := range pieces {
		next, err := Recover(data, "chunk")
		if next == nil {
			return stop(i, err)
		}
		if t == nil {
			t = next
		} else if ferr := follow(t, next); ferr != nil {
			return stop(i, ferr)
		}
		if err != nil {
			return stop(i, err)
		}
	}
	return stop(len(pieces), nil)
}

// follow adds the rows of the next piece.
func follow(t, next *trace.Trace) error {
	if !slices.EqualFunc(t.Columns, next.Columns, func(a, b trace.Column) bool {
		return a.Name == b.Name && (a.Text != nil) == (b.Text != nil)
	}) {
		return errors.New("its columns are others than those before")
	}
	last := t.Time()[t.Len()-1]
	if first := next.Time()[0]; first < last {
		return fmt.Errorf("it begins at %g s, before the end of the one before at %g s", first, last)
	}
	if t.Len()+next.Len() > trace.MaxSamples/len(t.Columns) {
		return fmt.Errorf("there would be more than %d samples", trace.MaxSamples)
	}
	for i := range t.Columns {
		c, n := &t.Columns[i], &next.Columns[i]
		c.Values, c.Text = append(c.Values, n.Values...), append(c.Text, n.Text...)
	}
	t.Meta = next.Meta
	return nil
}
