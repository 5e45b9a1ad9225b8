package pump

import (
	"cmp"
	"maps"
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
	full, resets int     // failed attempts at full effort, and wake-ups that came to nothing
	clamped      float64 // with the supply's voltage down, how the current went with it; NaN unknown
	laterFull    int     // failed attempts at full effort in later starts
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
		if m.state != e.state && !(m.mutes && e.state == noTry) {
			continue
		}
		w := weighed{mode: m, cost: -math.Log(m.prior)}
		w.cost += e.fit.distance(m.shape)
		for _, name := range slices.Sorted(maps.Keys(e.checks)) {
			c := e.checks[name]
			if c.Value == nil || curveFinding(name) {
				continue
			}
			w.take(c)
		}
		w.cost += e.missing(m.needs)
		if m.looks != nil {
			w.cost += m.looks(e)
		}
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

// curveFinding tells findings that the fit of the whole curve already holds.
func curveFinding(name string) bool {
	switch name {
	case CurveUp, CurveDown, Scale, LowSpeed, HighSpeed, FlatTop, Full, Response:
		return true
	}
	return false
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
	slices.SortStableFunc(ws, func(a, b weighed) int { return cmp.Compare(b.probability, a.probability) })
}
