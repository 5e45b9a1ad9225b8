package weigh

import (
	"math"
	"slices"

	"dutybench/bench/result"
	"dutybench/signal/stat"
)

// shared sums modes to causes. A mode that looks the same from here as other
// causes shares its probability evenly with them, as nothing seen tells them
// apart and no prior is known to differ; but not with one that has a mode of its
// own for the same look, which counts by itself.
func shared(ws []Weighed) map[result.Cause]float64 {
	sums := map[result.Cause]float64{}
	for _, w := range ws {
		among := []result.Cause{w.Cause}
		for _, c := range w.Like {
			own := slices.ContainsFunc(ws, func(o Weighed) bool { return o.Cause == c && slices.Contains(o.Like, w.Cause) })
			if !own && !slices.Contains(among, c) {
				among = append(among, c)
			}
		}
		for _, c := range among {
			sums[c] += w.Probability / float64(len(among))
		}
	}
	return sums
}

// causesOf are the causes of which a kind has modes, and wires and bench, which
// every test has.
func causesOf(modes []Mode) []result.Cause {
	return slices.DeleteFunc(slices.Clone(result.Causes()), func(c result.Cause) bool {
		return c != result.Wiring && c != result.Bench && !slices.ContainsFunc(modes, func(m Mode) bool { return m.Cause == c || slices.Contains(m.Like, c) })
	})
}

// byChance is the probability that none of the modes is at work: what lies out
// does so by chance, or for what is not in the list. It explains nothing, and so
// costs what all that lies out costs; a limit is passed at some 3.6 standard
// deviations, which leaves it a fifth, and six leave it nothing.
func (t *Table) byChance(ws []Weighed) float64 {
	var cost, most float64
	for _, k := range t.Checks {
		switch {
		case !k.Measured():
		case k.Out() && k.Z == 0: // by a limit stated by hand: how far in deviations is not known
			cost += Most
		default:
			cost += Price(k.normal())
		}
	}
	for _, w := range ws {
		if w.Cost < Most { // of no use as an explanation else
			most += math.Exp(-w.Cost)
		}
	}
	chance := math.Exp(-cost)
	return chance / (chance + max(most, math.Exp(-Most)))
}

// normal is the distance at which a normal distribution has the tail that the
// prediction from so few good units leaves at Z.
func (k *Check) normal() float64 {
	z := math.Abs(k.Z)
	if k.N < 2 || k.Rule.Count || !(z > Calm) {
		return z
	}
	tail := stat.StudentTail(z/math.Sqrt(1+1/float64(k.N)), float64(k.N-1))
	return min(z, -stat.Normal(max(tail, 1e-300)))
}

// pooled takes a share from what the modes say and gives it to all causes evenly.
func pooled(sums map[result.Cause]float64, causes []result.Cause, share float64) {
	for _, c := range causes {
		sums[c] = sums[c]*(1-share) + share/float64(len(causes))
	}
}

// lead puts a cause first that shares its place: what is within the hundredth kept
// for what is not in the list is level.
func lead(causes []result.CauseProbability, first result.Cause) {
	const level = 0.01
	i := slices.IndexFunc(causes, func(c result.CauseProbability) bool { return c.Cause == first })
	if i < 1 || causes[0].Probability-causes[i].Probability > level {
		return
	}
	var sum float64
	for _, c := range causes[:i+1] {
		sum += c.Probability
	}
	own := causes[i]
	copy(causes[1:i+1], causes[:i])
	causes[0] = own
	for j := range causes[:i+1] {
		causes[j].Probability = sum / float64(i+1)
	}
}
