package fan

import "math"

// Steady is a settled operating point.
type Steady struct{ Speed_rad_s, Torque_Nm, Phase_A, Supply_A float64 }

// torque against the turning shaft, and its slope over the speed.
func (p *Params) torque(w, density float64) (nm, slope float64) {
	air := p.Air_Nms2 * density
	return p.Coulomb_Nm + p.Viscous_Nms*w + air*w*w, p.Viscous_Nms + 2*air*w
}

// powered is the phase current at which the motor takes watts: the root of
// R·i² + e·i = P.
func powered(watts, emf, ohm float64) float64 {
	return 2 * watts / (emf + math.Sqrt(emf*emf+4*ohm*watts))
}

// able is the phase current that board and voltage give at a speed.
func (p *Params) able(w, share, plug_V float64) float64 {
	emf := p.K_Vs * w
	return max(0, min((share*plug_V-emf)/p.Winding_Ohm, p.Limit_A, powered(p.Limit_W, emf, p.Winding_Ohm)))
}

// highest share of the supply that a board gives a motor whose speed it holds.
const highest = 0.97

// Steady is the closed-form balance at the share of the way from least to full,
// with plug_V at the plug: the speed asked for, or where voltage or a limit
// binds, the root of k·i(ω) = M(ω) by bisection of a falling function.
func (p Params) Steady(share, plug_V float64) Steady {
	density := p.Density()
	goal := p.Least + min(max(share, 0), 1)*(p.Full-p.Least)
	volts, top := highest, goal
	if p.ByVoltage {
		volts, top = goal, goal*plug_V/p.K_Vs
	}
	speed := top
	lacks := func(w float64) bool {
		m, _ := p.torque(w, density)
		return p.able(w, volts, plug_V)*p.K_Vs < m
	}
	if lacks(top) {
		low, high := 0.0, top
		for range 60 {
			if speed = (low + high) / 2; lacks(speed) {
				high = speed
			} else {
				low = speed
			}
		}
	}
	m, _ := p.torque(speed, density)
	i := m / p.K_Vs
	return Steady{Speed_rad_s: speed, Torque_Nm: m, Phase_A: i,
		Supply_A: p.Quiet_A + i*(p.Winding_Ohm*i+p.K_Vs*speed)/(p.Efficiency*plug_V)}
}

// Behind is Steady at an open voltage behind a source's resistance.
func (p Params) Behind(share, open_V, ohm float64) Steady {
	s := p.Steady(share, open_V)
	for range 30 {
		s = p.Steady(share, max(open_V-ohm*s.Supply_A, 0.5*open_V))
	}
	return s
}
