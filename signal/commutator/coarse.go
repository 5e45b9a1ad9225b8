package commutator

import (
	"fmt"
	"math"
	"slices"
)

// finer is how much a comb must hold beside what lies on a coarser one, as a share of
// that: uneven segments make all orders alike, so of a true comb at least half as
// much lies between every second tooth as on it. What chance puts there is less
// (chosen).
const finer = 0.25

// coarse refuses a line that is taken for the ripple and may be a lower order of a
// faster turn. That one's ripple either stands there too, or is above 0.4 of the rate,
// where folding, filters and a speed that moves may hide it. Were the line the m-th
// order of a turn with P ripples, its lines would lie at multiples of an m-th of the
// line, and of those that fit the comb of a P-th of it none between.
func (o Options) coarse(l line, list []line, rate_Hz float64) error {
	own := o.comb(l, o.PerTurn, list, rate_Hz)
	for m := 1; m < o.PerTurn; m++ {
		c := l.hz * float64(o.PerTurn) / float64(m)
		if !o.can(c) || c <= usable*rate_Hz && !stands(c, l, list) {
			continue
		}
		if on := o.comb(l, m, list, rate_Hz); on > 0 && own-on <= finer*on {
			return fmt.Errorf("%w: at %.4g Hz, or at %.4g Hz, as the other lines are multiples of that faster turn too: sample faster, or state the speed without load", ErrUnclear, l.hz, c)
		}
	}
	return nil
}

// stands says that a line stands at a frequency, no weaker than another by more than
// six decibels, as in rivals.
func stands(hz float64, l line, list []line) bool {
	return slices.ContainsFunc(list, func(q line) bool {
		return q.amp >= l.amp/2 && math.Abs(q.hz-hz) <= 3*(q.u_Hz+l.u_Hz*hz/l.hz)+0.005*hz
	})
}

// comb is how much of the lines, in nats, lies at whole multiples of a part of one of
// them, less what does by chance; multiples of the line itself say nothing.
func (o Options) comb(l line, part int, list []line, rate_Hz float64) (sum float64) {
	turn := l.hz / float64(part)
	for _, q := range list {
		order := math.Round(q.hz / turn)
		within := 3*(q.u_Hz+l.u_Hz*order/float64(part)) + 0.02*turn
		if _, byChance := o.belongs(l, q, rate_Hz); byChance == 0 || order < 1 || int(order)%part == 0 || math.Abs(q.hz-order*turn) > within {
			continue
		}
		sum += math.Log(1+q.energy) * (1 - min(1, 2*within/turn))
	}
	return sum
}
