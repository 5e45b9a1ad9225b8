package weigh

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"dutybench/bench/result"
)

// Mode is one way in which a unit, its wires or its bench can be wrong.
//
// What it does is stated in the measurements that it moves. Moves holds those
// whose sizes physics ties together: how much each changes for the same amount
// of the fault, in the value's unit or as a share where the rule's spread is one
// of ratios, with its sign; the amount is found from the unit. Needs are
// measurements one of which must lie out, Explains those that may; a name with a
// minus before it counts on the low side only, with a plus on the high side only.
// Without Needs, one of what it moves must lie out, on the side to which it moves
// it: else a mode whose amount is none would explain the rest for nothing.
type Mode struct {
	Name   string
	Cause  result.Cause
	States []string // of the unit in which it can be; empty: in any
	Moves  map[string]float64
	// Bends says what an amount counts for in a measurement that it does not move
	// straight: a rising function, of the amount, that is nought at none.
	Bends map[string]func(amount float64) float64
	Needs []string
	// Explains may lie out under this mode without speaking against it.
	Explains []string
	// Looks is what else speaks against it, as a cost; nil: nothing does.
	Looks    func(t *Table) float64
	Prior    float64
	Seen     string // what the unit did, one clause
	Disproof string
	Next     string
	Reuse    []string // what of the unit is good all the same
	// Like are causes that look the same from here, with Apart as the one test
	// that tells them apart.
	Like  []result.Cause
	Apart string
}

// Priors differ by a factor of two at most and only rank modes that the evidence
// leaves level: e-fold evidence is worth more than any of them.
const (
	Often  = 1.0
	Seldom = 0.5
	Rarely = 0.25
)

const (
	// Most is what a single finding counts for at most, in units of log
	// likelihood: e⁻⁸ is one in three thousand, the order at which some cause
	// that is not in the list becomes likelier than a law that misses by more.
	Most = 8.0
	// Calm: findings within this many standard deviations speak for nothing.
	Calm = 2.0
	// loose is the standard deviation of what a mode's Moves say, as a share of
	// that: laws of faults hold to a third (chosen), which is Calm of it and costs
	// nothing. What should have moved far and did not costs nearly Most, whatever
	// the law's quality. The likeliest cause changes with it only where two modes
	// move the same findings the same way.
	loose = 1.0 / 6
)

// Weighed is a mode with what the evidence says of it.
type Weighed struct {
	Mode
	Cost        float64 // less is likelier: minus the logarithm of its likelihood
	Probability float64
	Amount      float64 // of the fault, by Moves; 0 without
	Pro, Contra []string
}

// Weigh ranks the modes that a state of the unit allows.
func (t *Table) Weigh(state string, modes []Mode) (out []Weighed) {
	for _, m := range modes {
		if len(m.States) > 0 && !slices.Contains(m.States, state) {
			continue
		}
		w := Weighed{Mode: m, Cost: -math.Log(m.Prior)}
		w.Amount = t.amount(m)
		for _, k := range t.Checks {
			if k.Measured() {
				w.take(k)
			}
		}
		w.Cost += t.missing(m.needs())
		if m.Looks != nil {
			w.Cost += m.Looks(t)
		}
		out = append(out, w)
	}
	rank(out)
	return out
}

// amount of the fault that fits its Moves best: one of those that a single
// measurement would say, or none.
func (t *Table) amount(m Mode) float64 {
	best, least, names := 0.0, math.Inf(1), sorted(m.Moves) // in order: sums of floats depend on it
	try := func(s float64) {
		var cost float64
		for _, name := range names {
			if k := t.Get(name); k.Measured() {
				cost += k.off(m.move(name, s))
			}
		}
		if cost < least {
			best, least = s, cost
		}
	}
	try(0)
	for _, name := range names {
		if k := t.Get(name); k.Measured() && k.SD > 0 {
			if s := k.Z * k.SD / m.Moves[name]; s > 0 && !math.IsInf(s, 0) {
				try(m.unbent(name, s))
			}
		}
	}
	return best
}

// move is how far an amount of the fault moves a measurement.
func (m Mode) move(name string, amount float64) float64 {
	if bend := m.Bends[name]; bend != nil {
		amount = bend(amount)
	}
	return m.Moves[name] * amount
}

// unbent is the amount that counts for so much, by bisection; the most that is
// tried where none counts for as much.
func (m Mode) unbent(name string, counts float64) float64 {
	bend := m.Bends[name]
	if bend == nil {
		return counts
	}
	low, high := 0.0, 1.0
	for bend(high) < counts && high < 1e6 {
		high *= 2
	}
	for range 50 {
		if mid := (low + high) / 2; bend(mid) < counts {
			low = mid
		} else {
			high = mid
		}
	}
	return low
}

// off is the cost of a check that should have been moved by so much.
func (k *Check) off(move float64) float64 {
	expected := 0.0
	if k.SD > 0 {
		expected = k.Rule.OnSide(move / k.SD)
	}
	return Price(math.Abs(k.Z-expected) / math.Hypot(1, loose*expected))
}

// Price is what lying so many standard deviations out costs.
func Price(z float64) float64 {
	if !(z > Calm) {
		return 0
	}
	return min(Most, (z-Calm)*(z-Calm)/2)
}

func sorted(m map[string]float64) (names []string) {
	for n := range m {
		names = append(names, n)
	}
	slices.Sort(names)
	return names
}

// signed splits a name of Needs or Explains.
func signed(s string) (name string, low, high bool) {
	if n, ok := strings.CutPrefix(s, "-"); ok {
		return n, true, false
	}
	if n, ok := strings.CutPrefix(s, "+"); ok {
		return n, false, true
	}
	return s, true, true
}

// covers says that a list names a check on the side on which it lies.
func covers(list []string, k *Check) bool {
	return slices.ContainsFunc(list, func(s string) bool {
		n, low, high := signed(s)
		return n == k.Name && (k.Z < 0 && low || k.Z >= 0 && high)
	})
}

// take adds what one check says for and against the mode.
func (w *Weighed) take(k *Check) {
	move, moves := w.Moves[k.Name]
	switch {
	case moves:
		w.Cost += k.off(w.move(k.Name, w.Amount))
		if k.Out() {
			if move*k.Z > 0 {
				w.Pro = append(w.Pro, k.Name)
			} else {
				w.Contra = append(w.Contra, k.Name)
			}
		}
	case covers(w.Needs, k), covers(w.Explains, k):
		if k.Out() {
			w.Pro = append(w.Pro, k.Name)
		}
	default:
		w.Cost += Price(math.Abs(k.Z))
		if k.Out() {
			w.Contra = append(w.Contra, k.Name)
		}
	}
}

// needs are those stated, or what the mode moves.
func (m Mode) needs() (out []string) {
	if len(m.Needs) > 0 {
		return m.Needs
	}
	for _, name := range sorted(m.Moves) {
		if m.Moves[name] < 0 {
			out = append(out, "-"+name)
		} else {
			out = append(out, "+"+name)
		}
	}
	return out
}

// missing is the price of a mode whose tell-tale finding does not lie out: one
// of its needs must.
func (t *Table) missing(needs []string) float64 {
	if len(needs) == 0 {
		return 0
	}
	cost := Most // nothing measured
	for _, s := range needs {
		n, _, _ := signed(s)
		k := t.Get(n)
		switch {
		case !k.Measured():
			continue
		case k.Out() && covers(needs, k):
			return 0
		case covers(needs, k) && math.Abs(k.Z) > Calm:
			// Within its limit it counts as pure chance has it: how much more often
			// good units lie as far out than beyond the limit.
			cost = min(cost, Most, max(0, math.Log(k.Chance/Refusal)))
		case cost == Most:
			cost = 2 * Most // measured, and not there
		}
	}
	return cost
}

// rank turns costs into probabilities and sorts, likeliest first.
func rank(ws []Weighed) {
	costs := make([]float64, len(ws))
	for i := range ws {
		costs[i] = ws[i].Cost
	}
	for i, p := range Probabilities(costs) {
		ws[i].Probability = p
	}
	slices.SortStableFunc(ws, func(a, b Weighed) int { return cmp.Compare(b.Probability, a.Probability) })
}

// Probabilities of modes from what each costs, in units of log likelihood; their
// sum is one.
func Probabilities(costs []float64) []float64 {
	const hopeless = 1e6
	costs = slices.Clone(costs)
	least := float64(hopeless)
	for i := range costs {
		// A trace without sense can make a cost without end, or none at all.
		if !(math.Abs(costs[i]) < hopeless) {
			costs[i] = hopeless
		}
		least = min(least, costs[i])
	}
	var sum float64
	for i, c := range costs {
		// A hundredth stays for whatever is not in the list, shared out.
		costs[i] = math.Exp(least-c) + 0.01/float64(len(costs))
		sum += costs[i]
	}
	for i := range costs {
		costs[i] /= sum
	}
	return costs
}
