package pump

import "math"

// slowly does what need not be done at each step: heat, viscosity, unrest.
func (p *Pump) slowly() {
	c, dt := &p.params, p.slow_s
	p.slow_s = 0
	flow := (p.winding_C - p.waterC) / c.Winding_KperW
	p.winding_C += (p.copper_J - flow*dt) / c.Winding_JperK
	p.waterC += (p.motor_J - p.copper_J + flow*dt) / (c.Water_kg * waterHeat)
	p.copper_J, p.motor_J = 0, 0
	keep := math.Exp(-dt / unrest_s)
	p.unrest = p.unrest*keep + c.Unrest*math.Sqrt(1-keep*keep)*p.rng.NormFloat64()
	p.unrest = max(p.unrest, -1)
	if p.ticks++; p.ticks%16 == 0 {
		p.warm()
	}
}

// unrest_s is the correlation time of the flow's unrest; chosen.
const unrest_s = 0.01

// warm follows the temperatures: copper, and the water film in the gap, taken
// halfway between winding and water.
func (p *Pump) warm() {
	p.winding_Ohm = p.params.Winding_Ohm * copperRatio(p.winding_C)
	p.winding_S = 1 / p.winding_Ohm
	p.viscous = p.params.Viscous_Nms * waterViscosity((p.winding_C+p.waterC)/2) / p.viscosity20
}
