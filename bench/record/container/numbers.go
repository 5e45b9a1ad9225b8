package container

import (
	"cmp"
	"encoding/binary"
	"math"
	"slices"
)

// How a list of numbers is written.
const (
	listConstant byte = iota
	listDecimal
	listChoice
	listBits
)

// Which rows of a column hold a number.
const (
	allSampled byte = iota
	noneSampled
	someSampled
)

const (
	maxDecimals = 22
	maxMantissa = 1 << 53
	// maxChoice bounds the different numbers of a choice: twice what a 12-bit
	// converter has. Chosen; more cost more to list than they save.
	maxChoice = 8192
)

// pow10 holds the powers of ten that a float64 holds exactly.
var pow10 = [maxDecimals + 1]float64{
	1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11,
	1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22,
}

// column adds a column of numbers.
func (e *encoder) column(dst []byte, values []float64) []byte {
	e.present = e.present[:0]
	for _, v := range values {
		if v == v {
			e.present = append(e.present, v)
		}
	}
	switch len(e.present) {
	case 0:
		return append(dst, noneSampled)
	case len(values):
		return e.list(append(dst, allSampled), values, true)
	}
	e.plane = sized(e.plane, (len(values)+7)/8)
	clear(e.plane)
	for i, v := range values {
		if v == v {
			e.plane[i/8] |= 1 << (i % 8)
		}
	}
	return e.list(e.pack(append(dst, someSampled), e.plane), e.present, true)
}

// list adds a list of numbers, none of them NaN, in the way that seems the
// smallest. choice allows a choice of different numbers.
func (e *encoder) list(dst []byte, values []float64, choice bool) []byte {
	first := math.Float64bits(values[0])
	if !slices.ContainsFunc(values, func(v float64) bool { return math.Float64bits(v) != first }) {
		return appendFloat(append(dst, listConstant), values[0])
	}
	codes := sized(e.decimals, len(values))
	e.decimals = codes
	k, decimal := decimals(codes, values)
	if !decimal {
		for i, v := range values {
			codes[i] = int64(math.Float64bits(v))
		}
	}
	p := e.planCodes(codes)
	if choice {
		if different := e.distinct(values); len(different) > 0 {
			e.listed = e.list(e.listed[:0], different, false)
			e.ranks(values, different)
			if q := e.planCodes(e.rank); q.size+float64(len(e.listed)) < p.size {
				dst = binary.AppendUvarint(append(dst, listChoice), uint64(len(different)))
				return e.codes(append(dst, e.listed...), e.rank, q)
			}
			// The list of different numbers was made in the same memory.
			return e.list(dst, values, false)
		}
	}
	if decimal {
		return e.codes(append(dst, listDecimal, byte(k)), codes, p)
	}
	return e.codes(append(dst, listBits), codes, p)
}

// decimals finds the smallest k with which every value is a whole number over
// 10^k, and those numbers as codes. ok is false where there is none.
func decimals(codes []int64, values []float64) (k int, ok bool) {
	for _, v := range values {
		for _, exact := decimal(v, k); !exact; _, exact = decimal(v, k) {
			if k++; k > maxDecimals {
				return 0, false
			}
		}
	}
	for i, v := range values {
		if codes[i], ok = decimal(v, k); !ok {
			return 0, false // more than 2^53 with so many decimals
		}
	}
	return k, true
}

// decimal is the code of v with k decimals, if there is one.
func decimal(v float64, k int) (code int64, exact bool) {
	m := math.Round(math.Abs(v) * pow10[k])
	if !(m <= maxMantissa) || m/pow10[k] != math.Abs(v) {
		return 0, false
	}
	if math.Signbit(v) {
		return -int64(m) - 1, true
	}
	return int64(m), true
}

// distinct gives the different values, sorted, negative zero before zero; nil
// where there are too many to be worth a list.
func (e *encoder) distinct(values []float64) []float64 {
	if e.slots == nil {
		e.slots = make([]uint16, 4*maxChoice)
	}
	clear(e.slots)
	e.different = e.different[:0]
	for _, v := range values {
		if at := e.slot(v); e.slots[at] == 0 {
			if len(e.different) == maxChoice || 2*len(e.different) > len(values) {
				return nil
			}
			e.different = append(e.different, v)
			e.slots[at] = uint16(len(e.different))
		}
	}
	slices.SortFunc(e.different, func(a, b float64) int {
		return cmp.Or(cmp.Compare(a, b), cmp.Compare(int64(math.Float64bits(a)), int64(math.Float64bits(b))))
	})
	// Once sorted, a slot holds the place in the sorted list.
	clear(e.slots)
	for i, v := range e.different {
		e.slots[e.slot(v)] = uint16(i + 1)
	}
	return e.different
}

// slot is where a value stands in the table, or would: the first place from
// its hash on that holds it or nothing.
func (e *encoder) slot(v float64) int {
	b := math.Float64bits(v)
	at := int(b * 0x9e3779b97f4a7c15 >> 49) // 15 bits: 4 × maxChoice
	for e.slots[at] != 0 && math.Float64bits(e.different[e.slots[at]-1]) != b {
		at = (at + 1) % (4 * maxChoice)
	}
	return at
}

// ranks fills rank with where each value stands among the different ones.
func (e *encoder) ranks(values, _ []float64) {
	e.rank = sized(e.rank, len(values))
	for i, v := range values {
		e.rank[i] = int64(e.slots[e.slot(v)] - 1)
	}
}

// column reads a column of numbers into out.
func (d *decoder) column(c *cursor, out []float64) {
	switch how := c.byte(); how {
	case allSampled:
		d.list(c, out, true)
	case noneSampled:
		for i := range out {
			out[i] = math.NaN()
		}
	case someSampled:
		d.sampled(c, out)
	default:
		c.fail("rows are said to be sampled in way %d, which this program does not know", how)
	}
}

// sampled reads a column where some rows hold no number.
func (d *decoder) sampled(c *cursor, out []float64) {
	d.plane = sized(d.plane, (len(out)+7)/8)
	d.unpack(c, d.plane)
	d.rows = d.rows[:0]
	for i := range d.plane {
		for b := d.plane[i]; b != 0; b &= b - 1 {
			d.rows = append(d.rows, int32(8*i+lowest(b)))
		}
	}
	n := len(d.rows)
	if c.err == nil && (n == 0 || n == len(out) || int(d.rows[n-1]) >= len(out)) {
		c.fail("the rows that were sampled are not some of %d", len(out))
	}
	if c.err != nil {
		return
	}
	d.present = sized(d.present, n)
	d.list(c, d.present, true)
	nan := math.NaN()
	for i := range out {
		out[i] = nan
	}
	for i, row := range d.rows {
		out[row] = d.present[i]
	}
}

// list reads a list of numbers into out.
func (d *decoder) list(c *cursor, out []float64, choice bool) {
	switch how := c.byte(); {
	case how == listConstant:
		v := c.float()
		for i := range out {
			out[i] = v
		}
	case how == listDecimal:
		k := c.count("the number of decimals", 0, maxDecimals)
		p := pow10[k]
		for i, code := range d.codes(c, len(out), c.shape()) {
			sign := code >> 63
			out[i] = math.Float64frombits(math.Float64bits(float64(code^sign)/p) | uint64(sign)<<63)
		}
	case how == listChoice && choice:
		n := c.count("the number of different numbers", 1, len(out))
		if c.err != nil {
			return
		}
		d.different = sized(d.different, n)
		d.list(c, d.different, false)
		choose(d, c, out, d.different)
	case how == listBits:
		for i, code := range d.codes(c, len(out), c.shape()) {
			out[i] = math.Float64frombits(uint64(code))
		}
	default:
		c.fail("numbers are listed in way %d, which this program does not know", how)
	}
}
