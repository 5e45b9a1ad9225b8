package trace

import (
	"math"
	"strconv"
)

// pow10 holds the powers of ten that a float64 holds exactly.
var pow10 = [...]float64{
	1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11,
	1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22,
}

// fastFloat reads the decimal number that b starts with and returns how many
// bytes it took. n is 0 where the short way does not apply: no number, or one
// that needs more care. A mantissa up to 2^53 and a power of ten up to 22 are
// both exact as float64, so their one product or quotient is rounded
// correctly (IEEE 754, 4.3), as strconv.ParseFloat would.
func fastFloat(b []byte) (v float64, n int) {
	i, negative := 0, false
	if len(b) > 0 && (b[0] == '-' || b[0] == '+') {
		negative = b[0] == '-'
		i = 1
	}
	var mantissa uint64
	start := i
	for i < len(b) {
		d := b[i] - '0'
		if d > 9 {
			break
		}
		mantissa = mantissa*10 + uint64(d)
		i++
	}
	digits, exponent := i-start, 0
	if i < len(b) && b[i] == '.' {
		i++
		start = i
		for i < len(b) {
			d := b[i] - '0'
			if d > 9 {
				break
			}
			mantissa = mantissa*10 + uint64(d)
			i++
		}
		exponent = start - i
		digits -= exponent
	}
	// Up to 19 digits cannot overflow 64 bits.
	if digits == 0 || digits > 19 || mantissa > 1<<53 {
		return 0, 0
	}
	if i < len(b) && (b[i] == 'e' || b[i] == 'E') {
		e, m := smallInt(b[i+1:])
		if m == 0 {
			return 0, 0
		}
		exponent += e
		i += 1 + m
	}
	v = float64(int64(mantissa))
	switch {
	case exponent == 0:
	case exponent < 0 && exponent >= -22:
		v /= pow10[-exponent]
	case exponent > 0 && exponent <= 22:
		v *= pow10[exponent]
	default:
		return 0, 0
	}
	if negative {
		v = -v
	}
	return v, i
}

// smallInt reads a signed integer of at most three digits; n is 0 for
// anything else.
func smallInt(b []byte) (v, n int) {
	i, negative := 0, false
	if len(b) > 0 && (b[0] == '-' || b[0] == '+') {
		negative = b[0] == '-'
		i = 1
	}
	start := i
	for i < len(b) && b[i]-'0' <= 9 {
		if i-start == 3 {
			return 0, 0
		}
		v = v*10 + int(b[i]-'0')
		i++
	}
	if i == start {
		return 0, 0
	}
	if negative {
		v = -v
	}
	return v, i
}

// fault is what can be wrong with a number.
type fault int

const (
	fine fault = iota
	noNumber
	notFinite
)

// parseFloat reads a whole cell, already without spaces and quotes. Only
// plain decimal numbers count: no hexadecimal, no underscore.
func parseFloat(cell []byte) (float64, fault) {
	if v, n := fastFloat(cell); n > 0 && n == len(cell) {
		return v, fine
	}
	for _, c := range cell {
		if (c < '0' || c > '9') && c != '.' && c != '-' && c != '+' && c != 'e' && c != 'E' {
			if isNotFinite(cell) {
				return 0, notFinite
			}
			return 0, noNumber
		}
	}
	v, err := strconv.ParseFloat(string(cell), 64)
	switch {
	case math.IsInf(v, 0):
		return 0, notFinite
	case err != nil:
		return 0, noNumber
	}
	return v, fine
}

// isNotFinite tells the spellings of NaN and infinity from other text.
func isNotFinite(cell []byte) bool {
	if len(cell) > len("+infinity") {
		return false
	}
	v, err := strconv.ParseFloat(string(cell), 64)
	return err == nil && (math.IsNaN(v) || math.IsInf(v, 0))
}
