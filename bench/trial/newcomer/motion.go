package newcomer

import "math"

// carries is the share of the current that flows: all, but for an open phase,
// where only two of six steps carry, or the part along the one axis that is
// left.
func (u *unit) carries() float64 {
	if !u.sick.open {
		return 1
	}
	if u.board.sine {
		return math.Abs(math.Cos(u.field + float64(u.sick.openAt)))
	}
	sector := int(math.Floor(u.field / (math.Pi / 3)))
	if ((sector+u.sick.openAt)%3+3)%3 == 0 {
		return 1
	}
	return 0
}

// turn moves rotor, wheel and water by a step.
func (u *unit) turn(h float64) {
	m, x := &u.made, &u.sickM
	u.breathe(h)
	full := (1 - u.void) * (1 - x.empty)
	water := u.wheelTorque(h, full)
	u.load = m.friction(u.omega, u.mu, x) + water + u.onceATurn()
	switch u.phase {
	case aligning, looking:
		u.omega *= max(0, 1-h/0.03)
	case turningField:
		u.follow(h)
	default:
		push := u.k * u.amps
		if u.omega == 0 && push <= u.load+u.sticky {
			break
		}
		u.sticky = 0
		slope := u.k*u.k/u.ohm + 2*water/max(u.omega, 1)
		if u.board.rule != setsVoltage || u.phase != running {
			slope = 2 * u.board.stiff * m.inertia
		}
		u.omega = max(0, u.omega+h*(push-u.load)/(m.inertia+h*slope))
	}
	u.angle += u.omega * h
	// Density is in every term, so that air leaves the flow as it is.
	u.flow += h * (m.pressure(u.wheel, u.flow) - (m.loop+m.shock)*u.flow*math.Abs(u.flow)) /
		(m.inertance + h*2*(m.loop+m.shock)*math.Abs(u.flow))
}

// follow turns the rotor with the field while its load allows.
func (u *unit) follow(h float64) {
	b := &u.board
	need := u.load + u.made.inertia*b.hand/b.fieldS
	if u.omega == 0 {
		need += u.sticky
	}
	if u.sick.open || need > 0.92*u.k*b.start {
		u.lost = true
	}
	if u.lost {
		u.omega *= max(0, 1-h/0.03)
		return
	}
	u.sticky = 0
	u.omega = b.hand * min(1, u.clock/b.fieldS)
}

// wheelTorque is what the water takes from the shaft; the wheel may slip on it.
func (u *unit) wheelTorque(h, full float64) float64 {
	m, x := &u.made, &u.sickM
	if x.slipAt == 0 {
		u.wheel = u.omega
		return full * m.wheel(u.omega, u.flow, u.disc)
	}
	u.wheel = min(u.wheel, u.omega)
	torque := full * m.wheel(u.wheel, u.flow, u.disc)
	if torque+m.wheelInertia*(u.omega-u.wheel)/h <= x.slipAt { // holds
		u.wheel = u.omega
		return torque
	}
	u.wheel = clamp(u.wheel+h*(x.slipAt-torque)/m.wheelInertia, 0, u.omega)
	return x.slipAt
}

// onceATurn is the part of the load that goes with the rotor's angle and has no
// mean.
func (u *unit) onceATurn() float64 {
	if u.omega == 0 {
		return 0
	}
	c := math.Cos(u.angle)
	return u.eccentricity*u.made.dry*c + u.sickM.rub*((1+c)*(1+c)/1.5-1)
}

// breathe moves the unrest of the flow and the air in it.
func (u *unit) breathe(h float64) {
	const surgeS, slugS, mixS = 0.15, 0.35, 0.06 // chosen
	u.surge += -h/surgeS*u.surge + u.unrest*math.Sqrt(2*h/surgeS)*(u.rng.Float64()-0.5)*math.Sqrt(12)
	depth := 0.0
	if mean := u.sickM.void; mean > 0 {
		busy := max(0.5, mean/0.9) // share of time with air in the wheel
		chance := h / slugS
		if !u.slug {
			chance *= busy / (1 - busy)
		}
		if u.rng.Float64() < chance {
			u.slug = !u.slug
		}
		if u.slug {
			depth = mean / busy
		}
	}
	u.void += h / mixS * (depth + u.surge - u.void)
}

// input is the current that the unit draws at its terminals, A.
func (u *unit) input() float64 {
	b := &u.board
	if u.sick.dead {
		return u.volt * u.sickM.leak
	}
	quiet := 0.0
	switch {
	case u.phase == dark:
		return u.volt * (u.sickM.leak + 2e-5)
	case u.phase == booting:
		quiet = b.bootA
	case u.phase == idle && u.want == 0 && u.clock > b.dozeS:
		quiet = b.sleepA
	default:
		quiet = b.awakeA
	}
	shaft := u.k * u.omega
	if u.phase == turningField { // only part of the current is in the torque axis
		shaft = 0
		if !u.lost {
			shaft = u.load * u.omega / max(u.amps, 1e-9)
		}
	}
	motor := u.amps * ((shaft+u.ohm*u.amps)/u.volt + u.made.swing)
	return quiet + motor + u.volt*u.sickM.leak
}
