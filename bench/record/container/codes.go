package container

import (
	"encoding/binary"
	"math"
	"math/bits"
)

// plan is how codes are written: the order that seems smallest, and how many
// bytes that would take.
type plan struct {
	order      byte
	base, step int64
	size       float64
}

// residues fills u with what is left of the codes after the prediction of an
// order.
func residues(u []uint64, codes []int64, order byte) plan {
	p := plan{order: order, base: codes[0]}
	switch order {
	case 0:
		for _, c := range codes {
			p.base = min(p.base, c)
		}
		for i, c := range codes {
			u[i] = uint64(c) - uint64(p.base)
		}
	case 1:
		before := p.base
		for i, c := range codes {
			u[i] = zigzag(c - before)
			before = c
		}
	case 2:
		if len(codes) > 1 {
			p.step = codes[1] - codes[0]
		}
		u[0] = 0
		step := p.step
		for i := 1; i < len(codes); i++ {
			s := codes[i] - codes[i-1]
			u[i] = zigzag(s - step)
			step = s
		}
	}
	return p
}

// width is how many bytes the largest of u needs.
func width(u []uint64) int {
	all := uint64(0)
	for _, x := range u {
		all |= x
	}
	return (bits.Len64(all) + 7) / 8
}

// planCodes looks which order is likely the smallest.
func (e *encoder) planCodes(codes []int64) plan {
	e.u = sized(e.u, len(codes))
	best := plan{size: math.Inf(1)}
	for order := range byte(3) {
		p := residues(e.u, codes, order)
		p.size = 4
		for j := range width(e.u) {
			p.size += planeSize(e.u, 8*j)
		}
		if p.size < 0.99*best.size {
			best = p
		}
	}
	return best
}

// planeSize estimates what a plane packs to: its entropy byte by byte, or
// three bytes a change where it seldom changes.
func planeSize(u []uint64, shift int) float64 {
	var counts [256]int32
	changes, before := 0, byte(u[0]>>shift)
	for _, x := range u {
		b := byte(x >> shift)
		counts[b]++
		if b != before {
			changes++
		}
		before = b
	}
	if changes == 0 {
		return 2
	}
	n, sum, used := float64(len(u)), 0.0, 0
	for _, c := range counts {
		if c > 0 {
			sum -= float64(c) * math.Log2(float64(c)/n)
			used++
		}
	}
	return min(sum/8+float64(used)/2, 3*float64(changes)) + 12
}

// codes adds codes by a plan.
func (e *encoder) codes(dst []byte, codes []int64, p plan) []byte {
	n := len(codes)
	e.u = sized(e.u, n)
	p = residues(e.u, codes, p.order)
	dst = binary.AppendUvarint(append(dst, p.order), zigzag(p.base))
	if p.order == 2 {
		dst = binary.AppendUvarint(dst, zigzag(p.step))
	}
	w := width(e.u)
	dst = append(dst, byte(w))
	e.plane = sized(e.plane, n)
	for j := range w {
		for i, x := range e.u {
			e.plane[i] = byte(x >> (8 * j))
		}
		dst = e.pack(dst, e.plane)
	}
	return dst
}

// shape is what stands before the planes of codes.
type shape struct {
	order      byte
	base, step int64
	width      int
}

func (c *cursor) shape() shape {
	s := shape{order: c.byte(), base: c.varint()}
	if s.order == 2 {
		s.step = c.varint()
	}
	s.width = int(c.byte())
	if s.order > 2 || s.width > 8 {
		c.fail("codes of order %d and %d bytes are not known", s.order, s.width)
	}
	return s
}

// codes reads n codes, whose shape is read already. They are good until the
// next call.
func (d *decoder) codes(c *cursor, n int, s shape) []int64 {
	if c.err != nil {
		return nil
	}
	d.codesOut = sized(d.codesOut, n)
	d.plane = sized(d.plane, n)
	out, plane := d.codesOut, d.plane[:len(d.codesOut)]
	if s.width == 0 {
		clear(out)
	}
	for j := range s.width {
		d.unpack(c, plane)
		if j == 0 {
			for i, b := range plane {
				out[i] = int64(b)
			}
			continue
		}
		shift := 8 * j & 63
		for i, b := range plane {
			out[i] |= int64(uint64(b) << shift)
		}
	}
	base, step := s.base, s.step
	switch s.order {
	case 0:
		for i := range out {
			out[i] += base
		}
	case 1:
		out[0] = 0
		for i, u := range out {
			base += unzigzag(uint64(u))
			out[i] = base
		}
	case 2:
		out[0] = base
		for i := 1; i < n; i++ {
			step += unzigzag(uint64(out[i]))
			base += step
			out[i] = base
		}
	}
	return out
}

// choose reads codes that are places in a list, and puts what stands there
// into out.
func choose[T any](d *decoder, c *cursor, out, list []T) {
	s := c.shape()
	if s.order == 0 && s.width == 1 && s.base >= 0 && s.base < int64(len(list)) {
		// The usual case, in one pass.
		d.plane = sized(d.plane, len(out))
		d.unpack(c, d.plane)
		list = list[s.base:]
		var table [256]T
		copy(table[:], list)
		most := byte(0)
		for i, b := range d.plane[:len(out)] {
			most = max(most, b)
			out[i] = table[b]
		}
		if int(most) >= len(list) {
			c.fail("a code stands for nothing in a list of %d", len(list))
		}
		return
	}
	for i, code := range d.codes(c, len(out), s) {
		if uint64(code) >= uint64(len(list)) {
			c.fail("a code stands for nothing in a list of %d", len(list))
			return
		}
		out[i] = list[code]
	}
}

// sized is memory for n elements, used again where it suffices.
func sized[T any](s []T, n int) []T {
	if cap(s) < n {
		return make([]T, n)
	}
	return s[:n]
}
