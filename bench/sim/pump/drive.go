package pump

import "math"

// idleBy is a step without drive: the rotor coasts and may feed the capacitor.
func (p *Pump) idleBy(dt float64, f feed) float64 {
	l := load{a: p.quiet(), g: p.defect.leak_S}
	emf := p.params.K_Vs*p.speed - diodes_V
	p.phase_A, p.motor_W = 0, 0
	if emf > p.net.plug_V {
		ohm := p.winding_Ohm + diodes_Ohm
		l.a -= emf / ohm
		l.g += 1 / ohm
		i, v := p.net.advance(dt, f, l)
		p.phase_A = -max(emf-v, 0) / ohm
		p.spin(dt)
		p.turn(dt, p.phase_A, 0)
		return i
	}
	i, _ := p.net.advance(dt, f, l)
	p.coastBy(dt)
	return i
}

func (p *Pump) coastBy(dt float64) {
	if p.speed > 0 {
		p.spin(dt)
		p.turn(dt, 0, 0)
	}
}

// force is a step of alignment, ramp or verification: the phase current is
// held, the rotor follows the field as long as its torque allows.
func (p *Pump) force(dt float64, f feed) float64 {
	c := &p.params
	field, rise := 0.0, 0.0
	switch p.phase {
	case ramp:
		rise = c.HandOver_rad_s / c.Ramp_s
		field = min(p.since_s*rise, c.HandOver_rad_s)
	case verify:
		field = c.HandOver_rad_s
	}
	amps := c.Start_A
	if p.defect.open > 0 && emptyStep(p.turns, c.PolePairs) {
		amps *= 1 - p.defect.open
	}
	amps = max(min(amps, (p.net.plug_V*c.MaxShare-c.K_Vs*p.speed)/p.winding_Ohm), 0)
	wave := p.commutation(dt, field)
	p.wobble()
	watts := amps * amps * p.winding_Ohm
	switch torque, _ := p.resist(p.speed); {
	case p.phase == align:
		p.turn(dt, -amps, 0) // a turning rotor is caught, a still one turns into place
	case p.slipped:
		p.turn(dt, 0, 0)
	case p.follows(torque + c.Inertia_kgm2*rise):
		watts += max(torque+c.Inertia_kgm2*rise, 0) * p.speed
		p.speed, p.stuck_Nm = field, 0
	default:
		p.slipped = true
	}
	p.motor_W, p.phase_A = watts, amps
	draw := watts / (c.Efficiency * max(p.net.plug_V, 1))
	i, _ := p.net.advance(dt, f, load{a: p.quiet() + draw*(1+wave), g: p.defect.leak_S})
	p.copper_J += amps * amps * p.winding_Ohm * dt
	p.motor_J += watts * dt
	return i
}

// pullOut is the share of the start torque that a rotor can follow; chosen.
const pullOut = 0.9

// follows says whether the rotor keeps up with the field at the torque.
func (p *Pump) follows(torque float64) bool {
	if p.defect.open > 0 {
		return false // the field stands still for a third of a turn
	}
	able := pullOut * p.params.K_Vs * p.params.Start_A
	if p.speed <= 0 {
		torque += p.stuck_Nm
	}
	return torque <= able
}

// emptyStep says whether the open phase leaves this commutation step without
// current: two of six.
func emptyStep(turns float64, pairs int) bool {
	return int(turns*float64(6*pairs))%3 == 2
}

// regulate is a step of closed loop.
func (p *Pump) regulate(dt float64, f feed) float64 {
	c := &p.params
	want, bound := p.regulator.ask(p, p.share, dt)
	emf, draw := c.K_Vs*p.speed, 1/(c.Efficiency*max(p.net.plug_V, 1))
	byVoltage := (bound*p.net.plug_V - emf) * p.winding_S
	amps := want
	if amps > c.Limit_A {
		amps = c.Limit_A
	}
	held := byVoltage < amps // the voltage is what is held
	if held {
		amps = max(byVoltage, 0)
	}
	if amps*(emf+amps*p.winding_Ohm) > c.Limit_W {
		amps, held = powered(c.Limit_W, emf, p.winding_Ohm), false
	}
	wave := p.commutation(dt, p.speed)
	p.wobble()
	l := load{a: p.quiet(), g: p.defect.leak_S}
	var i, slope float64
	if held && amps > 0 {
		// The bridge as a transformer: I = m·i/η with i = (m·V - k·ω)/R.
		share := bound * p.winding_S / c.Efficiency
		l.g += bound * share
		l.a += wave*p.motor_W*draw - share*emf
		var v float64
		i, v = p.net.advance(dt, f, l)
		if amps = (bound*v - emf) * p.winding_S; amps < 0 {
			amps = 0
		}
		p.motor_W = bound * v * amps
		slope = c.K_Vs * c.K_Vs * p.winding_S
	} else {
		p.motor_W = amps * (emf + amps*p.winding_Ohm)
		l.a += p.motor_W * draw * (1 + wave)
		i, _ = p.net.advance(dt, f, l)
	}
	p.limited = amps < want
	p.phase_A = amps
	p.turn(dt, amps, slope)
	p.copper_J += amps * amps * p.winding_Ohm * dt
	p.motor_J += p.motor_W * dt
	return i
}

// spin turns the angle by dt at the present speed.
func (p *Pump) spin(dt float64) {
	p.commutation(dt, p.speed)
	p.wobble()
}

// commutation turns the angle by dt at the field's speed, and returns the mean
// over dt of the ripple that six commutations in an electrical turn make.
func (p *Pump) commutation(dt, speed float64) float64 {
	step := speed * dt / (2 * math.Pi)
	if step == 0 {
		return 0
	}
	if p.turns += step; p.turns >= 1 {
		p.turns -= math.Floor(p.turns)
	}
	last, n := p.ripple, p.commutations
	p.ripple = sine(n * p.turns)
	if step < 1e-7 {
		return 0
	}
	return p.params.Ripple * (p.ripple - last) / (2 * math.Pi * n * step)
}
