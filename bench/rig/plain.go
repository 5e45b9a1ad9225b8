package rig

import (
	"math"
	"strconv"
)

// plain writes a number with so many digits that count, and never with an
// exponent: 19830, 0.0125.
func plain(x float64, digits int) string {
	if x == 0 || math.IsNaN(x) || math.IsInf(x, 0) {
		return strconv.FormatFloat(x, 'f', -1, 64)
	}
	after := digits - 1 - int(math.Floor(math.Log10(math.Abs(x))))
	p := math.Pow(10, float64(after))
	if r := math.Round(x*p) / p; !math.IsNaN(r) && !math.IsInf(r, 0) {
		x = r
	}
	return strconv.FormatFloat(x, 'f', max(after, 0), 64)
}

// amps is a current for people, in mA where it is small.
func amps(x float64) string {
	if math.Abs(x) < 0.1 {
		return plain(1e3*x, 3) + " mA"
	}
	return plain(x, 3) + " A"
}
