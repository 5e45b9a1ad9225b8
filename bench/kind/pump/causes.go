package pump

import (
	"math"
	"slices"
	"strings"

	"dutybench/bench/result"
)

// weighed is a mode with what the evidence says of it.
type weighed struct {
	mode
	cost        float64 // less is likelier: minus the logarithm of its likelihood
	probability float64
	pro, contra []string
}

// evidence is everything that causes are weighed from.
type evidence struct {
	state  state
	checks map[string]*check
	fit    *curveFit
	// of the attempts of a unit that never ran, or before it ran
	attemptLevel float64 // ln of start level over that of good units
	empty        float64 // share of an attempt without current; NaN unknown
	uneven       float64 // spread of the lengths of attempts over their mean
	brief        float64 // mean length of failed attempts over a good start's; NaN unknown
}

const (
	// No single finding counts for more than this, in units of log
	// likelihood: e⁻⁸ is one in three thousand, the order at which some cause
	// that is not in the list becomes likelier than a law that misses by more.
	most = 8.0
	// Findings within this many standard deviations speak for nothing.
	calm = 2.0
)

// weigh ranks the modes that the state of the unit allows.
func weigh(e evidence) []weighed {
	list := modes
	switch e.state {
	case nothing:
		list = unreached
	case unpowered:
		list = noPower
	}
	var out []weighed
	for _, m := range list {
		// A supply that gives way may keep a unit from even trying.
		atStart := e.state == noTry && m.state == tries && (m.cause == result.Bench || m.cause == result.Wiring)
		if m.state != e.state && !atStart {
			continue
		}
		w := weighed{mode: m, cost: -math.Log(m.prior)}
		w.cost += e.fit.distance(m.shape)
		for _, name := range sortedNames(e.checks) {
			c := e.checks[name]
			if c.Value == nil || curveFinding(name) {
				continue
			}
			w.take(c)
		}
		w.cost += e.missing(m.needs) + e.looks(m.name)
		out = append(out, w)
	}
	normalise(out)
	return out
}

// take adds what one finding says for and against the mode.
func (w *weighed) take(c *check) {
	bad := math.Abs(c.z)
	switch {
	case slices.Contains(w.needs, c.Name), slices.Contains(w.needs, "-"+c.Name), slices.Contains(w.explains, c.Name):
		if c.Result == result.Failed {
			w.pro = append(w.pro, c.Name)
		}
	default:
		if bad > calm {
			w.cost += min(most, (bad-calm)*(bad-calm)/2)
		}
		if c.Result == result.Failed {
			w.contra = append(w.contra, c.Name)
		}
	}
}

// missing is the price of a mode whose tell-tale finding does not lie out: one
// of its needs must.
func (e evidence) missing(needs []string) float64 {
	if len(needs) == 0 {
		return 0
	}
	price := most // nothing measured
	for _, n := range needs {
		n, low := strings.CutPrefix(n, "-")
		c := e.checks[n]
		switch {
		case c == nil || c.Value == nil:
			continue
		case c.Result == result.Failed && low == c.down:
			return 0
		case low == c.down && math.Abs(c.z) > calm:
			price = min(price, max(0, most-math.Abs(c.z)+calm))
		case price == most:
			price = 2 * most // measured, and not there
		}
	}
	return price
}

// looks is the cost of what attempts and swings look like under a mode, in
// half squares of how far they are from what physics says: a working board gives a stuck
// rotor its full start current, evenly and without gaps, again and again; an
// open phase leaves two thirds of the commutation steps empty, which shows as
// gaps where the drive and the filter let it be seen, and else as a third of
// the mean.
func (e evidence) looks(name string) float64 {
	const (
		tolerance = 0.35 // start currents of one type at different supply and rotor positions: a third (chosen)
		third     = -1.1 // ln(1/3)
		// Alignment holds two phases and has no gaps; it is about half of an
		// attempt, so an open phase leaves a third down to a sixth of it empty.
		sixth = 1.0 / 6
		// Gaps that should show and do not: a filter may hide them, one time in
		// twenty (chosen).
		hidden = 3.0
		few    = 0.05 // what edges and noise leave, and how sharp the sixth is
	)
	sq := func(x float64) float64 { return min(most, x*x/2) }
	switch {
	case name == "seized":
		c := sq(min(0, e.attemptLevel+0.1)/tolerance) + sq(max(0, e.uneven-0.1)/0.2)
		if !math.IsNaN(e.empty) {
			c += sq(max(0, e.empty-few) / few)
		}
		return c
	case name == "open-phase":
		c := sq((e.attemptLevel - third) / tolerance)
		if !math.IsNaN(e.empty) {
			if e.empty < few {
				c += hidden
			}
			c = min(c, sq(min(0, e.empty-sixth)/few))
		}
		return c
	case name == "sticky-start":
		c := sq(min(0, e.attemptLevel+0.1) / tolerance)
		if !math.IsNaN(e.brief) {
			c += sq(min(0, math.Log(e.brief)+0.5) / 0.4)
		}
		return c
	case name == "rub":
		return sq(max(0, e.broad()+0.5) / 0.5)
	case name == "air" && e.checks[DropOuts].out() && !e.checks[Unrest].out():
		return most // bubbles that stop the current leave unrest between the stops
	case name == "air":
		return sq(max(0, -e.broad()-0.5) / 0.5)
	case name == "late-start" && !math.IsNaN(e.brief):
		// Wake-ups that reset are brief or low.
		return min(sq(max(0, math.Log(e.brief)+0.5)/0.4), sq(max(0, e.attemptLevel+0.5)/tolerance))
	}
	return 0
}

// broad is how far unrest without a rate outweighs the line at one rate, as a
// logarithm; 0 when either was not measured. A rub is a line, bubbles are not,
// though each leaves some of the other.
func (e evidence) broad() float64 {
	u, r := e.checks[Unrest], e.checks[Rotation]
	if u == nil || r == nil || u.Value == nil || r.Value == nil || *u.Value <= 0 || *r.Value <= 0 {
		return 0
	}
	return math.Log(*u.Value / *r.Value)
}

// curveFinding tells findings that the fit of the whole curve already holds.
func curveFinding(name string) bool {
	switch name {
	case CurveUp, CurveDown, Scale, LowSpeed, HighSpeed, FlatTop, Full, Response:
		return true
	}
	return false
}

func sortedNames(m map[string]*check) []string {
	out := make([]string, 0, len(m))
	for n := range m {
		out = append(out, n)
	}
	slices.Sort(out)
	return out
}

// normalise turns costs into probabilities and sorts, likeliest first.
func normalise(ws []weighed) {
	const hopeless = 1e6
	least := float64(hopeless)
	for i := range ws {
		// A trace without sense can make a cost without end, or none at all.
		if !(ws[i].cost < hopeless) {
			ws[i].cost = hopeless
		}
		least = min(least, ws[i].cost)
	}
	var sum float64
	for i := range ws {
		// A hundredth stays for whatever is not in the list, shared out.
		ws[i].probability = math.Exp(least-ws[i].cost) + 0.01/float64(len(ws))
		sum += ws[i].probability
	}
	for i := range ws {
		ws[i].probability /= sum
	}
	slices.SortStableFunc(ws, func(a, b weighed) int {
		switch {
		case a.probability > b.probability:
			return -1
		case a.probability < b.probability:
			return 1
		}
		return 0
	})
}
