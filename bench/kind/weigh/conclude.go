package weigh

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"dutybench/bench/kind"
	"dutybench/bench/result"
)

// Separable is how much likelier one cause must be than the next to be named
// alone: four to one, as a test that is repeated once then gives the other
// cause in one of five (chosen).
const Separable = 4.0

// Conclude sums the modes to causes and finds words for the likeliest. a.Stark is
// to be set before; where nothing is Odd there is nothing to conclude. apart is
// the one further test that tells a pair of causes apart; "" where there is none
// better than the mode's own next step.
func (t *Table) Conclude(a *kind.Assessment, state string, modes []Mode, apart func(pair []result.Cause) string) []Weighed {
	ws := t.Weigh(state, modes)
	if len(ws) == 0 {
		return nil
	}
	sums := shared(ws)
	causes := causesOf(modes)
	if !a.Stark { // what such a unit did is no chance
		pooled(sums, causes, t.byChance(ws))
	}
	a.Causes = nil
	for _, cause := range causes {
		a.Causes = append(a.Causes, result.CauseProbability{Cause: cause, Probability: sums[cause]})
	}
	slices.SortStableFunc(a.Causes, func(x, y result.CauseProbability) int { return cmp.Compare(y.Probability, x.Probability) })
	lead(a.Causes, ws[0].Cause)
	top := best(ws, a.Causes[0].Cause)
	if top == nil { // a mode without a cause that results know
		top = &ws[0]
	}
	a.Seen, a.Disproof, a.NextStep, a.Carried = top.Seen, top.Disproof, top.Next, top.carried(t)
	for i := range a.Causes {
		w := best(ws, a.Causes[i].Cause)
		if w == nil {
			continue
		}
		a.Causes[i].For = append(a.Causes[i].For, w.Seen)
		for _, n := range w.Pro {
			a.Causes[i].For = append(a.Causes[i].For, Phrase(t.Get(n)))
		}
		for _, n := range w.Contra {
			a.Causes[i].Against = append(a.Causes[i].Against, Phrase(t.Get(n))+", which this would not explain")
		}
	}
	a.Inseparable = inseparable(a.Causes, top)
	switch {
	case len(a.Inseparable) == 0:
	case len(top.Like) > 0:
		a.SeparatedBy = top.Apart
	default:
		if apart != nil {
			a.SeparatedBy = apart(a.Inseparable)
		}
		if a.SeparatedBy == "" {
			a.SeparatedBy = top.Next
		}
	}
	a.Reusable = top.Reuse
	return ws
}

// Odd says that something asks for a cause: the unit is stark, or a finding lies
// out or in doubt. What is merely lacking says nothing of any cause, and a pass
// has none.
func Odd(a *kind.Assessment) bool {
	return a.Stark || slices.ContainsFunc(a.Findings, func(f result.Finding) bool {
		return f.Result == result.Failed || f.Result == result.Doubtful
	})
}

// best is the likeliest mode of a cause; nil when there is none.
func best(ws []Weighed, c result.Cause) *Weighed {
	i := slices.IndexFunc(ws, func(w Weighed) bool { return w.Cause == c })
	if i < 0 {
		return nil
	}
	return &ws[i]
}

// inseparable are the likeliest cause and those that it is not told from: by the
// look of its mode, unless a mode of their own is far less likely, or by
// probability, of which the next alone where nothing else names it.
func inseparable(causes []result.CauseProbability, top *Weighed) []result.Cause {
	const far = 20 // to one (chosen: what is listed at a twentieth or less is not taken for an equal)
	out := []result.Cause{causes[0].Cause}
	for i, c := range causes[1:] {
		like := slices.Contains(top.Like, c.Cause) && far*c.Probability > causes[0].Probability
		near := causes[0].Probability < Separable*c.Probability && (i == 0 || len(top.Like) > 0)
		if like || near {
			out = append(out, c.Cause)
		}
	}
	if len(out) == 1 {
		return nil
	}
	return out
}

// carried names the two or three findings that carry a mode: those that it
// needs or moves, then those that it explains, those farthest out first.
func (w *Weighed) carried(t *Table) (out []string) {
	pro := slices.Clone(w.Pro)
	slices.SortStableFunc(pro, func(a, b string) int {
		x, y := t.Get(a).Z, t.Get(b).Z
		return cmp.Compare(y*y, x*x)
	})
	for _, n := range pro {
		if len(out) < 3 {
			out = append(out, n)
		}
	}
	return out
}

// Phrase is a finding in a few words.
func Phrase(k *Check) string {
	if !k.Measured() {
		return Words(k.Name) + " not measured"
	}
	s := strings.TrimSpace(fmt.Sprintf("%s %.3g %s", Words(k.Name), *k.Value, k.Unit))
	switch {
	case k.Low != nil && k.High != nil:
		s += fmt.Sprintf(" (good units %.3g to %.3g)", *k.Low, *k.High)
	case k.High != nil:
		s += fmt.Sprintf(" (good units up to %.3g)", *k.High)
	case k.Low != nil:
		s += fmt.Sprintf(" (good units from %.3g)", *k.Low)
	}
	return s
}
