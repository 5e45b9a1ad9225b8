package container

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"math"

	"dutybench/signal/trace"
)

// scanned is a container whose parts were found whole.
type scanned struct {
	*head
	blocks []place
	good   int // blocks that decode has read
}

// scan goes through the parts from the front. With an error, what it gives is
// what came before; nil where the head is damaged.
func scan(data []byte) (*scanned, error) { return scanOf(data, math.MaxInt) }

// scanOf refuses more rows than a CSV of so many bytes can hold.
func scanOf(data []byte, csv_B int) (*scanned, error) {
	rest, err := cutMagic(data)
	if err != nil {
		return nil, err
	}
	d, err := takeDecoder()
	if err != nil {
		return nil, err
	}
	defer decoders.Put(d)
	s := &scanned{}
	kind, content, n, err := parsePart(rest)
	if err == nil && kind != kindHead {
		err = errors.New("it does not come first")
	}
	if err == nil {
		s.head, err = d.head(content)
	}
	if err != nil {
		return nil, fmt.Errorf("the head is damaged: %w", err)
	}
	rest = rest[n:]
	for rows := 0; ; {
		kind, content, n, err := parsePart(rest)
		if err == nil && kind == kindIndex && rows > 0 {
			return s, s.end(content, data[:len(data)-len(rest)], rest[n:])
		}
		if err == nil && kind != kindBlock {
			err = fmt.Errorf("a part of kind %q is not known here", kind)
		}
		p := place{length: n, row: rows, content: content}
		if err == nil {
			c := cursor{b: content}
			p.span, err = blockSpan(&c, rows, len(s.names)), c.err
		}
		if rows += p.rows; err == nil && rows > trace.MaxSamples/len(s.names) {
			err = fmt.Errorf("there are more than %d samples", trace.MaxSamples)
		} else if err == nil && rows > csv_B/(len(s.names)+1) {
			// Each cell takes a byte at least, what comes behind it, and its time another.
			err = fmt.Errorf("there are more rows than %d bytes of CSV can hold", csv_B)
		}
		if err != nil {
			return s, fmt.Errorf("block %d, from row %d on, is damaged: %w", len(s.blocks)+1, p.row+1, err)
		}
		s.blocks = append(s.blocks, p)
		rest = rest[n:]
	}
}

// end checks index and tail against the blocks that were found.
func (s *scanned) end(index, before, tail []byte) error {
	if !bytes.Equal(index, appendIndex(nil, s.blocks)) {
		return errors.New("the index does not fit the blocks")
	}
	want := append(binary.LittleEndian.AppendUint64(nil, uint64(len(before))), endMagic...)
	if !bytes.Equal(tail, want) {
		return errors.New("its end is damaged")
	}
	return nil
}

// cutMagic takes off the first bytes.
func cutMagic(data []byte) ([]byte, error) {
	rest, ok := bytes.CutPrefix(data, []byte(magic))
	switch {
	case ok:
		return rest, nil
	case len(data) >= len(magic) && string(data[:len(magic)-1]) == magic[:len(magic)-1]:
		return nil, fmt.Errorf("its layout has version %d, and this program reads version 1: use the program that wrote it, or a later one", data[len(magic)-1])
	case len(data) < len(magic) && magic[:len(data)] == string(data):
		return nil, errCut
	}
	return nil, errors.New("it is no container of a trace, or its first bytes are damaged")
}

// decode reads all blocks.
func (s *scanned) decode(source string) (*trace.Trace, error) {
	d, err := takeDecoder()
	if err != nil {
		return nil, err
	}
	defer decoders.Put(d)
	t := &trace.Trace{Source: source, Meta: s.meta, Columns: s.columns()}
	if s.good, err = d.blocks(t.Columns, s.blocks, func(p place) ([]byte, error) { return p.content, nil }); err != nil {
		return nil, err
	}
	s.good = 0
	if err := t.Complete(); err != nil {
		return nil, fmt.Errorf("its content is no trace: %w", err)
	}
	return t, nil
}

// blocks reads blocks that follow each other into columns that are empty yet,
// and says how many it has read. content gets a block's content.
func (d *decoder) blocks(out []trace.Column, list []place, content func(place) ([]byte, error)) (n int, err error) {
	d.textLeft = mostTexts
	last := list[len(list)-1]
	first, total, room := list[0].row, last.row+last.rows-list[0].row, 0
	for i, p := range list {
		end := p.row + p.rows - first
		if end > room {
			room = min(max(end, 2*room, firstCells/len(out)), total)
			reserve(out, room)
		}
		for j := range out {
			if c := &out[j]; c.Text != nil {
				c.Text = c.Text[:end]
			} else {
				c.Values = c.Values[:end]
			}
		}
		if p.content, err = content(p); err == nil {
			err = d.read(out, p, p.row-first)
		}
		if err != nil {
			return i, fmt.Errorf("the block of rows %d to %d is damaged: %w", p.row+1, p.row+p.rows, err)
		}
	}
	return len(list), nil
}

// reserve makes room for rows, and keeps those that are there.
func reserve(columns []trace.Column, rows int) {
	for i := range columns {
		if c := &columns[i]; c.Text != nil {
			c.Text = append(make([]string, 0, rows), c.Text...)
		} else {
			c.Values = append(make([]float64, 0, rows), c.Values...)
		}
	}
}

// read reads a block into rows from row on.
func (d *decoder) read(out []trace.Column, p place, row int) error {
	c := cursor{b: p.content}
	s := blockSpan(&c, p.row, len(out))
	if c.err == nil && (s.rows != p.rows || !same(s.first, p.first) || !same(s.last, p.last)) {
		return errors.New("it is not as the index says")
	}
	if c.err != nil {
		return c.err
	}
	return d.block(&c, out, row, s)
}
