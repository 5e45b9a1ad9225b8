package coil_test

import (
	"math"
	"math/rand/v2"
)

// iron is a coil whose plunger is stuck: an inductance in air, and a plate of
// iron into which the field diffuses, of layers that saturate:
//
//	U = R·i + La·di/dt + Li·d(mean b)/dt   ∂b/∂t = D·∂²h/∂y²   db/dh = 1/(1+(h/is)²)
//
// with h = i at the surface and no flow in the middle.
type iron struct {
	R_ohm, air_H, iron_H float64
	saturates_A          float64 // Inf for iron that does not
	diffusion_s          float64 // half thickness squared over D; 0 without eddies
	U_V                  float64
}

func (c *iron) run(length_s, h float64) []float64 {
	const layers = 8
	n := int(length_s/h) + 1
	out := make([]float64, n)
	slope := func(h float64) float64 {
		q := h / c.saturates_A
		return 1 / (1 + q*q)
	}
	var i float64
	var field [layers + 1]float64
	final := c.U_V / c.R_ohm
	q := final / c.saturates_A
	steps := 1
	if c.diffusion_s > 0 {
		fast := layers * layers / c.diffusion_s * (1 + q*q) * 2
		fast = math.Max(fast, 2*c.iron_H/c.air_H*layers/c.diffusion_s)
		steps = int(h*fast/0.4) + 1
	} else {
		tau := (c.air_H + c.iron_H/(1+q*q)) / c.R_ohm
		steps = int(h/tau*20) + 1
	}
	dt := h / float64(steps)
	for k := range out {
		out[k] = i
		for range steps {
			if c.diffusion_s == 0 {
				l := func(i float64) float64 { return c.air_H + c.iron_H*slope(i) }
				d1 := (c.U_V - c.R_ohm*i) / l(i)
				m := i + d1*dt/2
				i += dt * (c.U_V - c.R_ohm*m) / l(m)
				continue
			}
			// Flow into each layer, in units of h per thickness.
			var flow [layers + 2]float64
			flow[0] = 2 * layers * (i - field[0]) // surface to the middle of the first layer
			for j := 1; j < layers; j++ {
				flow[j] = layers * (field[j-1] - field[j])
			}
			for j := range layers {
				field[j] += dt * layers / c.diffusion_s * (flow[j] - flow[j+1]) / slope(field[j])
			}
			i += dt * (c.U_V - c.R_ohm*i - c.iron_H/c.diffusion_s*flow[0]) / c.air_H
		}
	}
	return out
}

// drawIron draws a stuck coil: plain, with eddies, saturating, or both.
func drawIron(r *rand.Rand) *iron {
	c := &iron{R_ohm: math.Exp(uniform(r, math.Log(4), math.Log(60))), U_V: 12 * float64(1+r.IntN(2)), saturates_A: math.Inf(1)}
	l := math.Exp(uniform(r, math.Log(0.005), math.Log(0.2)))
	c.air_H = l * uniform(r, 0.1, 0.5)
	c.iron_H = l - c.air_H
	final := c.U_V / c.R_ohm
	which := r.IntN(4)
	if which == 1 || which == 3 {
		c.diffusion_s = math.Exp(uniform(r, math.Log(0.5e-3), math.Log(30e-3)))
	}
	if which == 2 || which == 3 {
		c.saturates_A = final * uniform(r, 0.2, 2)
	}
	return c
}
