package positioner

import "math"

// drive is motor, gear, flap and stops.
type drive struct {
	p *Params

	speed_rad_s   float64 // of the motor
	motor_rad     float64 // of the motor, brought to the output, slips taken off
	output_rad    float64
	carried_rad_s float64 // speed of the output in the last step
	current_A     float64 // of the motor, mean of the last step
	idle_rad      float64 // what the motor still turns for nothing, at missing teeth
	skips         int
}

// external is the torque that pushes the output back from where it stands,
// positive towards place 0.
func (d *drive) external(v_rad_s float64) float64 {
	p := d.p
	e := 0.0
	if p.SpringAt0_Nm > 0 {
		e = p.SpringAt0_Nm + p.Spring_Nm*d.output_rad/p.Travel_rad
	}
	if x := d.output_rad - p.StopHigh*p.Travel_rad; x > 0 {
		e += max(0, p.Stop_Nm*x+p.StopDamp*v_rad_s)
	}
	if x := d.output_rad - p.StopLow*p.Travel_rad; x < 0 {
		e += min(0, p.Stop_Nm*x+p.StopDamp*v_rad_s)
	}
	return e
}

// friction of the output where it stands.
func (d *drive) friction() float64 {
	p := d.p
	f := p.Coulomb_Nm
	if p.Spot_Nm > 0 {
		x := (d.output_rad/p.Travel_rad - p.SpotAt) / (p.SpotWidth / 2)
		f += p.Spot_Nm * math.Exp(-x*x/2)
	}
	return f
}

// load is the torque against the motor that turns in a direction, and whether a
// flank carries the output that way.
func (d *drive) load(dir, external, friction float64) (torque_Nm float64, carries bool) {
	p := d.p
	half := p.Play_rad / 2
	gap := d.motor_rad - d.output_rad
	const near = 1e-9
	if carries = d.idle_rad <= 0 && (dir > 0 && gap >= half-near || dir < 0 && gap <= -half+near || math.Abs(external) > friction); !carries {
		return 0, false
	}
	t := dir*external + friction
	if t < 0 {
		return t * max(0, 2-1/p.Efficiency) / p.Ratio, true
	}
	return t / (p.Ratio * p.Efficiency), true
}

// step drives the motor with the share u of volt for dt seconds.
func (d *drive) step(dt, u, volt float64) {
	p := d.p
	j := p.Inertia_kgm2
	tau, damp := p.K_Vs*u*volt/p.Winding_Ohm, p.MotorViscous+p.K_Vs*p.K_Vs/p.Winding_Ohm
	limited := false
	if i := (u*volt - p.K_Vs*d.speed_rad_s) / p.Winding_Ohm; u != 0 && math.Abs(i) > p.Limit_A && i*u > 0 {
		limited = true
		tau, damp = p.K_Vs*math.Copysign(p.Limit_A, i), p.MotorViscous
	}
	external, friction := d.external(d.carried_rad_s), d.friction()
	against := func(dir float64) float64 {
		t, _ := d.load(dir, external, friction)
		return p.MotorCoulomb_Nm + t
	}
	before := d.speed_rad_s
	w := before
	switch {
	case w > 0:
		w = max(0, (w+dt/j*(tau-against(1)))/(1+dt*damp/j))
	case w < 0:
		w = min(0, (w+dt/j*(tau+against(-1)))/(1+dt*damp/j))
	default:
		if up := tau - against(1); up > 0 {
			w = dt / j * up / (1 + dt*damp/j)
		} else if down := -tau - against(-1); down > 0 {
			w = -dt / j * down / (1 + dt*damp/j)
		}
	}
	d.speed_rad_s = w
	if limited {
		d.current_A = math.Copysign(p.Limit_A, u)
	} else {
		d.current_A = (u*volt - p.K_Vs*(before+w)/2) / p.Winding_Ohm
	}
	if d.idle_rad > 0 && math.Abs(external) > friction { // nothing holds the output against its spring
		d.output_rad -= math.Copysign(fall_rad_s*dt, external)
	}
	was := d.output_rad
	d.carry(w*dt/p.Ratio, external, friction)
	d.carried_rad_s = (d.output_rad - was) / dt
}

// fall_rad_s is how fast a flap falls that no tooth holds (chosen).
const fall_rad_s = 5

// carry moves the output by what the motor turned.
func (d *drive) carry(by, external, friction float64) {
	if by == 0 {
		return
	}
	p := d.p
	if d.idle_rad > 0 { // missing teeth: the motor turns, the output stands
		d.idle_rad -= math.Abs(by)
		return
	}
	d.motor_rad += by
	was := d.output_rad
	half := p.Play_rad / 2
	switch gap := d.motor_rad - d.output_rad; {
	case external > friction, external >= -friction && gap > half:
		d.output_rad = d.motor_rad - half
	case external < -friction, gap < -half:
		d.output_rad = d.motor_rad + half
	}
	for _, at := range p.Weak {
		x := at * p.Travel_rad
		if (was < x) != (d.output_rad < x) {
			d.idle_rad = p.Tooth * p.Travel_rad
			d.skips++
		}
	}
	// Under too much load a tooth jumps: the output springs back by a tooth.
	if p.Skip_Nm > 0 && math.Abs(external)+friction > p.Skip_Nm && math.Abs(external) > friction {
		back := math.Copysign(p.Tooth*p.Travel_rad, external)
		d.motor_rad -= back
		d.output_rad -= back
		d.skips++
	}
}
