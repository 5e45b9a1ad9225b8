package coil

import (
	"dutybench/signal/stat"
)

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
