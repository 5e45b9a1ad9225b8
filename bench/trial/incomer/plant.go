package incomer

import "math"

const (
	efficiency = 0.95
	slice_s    = 0.00025 // of the integration: below every time constant
	inrush_s   = 0.003   // before a source's limit acts
	inrush_Ohm = 0.3     // least resistance of the charging path
	warm_s     = 60.0
	follow     = 0.7 // part of the torque that pulls the right way in a blind try
)

// plant is the state of rotor, winding, capacitor and source.
type plant struct {
	*unit
	board board

	omega, theta float64
	volt, amp    float64 // at the terminals; from the source
	motor_A      float64 // in the winding
	plain_A      float64 // into the bridge, without ripple
	warm_K       float64
	air          float64 // part of the water's place that air has
	on_s         float64 // since the supply was switched on
}

func newPlant(u *unit) *plant {
	return &plant{unit: u, theta: u.phase, board: newBoard(u)}
}

// advance takes one slice of time with the duty at the plug.
func (p *plant) advance(on bool, duty, dt float64) {
	w := &p.wrong
	p.motor_A, p.plain_A = 0, 0
	load, leak := 0.0, 0.0 // A; S beside it
	if !on {
		p.on_s = 0
		p.board.reset()
	} else {
		p.on_s += dt
	}
	switch {
	case w.cut:
	case w.short_Ohm > 0:
		leak = 1 / w.short_Ohm
	case w.diode:
		// Two diodes of the bridge in a row, from memory about 0.8 V.
		if p.volt > 0.8 {
			leak = p.m.full_A() / (0.04 * p.m.nominal_V)
			load = -0.8 * leak
		}
	case p.volt > 0.4*p.m.nominal_V:
		own, i := p.board.act(p, duty, dt)
		load = own
		if i > 0 {
			m := min(1, (p.k*p.omega+p.hot()*i)/p.volt)
			p.motor_A, p.plain_A = i, i*m/efficiency
			load += p.plain_A * p.board.shape(p)
		}
	default:
		p.board.reset()
		load = p.volt * p.rest_A / p.m.nominal_V
	}
	p.turn(dt)
	p.feed(on, load, leak, dt)
	heat := p.motor_A * p.m.nominal_V / (p.m.power_W * 1.1)
	p.warm_K += (14*heat*heat - p.warm_K) * dt / warm_s
}

// hot is the winding's resistance as warm as it is; copper, 0.39 % a kelvin.
func (p *plant) hot() float64 { return p.r_Ohm * (1 + 0.0039*p.warm_K) }

// turn moves the rotor.
func (p *plant) turn(dt float64) {
	drive := p.k * p.motor_A
	if p.board.state == trying {
		drive *= follow
	}
	if p.wrong.stuck(p.board.tried) || p.board.holding() || p.omega == 0 && drive <= p.c {
		p.omega = 0
		return
	}
	press := 0.5 + 0.5*math.Cos(p.theta)
	press *= press
	drag := p.c + p.b*(1-0.004*p.warm_K)*p.omega + p.h*(1-p.air)*p.omega*p.omega +
		p.u*math.Cos(p.theta) + p.rub*press*press
	p.omega = max(0, p.omega+(drive-drag)/p.j*dt)
	p.theta = math.Mod(p.theta+p.omega*dt, 2*math.Pi*12)
}

// feed charges the capacitor from the source; resistor and leak are taken
// implicitly.
func (p *plant) feed(on bool, load, leak, dt float64) {
	if !on || p.wrong.cut {
		p.amp = 0
		p.volt = max(0, p.volt-load/p.cap_F*dt) / (1 + leak/p.cap_F*dt)
		if p.wrong.cut && on {
			p.volt = p.e_V // the bench's end of the leads
		}
		return
	}
	r, limit := p.source_Ohm+p.wrong.lead_Ohm, p.limit_A
	if p.on_s <= inrush_s {
		r, limit = max(r, inrush_Ohm), math.Inf(1)
	}
	g := p.cap_F / dt
	v := (g*p.volt + p.e_V/r - load) / (g + 1/r + leak)
	i := (p.e_V - v) / r
	if i > limit {
		i, v = limit, (g*p.volt+limit-load)/(g+leak)
	}
	p.amp, p.volt = max(0, i), max(0, v)
}
