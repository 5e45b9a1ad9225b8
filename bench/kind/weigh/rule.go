package weigh

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"dutybench/bench/kind"
	"dutybench/bench/result"
	"dutybench/profiles"
	"dutybench/signal/stat"
	"dutybench/signal/trace"
)

// Rule says how one measurement is held against good units.
type Rule struct {
	Name, Unit string
	About      string // what it is, one clause
	Low, High  bool   // the sides on which it is limited
	Count      bool   // a count: limits are the extremes of the good units
	Log        bool   // the spread is one of ratios
	// Floor is the least spread that good units are taken to have, absolute in
	// the unit of the value, and Share relative to their mean: what a bench cannot
	// hold equal from one test to the next. A spread of ratios has a share only.
	Floor, Share float64
	Core         bool // without it no unit can pass
	// Home says that the value depends on the bench it was measured on: its
	// limits hold on those that the good units were measured on, and on no other.
	Home bool
	// Like is the measurement whose good units count where there are none of
	// this one; Never says that a good unit's is nought, learned or not.
	Like  string
	Never bool
}

// Factor is how many standard deviations a limit lies out when n good units
// were measured and the finding gets one part in m of the rate of refusals,
// over as many limits as it has sides: a prediction interval for the next unit
// (Hahn and Meeker, Statistical Intervals, 1991, 4.7, from memory: t·√(1+1/n)).
func Factor(n int, m float64, sides int) float64 {
	if n < 2 {
		return math.Inf(1)
	}
	return stat.StudentT(1-Refusal/(m*float64(sides)), float64(n-1)) * math.Sqrt(1+1/float64(n))
}

// Chance is the reverse of Factor: the rate of refusals, all findings together,
// at which a limit would lie at z.
func Chance(z float64, n int, m float64, sides int) float64 {
	if n < 2 {
		return 1
	}
	t := math.Abs(z) / math.Sqrt(1+1/float64(n))
	return min(1, m*float64(sides)*stat.StudentTail(t, float64(n-1)))
}

// Good is what good units measured.
func (r Rule) Good(p *profiles.Profile) []float64 {
	good := Values(p, r.Name)
	switch {
	case len(good) > 0:
	case r.Never:
		return []float64{0, 0}
	case r.Like != "":
		return Values(p, r.Like)
	}
	return good
}

// Values is a measurement of all good units that have it.
func Values(p *profiles.Profile, name string) (out []float64) {
	for _, g := range p.Good {
		if x, ok := g.Get(name); ok && !math.IsNaN(x) {
			out = append(out, x)
		}
	}
	return out
}

// MeanOf is the mean of a measurement of all good units that have it; 0 where none
// has.
func MeanOf(p *profiles.Profile, name string) float64 {
	v := Values(p, name)
	if len(v) == 0 {
		return 0
	}
	return stat.Mean(v)
}

// Waited says that a unit was given the time in which the slowest of good units
// starts, three times over: for one without any sign of life, there is then
// nothing to wait for. delay names the measurement of that time, commanded_s is
// when it was told to start; NaN: never.
func Waited(tr *trace.Trace, p *profiles.Profile, delay string, commanded_s float64) bool {
	t := tr.Time()
	long := 1.0 // s, when no good unit's delay is known: boards wake in tenths of a second (common practice, no source)
	for _, v := range Values(p, delay) {
		long = max(long, 3*v)
	}
	return len(t) > 0 && t[len(t)-1]-commanded_s >= long
}

// Hold measures one value against the good units and the stated limits; it gets
// one part in m of the rate of refusals. A nil value was not measured.
func (r Rule) Hold(v *kind.Value, y Yardstick, m float64) Check {
	c := Check{Finding: result.Finding{Name: r.Name, Unit: r.Unit, Result: result.NotMeasured}, Rule: r, Chance: 1}
	if v == nil || v.Missing != "" {
		if v != nil {
			c.Note = v.Missing
		}
		return c
	}
	q := y.Local(v)
	if Finite(q.Value) == nil || math.IsNaN(q.U()) {
		c.Note = "what was measured makes no number"
		return c
	}
	c.Note = r.About
	low, high, spread := math.NaN(), math.NaN(), math.NaN()
	good := r.Good(y.Profile)
	if r.Home && y.Elsewhere {
		good = nil
		c.Note += "; the good units were measured on another bench, so their limit says nothing here"
	}
	if len(good) >= 2 {
		low, high, spread = r.Limits(good, m)
		own, shared := y.Counts(q)
		var z float64
		z, c.SD = r.Distance(q.Value, math.Hypot(own, shared), good)
		c.Spread = &z
		c.Z = r.OnSide(z)
		c.N, c.Middle = len(good), stat.Mean(good)
		if !r.Count {
			c.Chance = Chance(c.Z, c.N, m, r.Sides())
		}
	}
	if l, ok := Stated(y.Profile, r.Name); ok {
		low, high, spread = l.Low, l.High, math.NaN()
	}
	if math.IsNaN(low) && math.IsNaN(high) && !(r.Home && y.Elsewhere) {
		c.Note += "; the profile states no limit"
	}
	if !math.IsNaN(spread) && r.limitless(good, m) {
		return Check{Finding: result.Finding{Name: r.Name, Unit: c.Unit, Result: result.NotMeasured, Note: "good units differ too much in it to limit it"}, Rule: r, Chance: 1}
	}
	y.Hold(&c, q, spread, low, high)
	if own, _ := y.Counts(q); c.Result != result.Failed && !math.IsNaN(spread) && own > Factor(len(good), m, r.Sides())*spread {
		// What is known no better than the band is wide says nothing.
		return Check{Finding: result.Finding{Name: r.Name, Unit: c.Unit, Result: result.NotMeasured, Note: "not known to better than " + Amount(2*own, c.Unit) + ", which is wider than good units spread"}, Rule: r, Chance: 1}
	}
	return c
}

// limitless says that good units' ratios spread so far that a limit would lie
// beyond a hundredfold of their mean (chosen: no fault is told by as much alone),
// as those of values about nought do. Such a limit says nothing, and neither
// does lying within it.
func (r Rule) limitless(good []float64, m float64) bool {
	const fold = 100
	if len(good) < 2 || r.Count {
		return false
	}
	_, s, log := r.Moments(good)
	return log && !(Factor(len(good), m, r.Sides())*s < math.Log(fold))
}

// OnSide is the distance where it counts: a value that is limited on one side
// only says nothing on the other.
func (r Rule) OnSide(z float64) float64 {
	switch {
	case !r.Low && z < 0, !r.High && z > 0:
		return 0
	}
	return z
}

// Sides is how many limits it has.
func (r Rule) Sides() int {
	if r.Low && r.High {
		return 2
	}
	return 1
}

// Limits of the good units' values, and their standard deviation in the
// value's own unit.
func (r Rule) Limits(good []float64, m float64) (low, high, sd float64) {
	low, high = math.NaN(), math.NaN()
	if r.Count {
		if r.High {
			high = slices.Max(good)
		}
		if r.Low {
			low = slices.Min(good)
		}
		return low, high, math.NaN()
	}
	k := Factor(len(good), m, r.Sides())
	mean, s, log := r.Moments(good)
	back, width := func(x float64) float64 { return x }, s
	if log {
		back, width = math.Exp, math.Exp(mean)*s
	}
	if r.Low {
		low = back(mean - k*s)
	}
	if r.High {
		high = back(mean + k*s)
	}
	return low, high, width
}

// Moments of the good units, of their logarithms where the spread is one of
// ratios and all are above zero.
func (r Rule) Moments(good []float64) (mean, sd float64, log bool) {
	if r.Log && slices.Min(good) > 0 {
		l := make([]float64, len(good))
		for i, g := range good {
			l[i] = math.Log(g)
		}
		mean, sd = stat.MeanSD(l)
		return mean, max(sd, r.Share), true
	}
	mean, sd = stat.MeanSD(good)
	return mean, max(sd, r.Floor, r.Share*math.Abs(mean)), false
}

// Distance is (x − mean) in standard deviations of good units and measurement
// together, and that deviation: a share where the spread is one of ratios.
func (r Rule) Distance(x, u float64, good []float64) (z, sd float64) {
	if r.Count {
		// One count beyond the worst good unit is as clear as ten standard
		// deviations: counts are not noisy.
		var beyond float64
		if r.High {
			beyond += max(0, x-slices.Max(good))
		}
		if r.Low {
			beyond -= max(0, slices.Min(good)-x)
		}
		return 10 * beyond, 0.1
	}
	mean, sd, log := r.Moments(good)
	if log {
		if x <= min(u, math.Exp(mean)/10) { // nothing, as far as it is known; where x is small u/x is no error of ln x
			return -1 / sd, sd
		}
		sd = math.Hypot(sd, u/x)
		return (math.Log(x) - mean) / sd, sd
	}
	sd = math.Hypot(sd, u)
	return (x - mean) / sd, sd
}

// Stated is a limit written by hand.
func Stated(p *profiles.Profile, name string) (profiles.Limit, bool) {
	for _, l := range p.Stated {
		if l.Finding == name {
			return l, true
		}
	}
	return profiles.Limit{}, false
}

// Finite is a pointer to x, nil where it is no finite number.
func Finite(x float64) *float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	return &x
}

// Amount is a size to two digits, written as people write it.
func Amount(x float64, unit string) string {
	if x, err := strconv.ParseFloat(strconv.FormatFloat(x, 'g', 2, 64), 64); err == nil {
		return strings.TrimSpace(strconv.FormatFloat(x, 'f', -1, 64) + " " + unit)
	}
	return unit
}
