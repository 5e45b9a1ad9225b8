package trial

import (
	"fmt"
	"math"

	"dutybench/bench/result"
	"dutybench/signal/stat"
)

// Sure is the probability from which a cause counts as told for certain.
const Sure = 0.9

// Calibration tells whether the probabilities of causes are honest and of use,
// over faulty units that did not pass. Where several causes are right, the
// forecast counts as one of their sum. The zero value is ready.
type Calibration struct {
	score           stat.Running // of each unit's forecast
	sure, sureRight int          // causes given Sure or more
	one, oneSure    int          // units with one right cause, and those where it was given Sure
	truths          map[causeSet]int
}

// causeSet holds causes as bits, in the order of result.Causes.
type causeSet uint8

func (s causeSet) size() float64 {
	n := 0.0
	for ; s > 0; s &= s - 1 {
		n++
	}
	return n
}

// Add takes one faulty unit's result; right says of each cause whether it is
// the true one. A unit that passed, or has no true cause, is left out.
func (c *Calibration) Add(r *result.Result, right func(result.Cause) bool) {
	var truth causeSet
	for i, cause := range result.Causes() {
		if right(cause) {
			truth |= 1 << i
		}
	}
	if r.Verdict == result.Pass || truth == 0 {
		return
	}
	held, score := 0.0, 0.0
	single := truth.size() == 1
	if single {
		c.one++
	}
	for _, p := range r.Causes {
		hit := right(p.Cause)
		if hit {
			held += p.Probability
		} else {
			score += p.Probability * p.Probability
		}
		if p.Probability >= Sure-1e-9 {
			c.sure++
			if hit {
				c.sureRight++
				if single {
					c.oneSure++
				}
			}
		}
	}
	c.score.Add(score + (1-held)*(1-held))
	if c.truths == nil {
		c.truths = map[causeSet]int{}
	}
	c.truths[truth]++
}

// Calibrated is what a Calibration came to.
type Calibrated struct {
	Units int     `json:"units"` // faulty, not passed
	From  float64 `json:"sure_from"`
	// SureRight is, of the causes given Sure or more, those that are right;
	// RightSure, of the units with one right cause, those where it was given
	// Sure: where several are right, no single one deserves it.
	SureRight Rate `json:"sure_right"`
	RightSure Rate `json:"right_sure"`
	// Brier is the mean over units of the sum over causes of (probability −
	// truth)², 0 at best and 2 at worst (Brier 1950), with its 95 % interval.
	// Base is that of a forecast that always gives the causes' frequencies
	// among these units, and Skill is 1 − Brier/Base.
	Brier *float64 `json:"brier"`
	Low   *float64 `json:"brier_low"`
	High  *float64 `json:"brier_high"`
	Base  *float64 `json:"brier_base_rate"`
	Skill *float64 `json:"skill"`
}

// Result is what it came to so far.
func (c *Calibration) Result() Calibrated {
	n := c.score.N()
	out := Calibrated{Units: n, From: Sure, SureRight: NewRate(c.sureRight, c.sure), RightSure: NewRate(c.oneSure, c.one)}
	if n == 0 {
		return out
	}
	brier, base := c.score.Mean(), c.base()
	out.Brier, out.Base = &brier, &base
	out.Low, out.High = meanInterval(&c.score)
	if out.Low != nil { // no score lies beyond its ends
		*out.Low, *out.High = max(*out.Low, 0), min(*out.High, 2)
	}
	if base > 0 { // one and the same cause throughout leaves nothing to tell
		skill := 1 - brier/base
		out.Skill = &skill
	}
	return out
}

// base is the score of the base rates. Of several right causes of a unit each
// counts in part.
func (c *Calibration) base() float64 {
	var rates [8]float64
	n := float64(c.score.N())
	for set, k := range c.truths {
		for i := range rates {
			if set>>i&1 == 1 {
				rates[i] += float64(k) / set.size() / n
			}
		}
	}
	sum := 0.0
	for set, k := range c.truths {
		held, score := 0.0, 0.0
		for i, q := range rates {
			if set>>i&1 == 1 {
				held += q
			} else {
				score += q * q
			}
		}
		sum += float64(k) / n * (score + (1-held)*(1-held))
	}
	return sum
}

// String is the figures in three lines.
func (c Calibrated) String() string {
	num := func(x *float64) string {
		if x == nil || math.IsNaN(*x) {
			return "-"
		}
		return fmt.Sprintf("%.3f", *x)
	}
	return rateLine(fmt.Sprintf("causes given %g or more, right", c.From), c.SureRight) +
		rateLine(fmt.Sprintf("right causes given %g or more", c.From), c.RightSure) +
		fmt.Sprintf("Brier score %s (%s to %s), of the base rates alone %s, skill %s\n", num(c.Brier), num(c.Low), num(c.High), num(c.Base), num(c.Skill))
}
