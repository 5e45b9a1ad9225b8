package pump

// Steady is a settled operating point.
type Steady struct {
	Speed_rad_s, Torque_Nm, Phase_A, Supply_A float64
}

// Steady is the closed-form balance of motor and load at the share of the way
// from least to full speed, with plug_V at the plug and the winding and the
// water film at their temperatures in °C: the speed asked for, or where a
// limit or the set voltage binds, the root of k·i(ω) = M(ω), found by
// bisection of a falling function.
func (c Params) Steady(share, plug_V, winding_C, film_C float64) Steady {
	ohm := c.Winding_Ohm * copperRatio(winding_C)
	viscous := c.Viscous_Nms * waterViscosity(film_C) / waterViscosity(20)
	torque := func(w float64) float64 {
		return c.Coulomb_Nm + rubMean*c.Rub_Nm + (viscous+c.Hydraulic_Nms2*w)*w
	}
	bound, top := c.MaxShare, c.Min_rad_s+clamp01(share)*(c.Max_rad_s-c.Min_rad_s)
	if c.Regulation == Voltage {
		bound = c.MinShare + clamp01(share)*(c.MaxShare-c.MinShare)
		top = bound * plug_V / c.K_Vs
	}
	able := func(w float64) float64 {
		emf := c.K_Vs * w
		return min((bound*plug_V-emf)/ohm, c.Limit_A, powered(c.Limit_W, emf, ohm))
	}
	speed := top
	if able(top)*c.K_Vs < torque(top) {
		low, high := 0.0, top
		for range 60 {
			if speed = (low + high) / 2; able(speed)*c.K_Vs < torque(speed) {
				high = speed
			} else {
				low = speed
			}
		}
	}
	m := torque(speed)
	i := m / c.K_Vs
	return Steady{Speed_rad_s: speed, Torque_Nm: m, Phase_A: i,
		Supply_A: c.Quiet_A + i*(ohm*i+c.K_Vs*speed)/(c.Efficiency*plug_V)}
}

// Behind is Steady at an open voltage behind a source's resistance, in ohms.
func (c Params) Behind(share, open_V, ohm, winding_C, film_C float64) Steady {
	s := c.Steady(share, open_V, winding_C, film_C)
	for range 30 {
		s = c.Steady(share, max(open_V-ohm*s.Supply_A, 0.5*open_V), winding_C, film_C)
	}
	return s
}
