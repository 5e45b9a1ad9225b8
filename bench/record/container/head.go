package container

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"slices"

	"dutybench/signal/trace"
)

const (
	ofNumbers byte = iota
	ofTexts
)

// place is where a block stands.
type place struct {
	at     int64 // from the container's first byte; of a file only
	length int   // of its part
	row    int   // its first
	span
	content []byte // where it is at hand
}

// head is what a container says of all its blocks.
type head struct {
	meta  []trace.Entry
	names []string
	texts []bool // which columns hold texts
}

func appendHead(b []byte, t *trace.Trace) []byte {
	b = binary.AppendUvarint(b, uint64(len(t.Meta)))
	for _, e := range t.Meta {
		b = appendText(appendText(b, e.Key), e.Value)
	}
	b = binary.AppendUvarint(b, uint64(len(t.Columns)))
	for i := range t.Columns {
		c := &t.Columns[i]
		kind := ofNumbers
		if c.Text != nil {
			kind = ofTexts
		}
		b = appendText(append(b, kind), c.Name)
	}
	return b
}

// head reads the content of the head's part.
func (d *decoder) head(content []byte) (*head, error) {
	outer := cursor{b: content}
	c := cursor{b: d.unpackAll(&outer, outer.count("the length", 2, mostPacked))}
	if err := outer.end(); err != nil {
		return nil, err
	}
	h := &head{}
	for range c.count("the number of comment lines", 0, min(trace.MaxComments, len(c.b)/2)) {
		key := c.text()
		h.meta = append(h.meta, trace.Entry{Key: key, Value: c.text()})
	}
	for range c.count("the number of columns", 1, min(trace.MaxColumns, len(c.b)/2)) {
		kind := c.byte()
		if kind > ofTexts {
			c.fail("a column of kind %d is not known", kind)
		}
		h.texts = append(h.texts, kind == ofTexts)
		h.names = append(h.names, c.text())
	}
	if err := c.end(); err != nil {
		return nil, err
	}
	if at := slices.Index(h.names, trace.ColTime); at < 0 || h.texts[at] {
		return nil, fmt.Errorf("there is no column %s", trace.ColTime)
	}
	return h, nil
}

// columns are columns without rows.
func (h *head) columns() []trace.Column {
	out := make([]trace.Column, len(h.names))
	for i := range out {
		out[i].Name = h.names[i]
		if h.texts[i] {
			out[i].Text = []string{}
		} else {
			out[i].Values = []float64{}
		}
	}
	return out
}

func appendIndex(b []byte, blocks []place) []byte {
	b = binary.AppendUvarint(b, uint64(len(blocks)))
	for _, p := range blocks {
		b = binary.AppendUvarint(b, uint64(p.length))
		b = binary.AppendUvarint(b, uint64(p.rows))
		b = appendFloat(appendFloat(b, p.first), p.last)
	}
	return b
}

// parseIndex reads an index. room is the number of bytes that its blocks take.
func (h *head) parseIndex(content []byte, room int64) ([]place, error) {
	const least = 1 + 1 + 8 + 8
	c := cursor{b: content}
	blocks := make([]place, c.count("the number of blocks", 1, len(content)/least))
	rows := 0
	for i := range blocks {
		p := &blocks[i]
		p.length = c.count("the length of a block", partExtra, int(min(room, math.MaxInt32)))
		p.row = rows
		p.rows = c.count("the number of rows", 1, min(maxRows, maxCells/len(h.names)))
		p.first, p.last = c.float(), c.float()
		if c.err == nil && !(p.first <= p.last) || i > 0 && !(blocks[i-1].last <= p.first) {
			c.fail("time runs back")
		}
		rows += p.rows
		room -= int64(p.length)
		if rows > trace.MaxSamples/len(h.names) {
			c.fail("there are more than %d samples", trace.MaxSamples)
		}
		if c.err != nil {
			return nil, c.err
		}
	}
	if err := c.end(); err != nil {
		return nil, err
	}
	if room != 0 {
		return nil, errors.New("it does not fit the blocks")
	}
	return blocks, nil
}
