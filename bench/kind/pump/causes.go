package pump

import (
	"cmp"
	"maps"
	"math"
	"slices"
	"strings"

	"dutybench/bench/kind/weigh"
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
	checks map[string]*weigh.Check
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

// ranked ranks the modes that the state of the unit allows.
func ranked(e evidence) []weighed {
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
func (w *weighed) take(c *weigh.Check) {
	switch {
	case slices.Contains(w.needs, c.Name), slices.Contains(w.needs, "-"+c.Name), slices.Contains(w.explains, c.Name):
		if c.Result == result.Failed {
			w.pro = append(w.pro, c.Name)
		}
	default:
		w.cost += weigh.Price(math.Abs(c.Z))
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
	price := weigh.Most // nothing measured
	for _, n := range needs {
		n, low := strings.CutPrefix(n, "-")
		c := e.checks[n]
		switch {
		case c == nil || c.Value == nil:
			continue
		case c.Result == result.Failed && low == (c.Z < 0):
			return 0
		case low == (c.Z < 0) && math.Abs(c.Z) > weigh.Calm:
			price = min(price, max(0, weigh.Most-math.Abs(c.Z)+weigh.Calm))
		case price == weigh.Most:
			price = 2 * weigh.Most // measured, and not there
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
	costs := make([]float64, len(ws))
	for i := range ws {
		costs[i] = ws[i].cost
	}
	for i, p := range weigh.Probabilities(costs) {
		ws[i].probability = p
	}
	slices.SortStableFunc(ws, func(a, b weighed) int { return cmp.Compare(b.probability, a.probability) })
}
