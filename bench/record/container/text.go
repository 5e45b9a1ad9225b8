package container

import "encoding/binary"

// text adds a column of texts: the different ones, in the order in which they
// come, and which of them each row holds.
func (e *encoder) text(dst []byte, rows []string) []byte {
	places := map[string]int64{}
	e.texts = e.texts[:0]
	codes := sized(e.decimals, len(rows))
	e.decimals = codes
	for i, s := range rows {
		at, known := places[s]
		if !known {
			at = int64(len(places))
			places[s] = at
			e.texts = appendText(e.texts, s)
		}
		codes[i] = at
	}
	e.textBytes += len(e.texts)
	dst = binary.AppendUvarint(dst, uint64(len(places)))
	dst = binary.AppendUvarint(dst, uint64(len(e.texts)))
	dst = e.pack(dst, e.texts)
	return e.codes(dst, codes, e.planCodes(codes))
}

// text reads a column of texts into out.
func (d *decoder) text(c *cursor, out []string) {
	n := c.count("the number of different texts", 1, len(out))
	size := c.count("the length of the texts", n, max(min(mostPacked, d.textLeft), n))
	d.textLeft -= size
	list := cursor{b: d.unpackAll(c, size)}
	if c.err != nil {
		return
	}
	different := make([]string, n)
	for i := range different {
		different[i] = list.text()
	}
	if err := list.end(); err != nil {
		c.fail("%w", err)
		return
	}
	choose(d, c, out, different)
}
