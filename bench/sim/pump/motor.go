package pump

import "math"

// regulator is how a board turns the command into phase current: it regulates
// the speed, or lets the duty set the voltage.
type regulator interface {
	// engage takes over a rotor that turns at speed.
	engage(p *Pump, speed float64)
	// ask moves towards share within dt and returns the phase current that it
	// wants and the greatest share of the plug voltage that it would apply.
	ask(p *Pump, share, dt float64) (want_A, bound float64)
}

// newRegulator returns the regulator of the unit.
func newRegulator(p *Params) regulator {
	if p.Regulation == Voltage {
		return &voltageRegulator{}
	}
	return &speedRegulator{}
}

// speedRegulator is a proportional and integral regulator of the speed.
type speedRegulator struct {
	target   float64 // rad/s, slewed
	integral float64 // A
}

// loop_rad_s is the bandwidth of the speed regulator; chosen.
const loop_rad_s = 150.0

func (r *speedRegulator) engage(p *Pump, speed float64) {
	r.target, r.integral = speed, p.params.Start_A/2
}

func (r *speedRegulator) ask(p *Pump, share, dt float64) (float64, float64) {
	c := &p.params
	goal := c.Min_rad_s + share*(c.Max_rad_s-c.Min_rad_s)
	r.target = slew(r.target, goal, (c.Max_rad_s-c.Min_rad_s)/c.Slew_s*dt)
	want := p.gain * (r.target - p.speed)
	if !p.limited || want < 0 { // at a limit the integral waits
		if r.integral += want * loop_rad_s / 4 * dt; r.integral < 0 {
			r.integral = 0
		} else if r.integral > c.Limit_A {
			r.integral = c.Limit_A
		}
	}
	return want + r.integral, c.MaxShare
}

// unlimited_A is a wish that only limits and voltage bound.
const unlimited_A = 1e9

// voltageRegulator applies a share of the plug voltage.
type voltageRegulator struct{ share float64 }

func (r *voltageRegulator) engage(p *Pump, speed float64) {
	back := p.params.K_Vs*speed + p.winding_Ohm*p.params.Start_A/4
	r.share = clamp01(back / max(p.net.plug_V, 1))
}

func (r *voltageRegulator) ask(p *Pump, share, dt float64) (float64, float64) {
	c := &p.params
	goal := c.MinShare + share*(c.MaxShare-c.MinShare)
	r.share = slew(r.share, goal, (c.MaxShare-c.MinShare)/c.Slew_s*dt)
	return unlimited_A, r.share
}

// slew moves from towards to by at most step.
func slew(from, to, step float64) float64 {
	switch off := to - from; {
	case off > step:
		return from + step
	case off < -step:
		return from - step
	}
	return to
}

// powered is the phase current at which the motor takes watts at the back-EMF:
// the root of R·i² + e·i = P.
func powered(watts, emf, ohm float64) float64 {
	return 2 * watts / (emf + math.Sqrt(emf*emf+4*ohm*watts))
}

// resist is the torque against the turning shaft in N·m, and its slope.
func (p *Pump) resist(speed float64) (torque, slope float64) {
	h := p.hydraulic * speed
	return p.friction + (p.viscous+h)*speed, p.viscous + 2*h
}

// wobble sets the torque's parts for this step: imbalance, rub, unrest.
func (p *Pump) wobble() {
	c := &p.params
	p.hydraulic = c.Hydraulic_Nms2 * (1 + c.Imbalance*sine(p.turns) + p.unrest)
	p.friction = c.Coulomb_Nm
	if c.Rub_Nm > 0 {
		q := (1 + sine(p.turns+0.25)) / 2
		q *= q
		p.friction += c.Rub_Nm * q * q
	}
}

// rubMean is the mean over a turn of ((1+cos)/2)^4: C(8,4)/2^8.
const rubMean = 70.0 / 256

// turn moves the free shaft by dt under the phase current; emf adds k²/R where
// the voltage is held, so that the step stays stable.
func (p *Pump) turn(dt, current_A, emfSlope float64) {
	drive := p.params.K_Vs * current_A
	if p.speed <= 0 {
		if drive <= p.friction+p.stuck_Nm {
			p.speed = 0
			return
		}
		p.stuck_Nm = 0
	}
	torque, slope := p.resist(p.speed)
	p.speed += dt * (drive - torque) / (p.params.Inertia_kgm2 + dt*(slope+emfSlope))
	if p.speed < 0 {
		p.speed = 0
	}
}

// sine is sin(2π·turns) by linear interpolation, within 5e-6.
func sine(turns float64) float64 {
	x := (turns - math.Floor(turns)) * sineSteps
	k := int(x)
	return sines[k] + (sines[k+1]-sines[k])*(x-float64(k))
}

const sineSteps = 1024

var sines = func() (t [sineSteps + 2]float64) {
	for k := range t {
		t[k] = math.Sin(2 * math.Pi * float64(k) / sineSteps)
	}
	return t
}()
