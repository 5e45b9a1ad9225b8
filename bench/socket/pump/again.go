package pump

import (
	"dutybench/bench/sim"
	simpump "dutybench/bench/sim/pump"
	"dutybench/bench/socket"
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
func differ(s socket.Simulated, u *simpump.Params, supply *sim.Supply) {
	if r := s.AgainSource(); r != nil {
		supply.Open_V *= 1 + againSupply*socket.Cut(r)
		u.Water_C += againWater_C * socket.Cut(r)
	}
	if r := s.FillingSource(); r != nil {
		u.Hydraulic_Nms2 *= 1 + fillWater*socket.Cut(r)
		supply.Ohm += fillLead_Ohm * (1 + socket.Cut(r)/3)
	}
}
