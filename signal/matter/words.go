package matter

import (
	"math"
	"regexp"
	"strconv"
	"strings"
)

var (
	glycolWord = regexp.MustCompile(`\b(?:mono)?(ethylene|propylene)[ -]?glycol\b`)
	perCent    = regexp.MustCompile(`([0-9]+(?:[.,][0-9]+)?) ?%`)
	byMass     = regexp.MustCompile(`\b(?:mass|weight|w/w|wt)\b`)
	otherWord  = regexp.MustCompile(`glycol|anti-?freeze|coolant|brine|glycer|alcohol|inhibit|%|\b(?:salt|sea|oil|air)\b`)
)

// ParseFluid reads what a person wrote of a fluid: "water", "tap water", "30 %
// propylene glycol", "water with 40 % ethylene glycol by mass". A percentage
// without a word is by volume, as antifreeze is sold and mixed (common
// practice, no source). ok is false where the words do not say which fluid it
// is, or a mixture that no formula here is for.
func ParseFluid(words string) (f Fluid, ok bool) {
	words = strings.ToLower(strings.Join(strings.Fields(words), " "))
	glycol, shares := glycolWord.FindAllStringSubmatch(words, -1), perCent.FindAllStringSubmatch(words, -1)
	if len(glycol) == 1 && len(shares) == 1 {
		share, err := strconv.ParseFloat(strings.Replace(shares[0][1], ",", ".", 1), 64)
		kind := Ethylene
		if glycol[0][1] == "propylene" {
			kind = Propylene
		}
		if share /= 100; byMass.MatchString(words) {
			f = Fluid{kind, share}
		} else {
			f = ByVolume(kind, share)
		}
		return f, err == nil && share > 0 && f.Fraction <= Most
	}
	return Water, strings.Contains(words, "water") && !otherWord.MatchString(words)
}

// recorded is what a person wrote; empty where that says nothing.
func recorded(words string) string {
	switch words = strings.ToLower(strings.Join(strings.Fields(words), " ")); words {
	case "not recorded", "unknown", "none", "-", "?":
		return ""
	}
	return words
}

// near is how far two fractions of glycol may lie apart and be called the
// same: what mixing and a refractometer can tell (common practice, no source).
const near = 0.05

// OtherFluid says that two people wrote of different fluids. False when they
// are the same, or when one of them wrote nothing; words that are not
// understood are other than words that differ from them.
func OtherFluid(a, b string) bool {
	if a, b = recorded(a), recorded(b); a == "" || b == "" || a == b {
		return false
	}
	f, okF := ParseFluid(a)
	g, okG := ParseFluid(b)
	return !okF || !okG || f.Glycol != g.Glycol || math.Abs(f.Fraction-g.Fraction) > near
}
