package plot

import (
	"math"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// None stands where there is no number.
const None = "–"

// Fixed is a number with so many decimals, never "-0"; beyond a million or
// below what 6 decimals show, with a power of ten.
func Fixed(v float64, decimals int) string {
	if !finite(v) {
		return None
	}
	decimals = max(decimals, 0)
	if math.Abs(v) >= 1e6 || decimals > 6 {
		return Digits(v, 3)
	}
	return noMinusZero(strconv.FormatFloat(v, 'f', decimals, 64))
}

// Digits is a number with so many significant digits.
func Digits(v float64, n int) string {
	if !finite(v) {
		return None
	}
	if v == 0 {
		return "0"
	}
	n = max(n, 1)
	s := strconv.FormatFloat(v, 'e', n-1, 64)
	mant, exp, _ := strings.Cut(s, "e")
	e, _ := strconv.Atoi(exp)
	if e < -5 || e >= 6 {
		if strings.Contains(mant, ".") {
			mant = strings.TrimRight(strings.TrimRight(mant, "0"), ".")
		}
		return mant + "e" + strconv.Itoa(e)
	}
	return strconv.FormatFloat(v, 'f', max(0, n-1-e), 64)
}

// Short is a number with at most n significant digits and no trailing zeros,
// for limits and captions.
func Short(v float64, n int) string {
	s := Digits(v, n)
	if strings.Contains(s, ".") && !strings.Contains(s, "e") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return s
}

// WithUncertainty is a value and its uncertainty as text. The uncertainty has
// two significant digits and the value as many decimals (JCGM 100:2008,
// 7.2.6). Without an uncertainty u is empty.
func WithUncertainty(v, uncertainty float64) (value, u string) {
	if !finite(v) {
		return None, ""
	}
	a := math.Abs(uncertainty)
	if !finite(uncertainty) || a == 0 {
		return Short(v, 4), ""
	}
	u = Digits(a, 2)
	if strings.Contains(u, "e") || math.Abs(v) >= 1e6 {
		return Short(v, 4), u
	}
	decimals := 0
	if i := strings.IndexByte(u, '.'); i >= 0 {
		decimals = len(u) - i - 1
	}
	return Fixed(v, decimals), u
}

func noMinusZero(s string) string {
	if strings.HasPrefix(s, "-") && strings.Trim(s, "-0.") == "" {
		return s[1:]
	}
	return s
}

// Plain is a text on one line without what could steer a terminal or turn the
// direction of reading: control and format characters become spaces or go,
// bytes that are no UTF-8 become the replacement character.
func Plain(s string) string {
	clean := true
	for _, r := range s {
		if r == utf8.RuneError || unicode.IsControl(r) || unicode.Is(unicode.Cf, r) || r == '\u2028' || r == '\u2029' {
			clean = false
			break
		}
	}
	if clean {
		return s
	}
	return strings.Map(func(r rune) rune {
		switch {
		case unicode.IsControl(r), r == '\u2028', r == '\u2029':
			return ' '
		case unicode.Is(unicode.Cf, r):
			return -1
		}
		return r
	}, strings.ToValidUTF8(s, "\uFFFD"))
}
