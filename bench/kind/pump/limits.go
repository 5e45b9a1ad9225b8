package pump

import (
	"math"
	"slices"

	"dutybench/bench/kind"
	"dutybench/bench/result"
	"dutybench/profiles"
	"dutybench/signal/stat"
)

// Refusal is the rate at which good units may be refused by a whole test, all
// findings but counts together: one in two hundred, one unit in two weeks of
// twenty a day (chosen). It is shared out (Bonferroni): contrastShare of it to
// the contrasts, which tell a faulty curve from a good one best, the rest to
// all other findings, of which most faults move several or move one far.
// Counts stand outside: their limit is the worst good unit, and where counts
// vary at all one good unit in n+1 lies beyond it. The limits hardly move with either figure: at twenty good
// units, twice the rate draws a contrast's limit in from 3.7 to 3.4 standard
// deviations.
const (
	Refusal       = 0.005
	contrastShare = 0.8
)

// rule says how one measurement is held against good units.
type rule struct {
	name      string
	low, high bool
	count     bool // a count: limits are the extremes of the good units
	log       bool // the spread is one of ratios
	// floor is the least spread that good units are taken to have, absolute
	// in the unit of the value, and share relative to their mean: what a
	// bench cannot hold equal from one test to the next.
	floor, share float64
	core         bool // without it no unit can pass
	about        string
}

// rules of the named values. The floors only count where the good units'
// own spread is smaller.
var rules = []rule{
	{name: SwitchOnCharge, low: true, high: true, log: true, share: 0.10, about: "charge taken by the input capacitor at switch-on"},
	{name: Quiet, low: true, high: true, floor: 0.001, share: 0.05, about: "current with the stop command"},
	{name: StartAttempts, high: true, count: true, core: true, about: "tries until the rotor turned"},
	{name: StartDelay, high: true, floor: 0.02, share: 0.05, about: "from the command to the first attempt"},
	{name: StartSettle, high: true, floor: 0.05, share: 0.10, about: "from the attempt to a settled current"},
	{name: StartLevel, low: true, high: true, log: true, share: 0.05, about: "mean current in the first tenth of a second of an attempt"},
	{name: StartPeak, low: true, high: true, log: true, share: 0.05, about: "highest current of the start"},
	{name: Full, low: true, high: true, log: true, share: least, core: true, about: "current at full command"},
	{name: Response, low: true, floor: 1, about: "how far the current follows the duty"},
	{name: Hysteresis, low: true, high: true, floor: 0.3, about: "rising less falling, mean over the duties"},
	{name: DropOuts, high: true, count: true, about: "gaps in the current while it should run"},
	{name: Rotation, high: true, log: true, floor: 0.1, share: 0.1, about: "current swinging at one steady rate, as once a turn"},
	{name: Unrest, high: true, log: true, floor: 0.1, share: 0.1, about: "current swinging without a steady rate"},
	{name: SupplyDrop, high: true, log: true, floor: 0.002, share: 0.05, about: "voltage lost before the plug per ampere"},
	{name: SupplyFold, high: true, floor: 0.02, about: "voltage missing at full current beyond that"},
}

// check is a finding with what the causes need to know of it.
type check struct {
	result.Finding
	z    float64 // signed, in standard deviations of good units and measurement together
	core bool
	down bool // counts as a value that is too low
}

// out says that a check lies beyond its limits, so far that measurement alone
// does not explain it.
func (c *check) out() bool { return c != nil && c.Result == result.Failed }

// factor is how many standard deviations a limit lies out when n good units
// were measured and the finding gets one part in m of the rate of refusals,
// over as many limits as it has sides: a prediction interval for the next unit
// (Hahn and Meeker, Statistical Intervals, 1991, 4.7, from memory: t·√(1+1/n)).
func factor(n int, m float64, sides int) float64 {
	if n < 2 {
		return math.Inf(1)
	}
	return stat.StudentT(1-Refusal/(m*float64(sides)), float64(n-1)) * math.Sqrt(1+1/float64(n))
}

// hold measures one value against the good units and the stated limits.
func (r rule) hold(v *kind.Value, p *profiles.Profile, m float64) check {
	c := check{Finding: result.Finding{Name: r.name, Unit: unitFor(r.name), Result: result.NotMeasured}, core: r.core}
	if v == nil || v.Missing != "" {
		if v != nil {
			c.Note = v.Missing
		}
		return c
	}
	x, u := v.Q.Value, v.Q.U()
	c.Value = &x
	if !r.count {
		e := 2 * u
		c.Uncertainty, c.K = &e, 2
	}
	for _, b := range v.Q.Budget {
		c.Budget = append(c.Budget, result.Part{Source: b.Source, U: b.U, DoF: b.DoF})
	}
	c.Note = r.about
	low, high, spread := math.NaN(), math.NaN(), math.NaN()
	if good := valuesOf(p, r.name); len(good) >= 2 {
		low, high, spread = r.limits(good, m)
		spreads := r.distance(x, u, good)
		c.Spread = &spreads
		c.z = onSide(spreads, r.low, r.high)
		c.down = c.z < 0
	}
	if l, ok := stated(p, r.name); ok {
		low, high = l.Low, l.High
	}
	if math.IsNaN(low) && math.IsNaN(high) {
		c.Result = result.Passed
		c.Note += "; the profile states no limit"
		return c
	}
	c.Low, c.High = finite(low), finite(high)
	// The learned band already holds one measurement's uncertainty; only
	// beyond that is a value outside called failed rather than doubtful.
	extra := math.Sqrt(max(0, u*u-spread*spread))
	if math.IsNaN(spread) {
		extra = 0
	}
	c.Result = outcome(x, extra, low, high)
	return c
}

// onSide is the distance where it counts: a value that is limited on one side
// only says nothing on the other.
func onSide(z float64, low, high bool) float64 {
	switch {
	case !low && z < 0, !high && z > 0:
		return 0
	}
	return z
}

func outcome(x, u, low, high float64) result.Outcome {
	inside := !(x < low) && !(x > high)
	switch {
	case inside:
		return result.Passed
	case !(x+2*u < low) && !(x-2*u > high):
		return result.Doubtful
	}
	return result.Failed
}

func sides(r rule) int {
	if r.low && r.high {
		return 2
	}
	return 1
}

// limits of the good units' values, and their standard deviation in the
// value's own unit.
func (r rule) limits(good []float64, m float64) (low, high, sd float64) {
	low, high = math.NaN(), math.NaN()
	if r.count {
		if r.high {
			high = slices.Max(good)
		}
		return low, high, math.NaN()
	}
	k := factor(len(good), m, sides(r))
	mean, s, log := r.moments(good)
	if log {
		if r.low {
			low = math.Exp(mean - k*s)
		}
		if r.high {
			high = math.Exp(mean + k*s)
		}
		return low, high, math.Exp(mean) * s
	}
	if r.low {
		low = mean - k*s
	}
	if r.high {
		high = mean + k*s
	}
	return low, high, s
}

// moments of the good units, of their logarithms where the spread is one of
// ratios and all are above zero.
func (r rule) moments(good []float64) (mean, sd float64, log bool) {
	if r.log && slices.Min(good) > 0 {
		l := make([]float64, len(good))
		for i, g := range good {
			l[i] = math.Log(g)
		}
		mean, sd = stat.MeanSD(l)
		return mean, max(sd, r.share), true
	}
	mean, sd = stat.MeanSD(good)
	return mean, max(sd, r.floor, r.share*math.Abs(mean)), false
}

// distance is (x − mean) in standard deviations of good units and measurement
// together.
func (r rule) distance(x, u float64, good []float64) float64 {
	if r.count {
		// One count beyond the worst good unit is as clear as ten standard
		// deviations: counts are not noisy.
		return 10 * max(0, x-slices.Max(good))
	}
	mean, sd, log := r.moments(good)
	if log {
		if x <= 0 {
			return -1 / sd
		}
		return (math.Log(x) - mean) / math.Hypot(sd, u/x)
	}
	return (x - mean) / math.Hypot(sd, u)
}

func stated(p *profiles.Profile, name string) (profiles.Limit, bool) {
	for _, l := range p.Stated {
		if l.Finding == name {
			return l, true
		}
	}
	return profiles.Limit{}, false
}

func statedFor(p *profiles.Profile, name string) bool {
	_, ok := stated(p, name)
	return ok
}

func finite(x float64) *float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	return &x
}

// unitFor is the unit that a finding is given in; a count has none.
func unitFor(name string) string {
	switch name {
	case SwitchOnCharge:
		return "C"
	case StartAttempts, DropOuts:
		return ""
	case Quiet, StartPeak, StartLevel, Full:
		return "A"
	case StartDelay, StartSettle:
		return "s"
	case SupplyDrop:
		return "ohm"
	case SupplyFold:
		return "V"
	}
	return "%"
}
