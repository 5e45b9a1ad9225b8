package weigh

import (
	"fmt"
	"math"

	"dutybench/bench/kind"
	"dutybench/profiles"
	"dutybench/signal/stat"
	"dutybench/signal/step"
	"dutybench/signal/trace"
)

const (
	// edge_s before the switch-on, and one sample, are no zero: the sample that
	// holds the edge is still marked as before it, and a switch takes some
	// milliseconds to close (common practice, no source).
	edge_s = 0.01
	// zeroShare of the smallest current judged is what its zero may be wrong by
	// (chosen): a tenth shifts it about as much as good units differ in it.
	zeroShare = 0.1
	// zeroSD is how far beyond what it is known to a zero must lie (chosen: one
	// good zero in a thousand by chance, with a few degrees of freedom less often
	// than a bench is wrong).
	zeroSD = 4
	// No unit draws, for longer than tooMuch_s, this many times what good ones do
	// or what its guard allows: the fuse would have gone (chosen, between 30 and
	// the 1,000 by which a column in milliamperes is off).
	tooMuchGood, tooMuchPeak, tooMuch_s = 100.0, 10.0, 0.1
)

// Zero is what the current reads before the first switch-on, where none flows,
// in A with its uncertainty, and the number of samples; with less than ten of
// them, or a supply never off or never on, n is 0.
func Zero(tr *trace.Trace) (zero stat.Quantity, n int) {
	t, x, on := tr.Time(), tr.Current(), step.SupplyOf(tr)
	first := 0
	for first < len(t) && !on.On(first) {
		first++
	}
	if first == len(t) {
		return stat.Quantity{}, 0
	}
	to := first - 1
	for to > 0 && t[to-1] > t[first]-edge_s {
		to--
	}
	if to < 10 {
		return stat.Quantity{}, 0
	}
	zero = stat.MeanOver(t[:to], x[:to])
	if c := tr.Column(trace.ColCurrent); c != nil {
		zero = zero.With("resolution", c.Resolution/math.Sqrt(12), 0)
	}
	if u, ok := tr.Number(trace.KeyCurrentOffsetU); ok && u > 0 {
		zero = zero.With(OffsetSource, u, 0)
	}
	return zero, to
}

// Misread says what a trace's current says against its own reading, and what to do
// next; "" when nothing: a column that is not in amperes, a shunt with crossed
// wires, a zero that is off. smallest_A is the smallest current that good units are
// held to; 0: not known, then any zero beyond noise and resolution is off.
//
// A zero is called and not taken off: the rig takes its own, and why another
// bench's is wrong is not known, nor whether it stays.
func Misread(tr *trace.Trace, p *profiles.Profile, smallest_A float64) (why, next string) {
	t, x, on := tr.Time(), tr.Current(), step.SupplyOf(tr)
	limit := tooMuch(p)
	zero, n := Zero(tr)
	var much_s, sum, below float64
	samples := 0
	for i := range x {
		if !on.On(i) {
			continue
		}
		samples++
		sum += x[i]
		below += max(0, -x[i])
		if i > 0 && math.Abs(x[i]) > limit {
			much_s += t[i] - t[i-1]
		}
	}
	if much_s > tooMuch_s && !Tripped(tr) {
		return fmt.Sprintf("the current column is not in amperes: it reads above %.3g A, which no such unit draws", limit),
			"look at the unit of the current column, scale it to amperes (a mapping does), and judge again"
	}
	off := max(zeroSD*zero.U(), zeroShare*smallest_A)
	// Crossed wires turn all of it; a unit that is driven both ways, or that feeds
	// back, has both signs.
	mean, above := sum/max(1, float64(samples)), sum+below
	if mean-zero.Value < -off && mean < 0 && 10*above < below {
		return fmt.Sprintf("the current reads %.3g A on the mean with the supply on: the sense wires of the shunt are crossed", mean),
			"swap the two sense wires at the shunt, and repeat the test"
	}
	if z := zero.Value; n > 0 && math.Abs(z) > off {
		return fmt.Sprintf("the current reads %s with the supply off, where none flows: its zero is off", Amount(z, "A")),
			"take the zero of the current reading with the supply off, and repeat the test"
	}
	return "", ""
}

// tooMuch is a current that no unit of this profile draws; endless where it says
// neither limits nor good units.
func tooMuch(p *profiles.Profile) float64 {
	limit, most := math.Inf(1), 0.0
	if p.Limits.Peak_A > 0 {
		limit = tooMuchPeak * p.Limits.Peak_A
	}
	for _, g := range p.Good {
		for _, x := range g.Up {
			if !math.IsNaN(x) {
				most = max(most, x)
			}
		}
	}
	if most > 0 {
		limit = min(limit, tooMuchGood*most)
	}
	return limit
}

// Smallest is the least of what good units have on the mean of these currents,
// in A; 0 where they have none of them.
func Smallest(p *profiles.Profile, names ...string) float64 {
	least := 0.0
	for _, n := range names {
		if a := math.Abs(MeanOf(p, n)); a > 0 && (least == 0 || a < least) {
			least = a
		}
	}
	return least
}

// TakeMisread has the judge leave a trace undecided, the bench to blame, where its
// current says something against its own reading; such a trace says nothing of the
// unit, so it is not stark either. names are the currents that are read from zero.
func TakeMisread(a *kind.Assessment, tr *trace.Trace, p *profiles.Profile, names ...string) bool {
	why, next := Misread(tr, p, Smallest(p, names...))
	if why == "" {
		return false
	}
	a.Elsewhere, a.ElsewhereNext = why, next
	a.Stark, a.Final, a.Reached = false, false, false
	a.Causes, a.Inseparable, a.SeparatedBy = nil, nil, "" // the judge names the bench
	return true
}
