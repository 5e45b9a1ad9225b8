package coil

import (
	"math"

	"dutybench/signal/stat"
)

// Several is what many edges of one kind say together. Each quantity is the
// mean over the edges that have it, its uncertainty from their scatter.
type Several struct {
	Edges, Moved, Still, NotMeasured int

	Begin_s, End_s, Begin_A, Depth_A stat.Quantity
	Tau_s, TauAfter_s, Final_A       stat.Quantity
	Resistance_ohm, Inductance_H     stat.Quantity
	InductanceAfter_H                stat.Quantity
	// Scatter_s is the standard deviation of End_s from edge to edge.
	Scatter_s float64
}

// Combine takes edges of one kind, rises or falls.
func Combine(edges []*Edge) *Several {
	out := &Several{}
	var ends []float64
	for _, e := range edges {
		if e == nil {
			continue
		}
		out.Edges++
		switch e.Motion.Found {
		case Moved:
			out.Moved++
			ends = append(ends, e.Motion.End_s.Value)
		case Still:
			out.Still++
		default:
			out.NotMeasured++
		}
	}
	mean := func(of func(*Edge) stat.Quantity) stat.Quantity {
		var xs []float64
		var last stat.Quantity
		for _, e := range edges {
			if e == nil {
				continue
			}
			if q := of(e); !math.IsNaN(q.Value) {
				xs = append(xs, q.Value)
				last = q
			}
		}
		switch len(xs) {
		case 0:
			return unknown()
		case 1:
			return last
		}
		return stat.Repeated("edge to edge", xs)
	}
	out.Begin_s = mean(func(e *Edge) stat.Quantity { return e.Motion.Begin_s })
	out.End_s = mean(func(e *Edge) stat.Quantity { return e.Motion.End_s })
	out.Begin_A = mean(func(e *Edge) stat.Quantity { return e.Motion.Begin_A })
	out.Depth_A = mean(func(e *Edge) stat.Quantity { return e.Motion.Depth_A })
	out.Tau_s = mean(func(e *Edge) stat.Quantity { return e.Tau_s })
	out.TauAfter_s = mean(func(e *Edge) stat.Quantity { return e.TauAfter_s })
	out.Final_A = mean(func(e *Edge) stat.Quantity { return e.Final_A })
	out.Resistance_ohm = mean(func(e *Edge) stat.Quantity { return e.Resistance_ohm })
	out.Inductance_H = mean(func(e *Edge) stat.Quantity { return e.Inductance_H })
	out.InductanceAfter_H = mean(func(e *Edge) stat.Quantity { return e.InductanceAfter_H })
	out.Scatter_s = stat.SD(ends)
	return out
}

// Slope is the inductance in H from two currents of a rise, in A, and the
// time between them in s, at the voltage in V and the resistance in ohm:
// L = (U - R·(i1+i2)/2)·Δt/(i2-i1). It holds where Δt is short beside L/R and
// the plunger stays. NaN where the current does not rise.
func Slope(voltage_V, resistance_ohm stat.Quantity, between_s float64, first_A, second_A stat.Quantity) stat.Quantity {
	rise := second_A.Value - first_A.Value
	if !(rise > 0) || !(between_s > 0) {
		return unknown()
	}
	mean := (first_A.Value + second_A.Value) / 2
	l := (voltage_V.Value - resistance_ohm.Value*mean) * between_s / rise
	q := stat.Exact(l)
	add := func(of stat.Quantity, slope float64) { q.Budget = append(q.Budget, of.Scale(slope).Budget...) }
	add(voltage_V, between_s/rise)
	add(resistance_ohm, -mean*between_s/rise)
	half := -resistance_ohm.Value * between_s / rise / 2
	add(first_A, half+l/rise)
	add(second_A, half-l/rise)
	return q
}
