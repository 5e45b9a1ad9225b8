package pump

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"dutybench/bench/kind"
	"dutybench/bench/result"
	"dutybench/profiles"
	"dutybench/signal/stat"
)

// Refusal is the rate at which good units may be refused by a whole test, all
// findings together: one in two hundred, one unit in two weeks of twenty a day
// (chosen). It is shared out (Bonferroni): contrastShare of it to the
// contrasts, which tell a faulty curve from a good one best, the rest to all
// other findings, of which most faults move several or move one far. The
// limits hardly move with either figure: at twenty good units, twice the rate
// draws a contrast's limit in from 3.7 to 3.4 standard deviations. A count has
// no such limit: it is held to the worst good unit. Where good units differ in
// it, the next lies beyond with a probability of one in n+1, whatever the
// distribution, and refusal adds that to the rate that is stated; a count that
// is the same in all good units is taken as the type's own.
const (
	Refusal       = 0.005
	contrastShare = 0.8
)

// refusal is the rate at which a test refuses good units, at most: what is
// shared out, and what counts add that differ between good units.
func refusal(p *profiles.Profile) float64 {
	if len(p.Good) == 0 {
		return 0 // limits stated by hand say nothing of good units
	}
	rate := Refusal
	for _, r := range rules {
		if good := valuesOf(p, r.name); r.count && len(good) > 0 && slices.Max(good) > slices.Min(good) {
			rate += 1 / float64(len(good)+1)
		}
	}
	return rate
}

// rule says how one measurement is held against good units.
type rule struct {
	name      string
	low, high bool
	count     bool // a count: limits are the extremes of the good units
	log       bool // the spread is one of ratios
	// floor is the least spread that good units are taken to have, absolute
	// in the unit of the value, and share relative to their mean: what a
	// bench cannot hold equal from one test to the next. A spread of ratios
	// has a share only.
	floor, share float64
	core         bool // without it no unit can pass
	// home says that the value depends on the bench it was measured on: its
	// limits hold on those that the good units were measured on, and on no
	// other.
	home bool
	// like is the measurement whose good units count where there are none of
	// this one; never says that a good unit's is nought, learned or not.
	like  string
	never bool
	about string
}

// rules of the named values. The floors only count where the good units'
// own spread is smaller.
var rules = []rule{
	{name: SwitchOnCharge, low: true, high: true, log: true, floor: 0.0005, share: 0.10, about: "charge taken by the input capacitor at switch-on"},
	{name: Quiet, low: true, high: true, floor: 0.001, share: 0.05, about: "current with the stop command"},
	{name: StartAttempts, high: true, count: true, core: true, about: "tries until the rotor turned"},
	{name: StartDelay, high: true, floor: 0.02, share: 0.05, about: "from the command to the first attempt"},
	{name: StartSettle, high: true, floor: 0.05, share: 0.10, about: "from the first attempt to a settled current"},
	{name: StartLevel, low: true, high: true, log: true, share: 0.05, about: "mean current in the first tenth of a second of an attempt"},
	{name: StartPeak, low: true, high: true, log: true, share: 0.05, about: "highest current of the start"},
	{name: Full, low: true, high: true, log: true, share: least, core: true, about: "current at full command"},
	{name: Response, low: true, floor: 1, about: "how far the current follows the duty"},
	{name: Hysteresis, low: true, high: true, floor: 0.3, about: "rising less falling, mean over the duties"},
	{name: DropOuts, high: true, count: true, about: "gaps in the current while it should run"},
	{name: Rotation, high: true, log: true, floor: 0.1, share: 0.1, about: "current swinging at one steady rate, as once a turn"},
	{name: Unrest, high: true, log: true, floor: 0.1, share: 0.1, about: "current swinging without a steady rate"},
	{name: ShaftSpeed, low: true, high: true, log: true, share: 0.01, about: "speed at the highest duty, counted from the ripple of the current"},
	{name: Ripple, low: true, high: true, log: true, share: 0.1, home: true, about: "ripple of commutation; it depends on the bench's source and the unit's capacitor"},
	{name: TurnDepth, high: true, log: true, floor: 0.1, share: 0.1, about: "depth of what comes once a turn"},
	{name: HoldFall, high: true, floor: 0.5, about: "lasting fall of the current while one duty is held"},
	{name: WarmDrift, low: true, high: true, floor: 1, about: "current at full after a long run against that before"},
	{name: Restarts, high: true, count: true, never: true, about: "later starts that did not succeed"},
	{name: RestartTrys, high: true, count: true, like: StartAttempts, about: "the most tries that a later start took"},
	{name: SupplyDrop, high: true, log: true, floor: 0.002, share: 0.05, about: "voltage lost before the plug per ampere"},
	{name: SupplyFold, high: true, floor: 0.02, about: "voltage missing at full current beyond that"},
}

// check is a finding with what the causes need to know of it.
type check struct {
	result.Finding
	z float64 // signed, in standard deviations of good units and measurement together
	n int     // good units behind z; 0 when none
	// chance is the probability, at most, that a good unit lies as far out in
	// any finding: z's own, times the findings that share the rate.
	chance float64
	core   bool
	down   bool // counts as a value that is too low
	// middle is where good units lie, for the room of a limit on one side; 0
	// where none are known, and for deviations from them.
	middle float64
	hollow bool // the bench is too unsteady for the limits (kind.Hollow)
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

// good is what good units measured.
func (r rule) good(p *profiles.Profile) []float64 {
	good := valuesOf(p, r.name)
	switch {
	case len(good) > 0:
	case r.never:
		return []float64{0, 0}
	case r.like != "":
		return valuesOf(p, r.like)
	}
	return good
}

// chance is the reverse of factor: the rate of refusals, all findings together,
// at which a limit would lie at z.
func chance(z float64, n int, m float64, sides int) float64 {
	if n < 2 {
		return 1
	}
	t := math.Abs(z) / math.Sqrt(1+1/float64(n))
	return min(1, m*float64(sides)*stat.StudentTail(t, float64(n-1)))
}

// hold measures one value against the good units and the stated limits.
func (r rule) hold(v *kind.Value, y yardstick, m float64) check {
	c := check{Finding: result.Finding{Name: r.name, Unit: unitFor(r.name), Result: result.NotMeasured}, core: r.core, chance: 1}
	if v == nil || v.Missing != "" {
		if v != nil {
			c.Note = v.Missing
		}
		return c
	}
	q := y.local(v)
	c.Note = r.about
	low, high, spread := math.NaN(), math.NaN(), math.NaN()
	good := r.good(y.profile)
	if r.home && y.elsewhere {
		good = nil
		c.Note += "; the good units were measured on another bench, so their limit says nothing here"
	}
	if len(good) >= 2 {
		low, high, spread = r.limits(good, m)
		own, shared := y.counts(q)
		spreads := r.distance(q.Value, math.Hypot(own, shared), good)
		c.Spread = &spreads
		c.z = onSide(spreads, r.low, r.high)
		c.down = c.z < 0
		c.n, c.middle = len(good), stat.Mean(good)
		if !r.count {
			c.chance = chance(c.z, c.n, m, sides(r))
		}
	}
	if l, ok := stated(y.profile, r.name); ok {
		low, high, spread = l.Low, l.High, math.NaN()
	}
	if math.IsNaN(low) && math.IsNaN(high) && !(r.home && y.elsewhere) {
		c.Note += "; the profile states no limit"
	}
	y.hold(&c, q, spread, low, high)
	if own, _ := y.counts(q); c.Result != result.Failed && !math.IsNaN(spread) && own > r.reach(len(good), m)*spread {
		// What is known no better than the band is wide says nothing.
		return check{Finding: result.Finding{Name: r.name, Unit: c.Unit, Result: result.NotMeasured, Note: "not known to better than " + amount(2*own, c.Unit) + ", which is wider than good units spread"}, core: r.core, chance: 1}
	}
	return c
}

// reach is how many spreads a limit lies out.
func (r rule) reach(n int, m float64) float64 { return factor(n, m, sides(r)) }

// onSide is the distance where it counts: a value that is limited on one side
// only says nothing on the other.
func onSide(z float64, low, high bool) float64 {
	switch {
	case !low && z < 0, !high && z > 0:
		return 0
	}
	return z
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
	case StartAttempts, DropOuts, Restarts, RestartTrys:
		return ""
	case Quiet, StartPeak, StartLevel, Full:
		return "A"
	case StartDelay, StartSettle:
		return "s"
	case SupplyDrop:
		return "ohm"
	case SupplyFold:
		return "V"
	case ShaftSpeed:
		return "rpm"
	}
	return "%"
}

// amount is a size to two digits, written as people write it.
func amount(x float64, unit string) string {
	if x, err := strconv.ParseFloat(strconv.FormatFloat(x, 'g', 2, 64), 64); err == nil {
		return strings.TrimSpace(strconv.FormatFloat(x, 'f', -1, 64) + " " + unit)
	}
	return unit
}
