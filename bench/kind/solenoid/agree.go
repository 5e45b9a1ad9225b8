package solenoid

import (
	"math"

	"dutybench/bench/kind"
	"dutybench/signal/coil"
	"dutybench/signal/stat"
)

// vague is from which relative uncertainty on a value of one pulse, or its scatter
// over them, says nothing: limits of good units are narrower (chosen; a tighter one
// would take away what a unit at fault shows, as its edges are less plain).
const vague = 0.3

// shown is a value of one edge, which stands for so many pulses.
type shown struct {
	q      stat.Quantity
	pulses int
}

// perPulse adds a value over the edges of the pulses that show it, each with the
// weight of the pulses that it stands for.
func (d *detail) perPulse(m *kind.Measured, name, unit string, from func(p pulse) *coil.Edge, of func(p pulse) (stat.Quantity, string)) {
	var list []shown
	at := map[*coil.Edge]int{}
	why := d.noCurrent()
	for _, p := range d.pulses {
		if n, ok := at[from(p)]; ok {
			list[n].pulses++
			continue
		}
		switch q, not := of(p); {
		case math.IsNaN(q.Value) || math.IsInf(q.Value, 0):
			why = not
		case q.U() > vague*math.Abs(q.Value):
			why = "the fit to the edge does not know it"
		default:
			at[from(p)] = len(list)
			list = append(list, shown{q, 1})
		}
	}
	if len(list) == 0 {
		miss(m, name, unit, why)
		return
	}
	if xs := spread(list); len(list) >= 3 && stat.RobustSD(xs) > vague*math.Abs(stat.Median(xs)) {
		miss(m, name, unit, "the pulses do not agree on it")
		return
	}
	add(m, name, unit, together(list))
}

// spread is the values of a list, one a pulse.
func spread(list []shown) (xs []float64) {
	for _, s := range list {
		for range s.pulses {
			xs = append(xs, s.q.Value)
		}
	}
	return xs
}

// together is one value over pulses: their median, so that one fit gone astray does
// not move it. It is as unsure as the edges scatter, and not less than what they
// say of themselves over their number.
func together(list []shown) stat.Quantity {
	xs := spread(list)
	var own float64
	for _, s := range list {
		own = math.Hypot(own, s.q.U()*float64(s.pulses)/float64(len(xs)))
	}
	q := stat.Quantity{Value: stat.Median(xs)}
	n := float64(len(list))
	switch {
	case len(list) < 2:
		return q.With("fit to the edge", own, 0)
	case len(list) < 4:
		return q.With("scatter over pulses", max(own, spreadOf(xs)/math.Sqrt(n)), n-1)
	}
	// A median of normal values is √(π/2) times as unsure as their mean.
	if u := math.Sqrt(math.Pi/2) * stat.RobustSD(xs) / math.Sqrt(n); u > own {
		return q.With("scatter over pulses", u, n-1)
	}
	return q.With("fit to the edges", own, 0)
}

func spreadOf(xs []float64) float64 {
	_, sd := stat.MeanSD(xs)
	return sd
}
