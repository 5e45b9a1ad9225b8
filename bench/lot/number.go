package lot

import (
	"fmt"
	"math"
	"slices"

	"dutybench/bench/plot"
	"dutybench/signal/stat"
)

// level is the confidence of every interval here.
const level = 0.95

// Wide is the width of a 95 % interval of a rate above which the rate says too
// little to act on: half of all there is (chosen). Of units that are all good
// or all bad, six are enough; of halves, seventeen.
const Wide = 0.5

// Rate is a count of so many, with its share and the share's 95 % interval
// (Clopper and Pearson), 0 to 1; these are nil of none.
type Rate struct {
	Count int      `json:"count"`
	Of    int      `json:"of"`
	Share *float64 `json:"share"`
	Low   *float64 `json:"low"`
	High  *float64 `json:"high"`
	// TooFew says that the interval is wider than Wide.
	TooFew bool `json:"too_few"`
}

// NewRate is k of n with its interval.
func NewRate(k, n int) Rate {
	r := Rate{Count: k, Of: n, TooFew: true}
	if n > 0 {
		share := float64(k) / float64(n)
		low, high := stat.ClopperPearson(k, n, level)
		r.Share, r.Low, r.High, r.TooFew = &share, &low, &high, high-low > Wide
	}
	return r
}

// Words are the rate for people, such as "61 % (49 to 72)"; an end that is not
// reached is not rounded to 0 or 100.
func (r Rate) Words() string {
	if r.Share == nil {
		return plot.None
	}
	return fmt.Sprintf("%d %% (%d to %d)", stat.WholePercent(*r.Share), stat.WholePercent(*r.Low), stat.WholePercent(*r.High))
}

// Fisher is the two-sided probability, by chance alone, of a table as uneven
// as this one or more, when both rows have the same rate: a of n in one, b of m
// in the other (Fisher's exact test, tables no likelier than this one summed).
func Fisher(a, n, b, m int) float64 {
	if a < 0 || b < 0 || a > n || b > m {
		return math.NaN()
	}
	k := a + b
	of := func(x int) float64 { return choose(n, x) + choose(m, k-x) - choose(n+m, k) }
	seen, p := of(a), 0.0
	for x := max(0, k-m); x <= min(n, k); x++ {
		if l := of(x); l <= seen+1e-9 { // ties, but for rounding
			p += math.Exp(l)
		}
	}
	return min(p, 1)
}

// choose is the logarithm of the number of ways to choose k of n.
func choose(n, k int) float64 {
	g := func(x int) float64 { l, _ := math.Lgamma(float64(x) + 1); return l }
	return g(n) - g(k) - g(n-k)
}

// Spread is a time's median with the range that holds four of five, in
// seconds; nil of none.
type Spread struct {
	N      int      `json:"n"`
	Median *float64 `json:"median_s"`
	Low    *float64 `json:"p10_s"`
	High   *float64 `json:"p90_s"`
}

// newSpread leaves out what is not known.
func newSpread(xs []float64) Spread {
	xs = slices.DeleteFunc(slices.Clone(xs), func(x float64) bool { return math.IsNaN(x) || math.IsInf(x, 0) })
	s := Spread{N: len(xs)}
	if s.N == 0 {
		return s
	}
	slices.Sort(xs)
	at := func(p float64) *float64 { // between neighbours, by their distance
		f := p * float64(len(xs)-1)
		i := int(f)
		x := xs[i]
		if i+1 < len(xs) {
			x += (f - float64(i)) * (xs[i+1] - x)
		}
		return &x
	}
	median := stat.Median(xs)
	s.Low, s.Median, s.High = at(0.1), &median, at(0.9)
	return s
}

// Words are the spread for people, such as "41.2 s (38 to 95)".
func (s Spread) Words() string {
	if s.Median == nil {
		return plot.None
	}
	w := plot.Short(*s.Median, 3) + " s"
	if s.N > 1 {
		w += " (" + plot.Short(*s.Low, 3) + " to " + plot.Short(*s.High, 3) + ")"
	}
	return w
}
