package kinds

import (
	"math/rand/v2"

	"dutybench/bench/sim"
	simpump "dutybench/bench/sim/pump"
)

// What differs from one simulated test of a unit to the next, and from one
// filling of the loop to the next, as standard deviations. All are chosen and
// show that studies of the bench find what is there; no real bench is known to
// be so, and no limit rests on them.
const (
	againSupply  = 0.001 // share of the supply's open voltage
	againWater_C = 0.5
	fillWater    = 0.008 // share of the torque that the water takes: air, hoses, their bends
	fillLead_Ohm = 0.001 // of the plug, put on again
)

// differ changes unit and supply by what this test and this filling draw. A
// filling is drawn for the unit that is in it.
func (s Simulated) differ(u *simpump.Params, supply *sim.Supply) {
	if s.Again != 0 {
		r := rand.New(rand.NewPCG(s.Seed^s.Unit<<1, s.Again))
		supply.Open_V *= 1 + againSupply*cut(r)
		u.Water_C += againWater_C * cut(r)
	}
	if s.Filling != 0 {
		r := rand.New(rand.NewPCG(s.Seed^s.Unit<<1, s.Filling^0x66696c6c))
		u.Hydraulic_Nms2 *= 1 + fillWater*cut(r)
		supply.Ohm += fillLead_Ohm * (1 + cut(r)/3)
	}
}

// cut is a normal number that lies within three.
func cut(r *rand.Rand) float64 {
	for {
		if z := r.NormFloat64(); z >= -3 && z <= 3 {
			return z
		}
	}
}
