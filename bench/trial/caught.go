package trial

import (
	"fmt"
	"math"
)

// nineOf10 is the share of units that must not pass.
const nineOf10 = 0.9

// Caught is the severity from which nine of ten units do not pass, with its
// 95 % interval. Nothing is said beyond the severities that were tried: an end
// that lies outside is nil.
type Caught struct {
	From     float64  `json:"tried_from"`
	To       float64  `json:"tried_to"`
	Severity *float64 `json:"severity"`
	Low      *float64 `json:"low"`  // nil: at or below From
	High     *float64 `json:"high"` // nil: beyond To
	// Reached says that nine of ten are caught by To at the latest; where it
	// is true and Severity nil, they are caught at From already.
	Reached bool `json:"reached"`
}

// The range of widths of the fitted curve, in severity: chosen, from a step
// between any two severities tried to a rise over the whole scale. Of places
// for s90 there are so many over three times the range tried.
const (
	narrowest, broadest = 0.005, 0.5
	places              = 360
)

// likelier is by how much the log likelihood may fall within a 95 % interval:
// half the 95 % point of chi-square with one degree of freedom (3.841, any
// table).
const likelier = 3.841 / 2

// CaughtFrom fits a logistic curve of the rate caught over severity,
//
//	rate(s) = 1/(1 + exp(−ln 9 − (s − s90)/w)),
//
// so that nine of ten are caught at s90. The fit is the s90 of the greatest
// likelihood, the middle where many fit equally well (none caught at one
// severity and all at the next), and the interval holds every s90 for which
// some width w comes within likelier of it (profile likelihood). Severities
// rise; nil with fewer than two of them, or when one has no units.
func CaughtFrom(severities []float64, caught, of []int) *Caught {
	if len(severities) < 2 {
		return nil
	}
	for _, n := range of {
		if n == 0 {
			return nil
		}
	}
	from, to := severities[0], severities[len(severities)-1]
	at := func(i int) float64 { // as far beyond either end again
		return from + (to-from)*(3*float64(i)/places-1)
	}
	var best [places + 1]float64
	top := math.Inf(-1)
	for i := range best {
		best[i] = likeliest(severities, caught, of, at(i))
		top = max(top, best[i])
	}
	first, last, low, high := -1, 0, -1, 0
	for i, l := range best {
		if l >= top-likelier {
			if low < 0 {
				low = i
			}
			high = i
		}
		if l >= top-0.01 {
			if first < 0 {
				first = i
			}
			last = i
		}
	}
	c := &Caught{From: from, To: to}
	inside := func(s float64) *float64 {
		if s <= from || s > to {
			return nil
		}
		return &s
	}
	s := (at(first) + at(last)) / 2
	c.Severity, c.Low, c.High = inside(s), inside(at(low)), inside(at(high))
	c.Reached = s <= to
	if at(high) <= from { // the whole interval lies below what was tried
		c.High = &from
	}
	if at(low) > to {
		c.Low = &to
	}
	return c
}

// likeliest is the greatest log likelihood of the counts over widths, with nine
// of ten at s90. It has one summit (it is concave in 1/w, as in any logistic
// regression), which is found by the golden section of ln w.
func likeliest(severities []float64, caught, of []int, s90 float64) float64 {
	f := func(ln float64) float64 { return likelihood(severities, caught, of, s90, math.Exp(ln)) }
	const golden = 0.6180339887498949
	a, b := math.Log(narrowest), math.Log(broadest)
	best := max(f(a), f(b))
	x, y := b-golden*(b-a), a+golden*(b-a)
	fx, fy := f(x), f(y)
	for range 14 { // leaves ln w within 0.006
		if fx > fy {
			b, y, fy = y, x, fx
			x = b - golden*(b-a)
			fx = f(x)
		} else {
			a, x, fx = x, y, fy
			y = a + golden*(b-a)
			fy = f(y)
		}
	}
	return max(best, fx, fy)
}

// likelihood is the logarithm of that of the counts.
func likelihood(severities []float64, caught, of []int, s90, w float64) float64 {
	sum := 0.0
	for i, s := range severities {
		x := math.Log(nineOf10/(1-nineOf10)) + (s-s90)/w
		// ln p = −ln(1 + e^−x), ln(1 − p) = −ln(1 + e^x)
		if caught[i] > 0 {
			sum -= float64(caught[i]) * softplus(-x)
		}
		if missed := of[i] - caught[i]; missed > 0 {
			sum -= float64(missed) * softplus(x)
		}
	}
	return sum
}

// softplus is ln(1 + e^x).
func softplus(x float64) float64 {
	if x > 30 {
		return x
	}
	return math.Log1p(math.Exp(x))
}

// String is the severity with its interval, such as "0.46 (0.41 to >1.00)".
func (c *Caught) String() string {
	if c == nil {
		return "not known"
	}
	low, high := fmt.Sprintf("<%.2f", c.From), fmt.Sprintf(">%.2f", c.To)
	if c.Low != nil {
		low = fmt.Sprintf("%.2f", *c.Low)
	}
	if c.High != nil {
		high = fmt.Sprintf("%.2f", *c.High)
	}
	switch {
	case c.Severity != nil:
		return fmt.Sprintf("%.2f (%s to %s)", *c.Severity, low, high)
	case !c.Reached:
		return fmt.Sprintf(">%.2f (from %s)", c.To, low)
	case c.High != nil && *c.High <= c.From:
		return fmt.Sprintf("≤%.2f", c.From)
	}
	return fmt.Sprintf("≤%.2f (up to %s)", c.From, high)
}
