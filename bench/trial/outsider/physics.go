package outsider

import (
	"math"
	"math/rand/v2"
)

const (
	rate     = 2000 // samples a second
	substeps = 2
	step     = 1.0 / (rate * substeps) // s
)

// state is one unit on the bench during one test.
type state struct {
	serial  string
	motor   motor
	board   board
	bench   bench
	ill     ill
	nominal float64

	// Bench of the day.
	gain, offset, gainV, onAt float64

	now float64

	// Supply node.
	volt      float64 // behind the inrush resistance, at the capacitor
	terminal  float64 // at the unit's terminals
	before    float64 // volt one step ago
	source    float64 // A through the shunt
	limiting  float64 // s in limit
	collapsed float64 // s with next to no voltage
	tripped   bool

	// Board.
	phase      int
	since      float64
	quiet      float64
	drive      bool // regulates motor current
	amps       float64
	mod        float64
	tries      int
	begun      int // attempts of the whole test
	pause      float64
	once       float64 // factor on the next rest
	gap        float64
	field      float64 // electrical rad
	fieldSpeed float64 // mechanical rad/s
	startAngle float64
	target     float64
	integral   float64
	cap        float64
	stalled    float64
	mechTau    float64

	// Rotor and loop.
	speed, turn float64
	flow        float64
	warm        float64
	eddies      float64 // coloured noise of the fluid
	bubbles     float64
	slug        float64 // s left of a slug of water
	density     float64
}

// motorPart is the motor current at a supply voltage of 0 and its rise per
// volt, for the present modulation.
func (u *state) motorPart() (at0, perVolt float64) {
	o, b := &u.motor, &u.board
	r := o.ohm * (1 + 0.07*u.warm)
	k := o.k * (1 - 0.01*u.warm)
	g := 1.0
	if u.mod > 0 {
		e := u.turn * o.poles
		f := 6 * o.poles * u.speed / (2 * math.Pi) / u.bench.pickupHz
		c := math.Cos(6 * e)
		g += b.ripple/math.Sqrt(1+f*f)*(c+0.4*(2*c*c-1)) + o.unbalance*math.Cos(u.turn)
		g *= u.conducts(e)
	}
	perVolt = g * u.mod / r
	at0 = -g * k * u.speed / r
	if at0+perVolt*u.volt < 0 { // the bridge does not brake
		return 0, 0
	}
	return at0, perVolt
}

// advance is one step of the whole: control, supply node, rotor, loop.
func (u *state) advance(dt, duty float64, supply bool) {
	o := &u.motor
	u.now += dt
	u.control(dt, duty)

	var i, a, slope float64 // unit current is a + slope·V
	if u.drive {
		i = min(u.amps, max(0, u.volt)/o.ohm)
		lag := math.Sin(u.field - u.turn*o.poles)
		watts := i*i*o.ohm*(1+0.07*u.warm) + o.k*i*u.speed*lag
		a = u.quiet + o.loss*max(0, watts)/max(u.volt, 3)
		most := 0.2 * o.k * i
		torque := o.k*i*lag + min(max(u.damping()*(u.fieldSpeed-u.speed), -most), most)
		u.node(dt, a, 0, supply)
		u.rotor(dt, torque)
		return
	}
	at0, perVolt := u.motorPart()
	a = u.quiet + o.loss*u.mod*at0
	slope = o.loss * u.mod * perVolt
	u.node(dt, a, slope, supply)
	i = max(0, at0+perVolt*u.volt)
	u.rotor(dt, o.k*(1-0.01*u.warm)*i)
}

// damping of the rotor on its field, from losses in iron and can; a fifth of
// critical.
func (u *state) damping() float64 {
	return 0.4 * math.Sqrt(u.motor.inertia*u.motor.k*u.amps/u.motor.poles)
}

// node solves the supply for the next voltage.
func (u *state) node(dt, a, slope float64, supply bool) {
	n, b := &u.bench, &u.board
	e := n.nominalV
	if n.rise > 0 {
		e *= min(1, max(0, u.now-u.onAt)/n.rise)
	}
	off := !supply || u.tripped
	if off {
		e = 0
	}
	if u.ill.unplugged {
		u.source, u.volt, u.terminal = 0, 0, e
		return
	}
	// A short lies across the terminals; without one, next to nothing does.
	short := 1e9
	if u.ill.shortOhm > 0 {
		short = u.ill.shortOhm
	} else if off {
		short = 300 // what discharges it
	}
	inrush := b.inrushOhm
	if u.phase > booting { // a large one is bypassed
		inrush = min(inrush, 0.04)
	}
	divider := short / (short + n.ohm)
	u.solve(dt, a, slope, e*divider, n.ohm*divider, inrush)
	u.source = (e - u.terminal) / n.ohm
	switch {
	case u.source < 0: // the source takes nothing back
		u.undo()
		u.solve(dt, a, slope, 0, short, inrush)
		u.source, u.limiting = 0, 0
	case u.source > n.limitA:
		// The source takes a millisecond to notice.
		if u.limiting += dt; u.limiting > 1e-3 {
			u.undo()
			u.solve(dt, a, slope, n.limitA*short, short, inrush)
			u.source = n.limitA
		}
	default:
		u.limiting = 0
	}
	if u.ill.sourceTrips > 0 && u.limiting > 0 && u.terminal < 3 {
		if u.collapsed += dt; u.collapsed > u.ill.sourceTrips {
			u.tripped = true
		}
	}
}

// solve takes the capacitor one step on from a source of open voltage e and
// resistance r behind the terminals.
func (u *state) solve(dt, a, slope, e, r, inrush float64) {
	c := u.board.farad / dt
	g := 1 / (r + inrush)
	u.before = u.volt
	u.volt = max(0, (c*u.volt+e*g-a)/(c+g+slope))
	u.terminal = u.volt + (e-u.volt)*g*inrush
}

func (u *state) undo() { u.volt = u.before }

// rotor turns the shaft and moves the water.
func (u *state) rotor(dt, torque float64) {
	o := &u.motor
	w := u.speed / o.full
	hyd := o.hydraulic * (o.shutoff*w*math.Abs(w) + (1-o.shutoff)*w*u.flow)
	visc := o.viscous * (1 - 0.08*u.warm) * w
	s := u.speed + dt/o.inertia*(torque-visc-hyd*u.density)
	hold := o.coulomb
	if u.ill.rub > 0 {
		x := 0.5 * (1 + math.Cos(u.turn))
		hold += u.ill.rub * x * x
	}
	if u.ill.sticks >= u.tries && u.ill.sticks > 0 {
		hold = math.Inf(1)
	}
	if u.ill.stuck > 0 {
		hold = max(hold, u.ill.stuck)
	}
	if brake := hold * dt / o.inertia; math.Abs(s) <= brake {
		s = 0
	} else {
		s -= math.Copysign(brake, s)
	}
	u.speed = s
	u.turn += s * dt
	w = max(0, s/o.full)
	q := u.flow / u.ill.opening
	u.flow = max(0, u.flow+dt/o.flowTau*(w*w-q*q))
}

// weather is what changes slowly or at random; once a sample.
func (u *state) weather(rng *rand.Rand) {
	const dt = 1.0 / rate
	o := &u.motor
	x := dt / o.noiseTau
	u.eddies += -x*u.eddies + math.Sqrt(2*x)*rng.NormFloat64()
	u.density = 1 + o.noise*u.eddies
	if u.phase == running {
		u.warm += (1 - u.warm) * dt / o.warmTau
	}
	if u.ill.air == 0 {
		return
	}
	x = dt / u.ill.airTau
	u.bubbles += -x*u.bubbles + math.Sqrt(2*x)*rng.NormFloat64()
	air := u.ill.air * (1 + 0.3*u.bubbles)
	if u.slug > 0 {
		u.slug -= dt
		air *= 0.45
	} else if rng.Float64() < 0.35*dt {
		u.slug = uniform(rng, 0.1, 0.5)
	}
	u.density *= min(1, max(0.03, 1-air))
}
