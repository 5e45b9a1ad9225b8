package incomer

import "math"

type state int

const (
	booting state = iota
	resting
	waking
	trying
	pausing
	running
	latched
)

// board is the unit's own controller.
type board struct {
	*unit
	state  state
	in_s   float64 // time in this state, by the board's clock
	tried  int     // tries since the command came
	phase  float64 // electrical, of a try, in turns
	demand float64 // slewed, part of full
	sum    float64 // integral of the speed loop, A
	resets int     // left before the start, see resets
	out_s  float64 // left of a drop-out
	next   int     // drop-out to come
	run_s  float64
}

func newBoard(u *unit) board { return board{unit: u, resets: u.wrong.resets} }

func (b *board) reset() { b.enter(booting); b.tried = 0 }

func (b *board) enter(s state) {
	b.state, b.in_s = s, 0
	if s != running {
		b.demand, b.sum = 0, 0
	}
}

// wanted is the demand that a duty means, part of full; 0 is stop.
func (b *board) wanted(duty float64) float64 {
	switch {
	case b.wrong.deafFull:
		duty = 100
	case b.wrong.deafOff:
		duty = 0
	}
	start := b.m.plan.start_pct
	if duty < start-1 {
		return 0
	}
	return b.m.lowest + (1-b.m.lowest)*max(0, duty-start)/(100-start)
}

// act is one slice of the board: its own current and the winding's.
func (b *board) act(p *plant, duty, dt float64) (own, motor_A float64) {
	b.in_s += dt * b.clock
	if b.wrong.asleep {
		return b.rest_A, 0
	}
	want := b.wanted(duty)
	if want == 0 && b.state != booting && b.state != resting {
		b.enter(resting)
		b.tried = 0
	}
	switch b.state {
	case booting:
		if b.in_s > b.m.boot_s {
			b.enter(resting)
		}
	case resting:
		if want > 0 {
			b.enter(waking)
		}
		return b.rest_A, 0
	case waking:
		if b.in_s > b.m.wake_s && !b.wrong.idle {
			b.tried++
			b.phase = 0
			b.enter(trying)
		}
	case trying:
		return b.awake_A, b.try(p, dt) * b.fold(p.volt)
	case pausing:
		if b.in_s > b.m.pause_s*math.Pow(b.m.grow, float64(b.tried-1)) {
			b.tried++
			b.phase = 0
			b.enter(trying)
		}
	case running:
		return b.awake_A, b.run(p, want, dt) * b.fold(p.volt)
	}
	return b.awake_A, 0
}

// fold is how much of its current a board still takes when its supply sinks.
func (b *board) fold(volt float64) float64 {
	part := volt / b.m.nominal_V
	return max(0, min(1, (part-0.5)/0.25))
}

// try drives the rotor blindly at the start current until it follows.
func (b *board) try(p *plant, dt float64) float64 {
	b.phase += b.m.force_Hz * dt * b.clock
	i := math.Sqrt((b.try_A - b.awake_A) * b.m.nominal_V * efficiency / p.hot())
	switch {
	case b.resets > 0:
		// The board falls over before it has the rotor.
		if b.in_s > b.wrong.reset_s {
			b.resets--
			b.reset()
			return 0
		}
		return i * math.Sqrt(b.wrong.resetShare)
	case p.omega > 0.22*b.m.full_radps && !b.wrong.open:
		b.enter(running)
		b.demand = 0.3
		if b.m.law != setsVoltage {
			b.demand = p.omega / b.m.full_radps
		}
		b.sum = 0.2 * b.m.full_A() // about what a slow pump needs
	case b.in_s > b.m.try_s:
		b.enter(pausing)
		if b.m.tries > 0 && b.tried >= b.m.tries {
			b.enter(latched)
		}
		return 0
	}
	return i
}

// holding tells that a try has the rotor in its first, still part.
func (b *board) holding() bool {
	return b.state == trying && (b.in_s < 0.3*b.m.try_s || b.wrong.open || b.resets > 0)
}

// shape is the ripple of the bridge's current, as a factor around 1.
func (b *board) shape(p *plant) float64 {
	turn := b.phase - math.Floor(b.phase)
	if b.state == trying {
		if b.wrong.open && turn >= 1./3 && turn < 2./3 {
			return 0 // the transistor that never conducts has two of six steps
		}
		if b.m.sine {
			return 1
		}
		return 1 + b.m.ripple/2*math.Cos(6*2*math.Pi*turn)
	}
	return 1 + b.m.ripple*math.Cos(6*float64(b.m.polePairs)*p.theta)
}

// run is the law of the board at work.
func (b *board) run(p *plant, want, dt float64) float64 {
	slew := dt / b.m.ramp_s
	b.demand += max(-slew, min(slew, want-b.demand))
	b.run_s += dt
	if b.next < len(b.wrong.drops) && b.run_s > b.wrong.drops[b.next].at_s {
		b.out_s = b.wrong.drops[b.next].length_s
		b.next++
	}
	if b.out_s > 0 {
		b.out_s -= dt
		b.demand, b.sum = max(0.3, b.demand-4*slew), b.sum*0.99
		return 0
	}
	r, emf := p.hot(), b.k*p.omega
	most := (p.volt - emf) / r
	i := 0.0
	switch b.m.law {
	case setsVoltage:
		i = (b.gain*b.demand*p.volt - emf) / r
	case holdsSpeed:
		e := b.gain*b.demand*b.m.full_radps - p.omega
		const tau = 0.06
		b.sum = max(0, min(most, b.sum+b.j/b.k/(4*tau*tau)*e*dt))
		i = b.j/b.k/tau*e + b.sum
	case holdsPower:
		full := b.m.power_W - b.m.awake_A*b.m.nominal_V
		i = atPower(b.gain*full*efficiency*math.Pow(b.demand, 2.6), emf, r)
		stiff := b.j / b.k / 0.01
		i = max(i, stiff*(0.45*b.m.full_radps-p.omega))
		i = min(i, stiff*(1.04*b.m.full_radps-p.omega))
	}
	if w := b.wrong.most_W; w > 0 {
		i = min(i, atPower(w*efficiency, emf, r))
	}
	return max(0, min(i, most, 2.5*b.m.full_A()))
}

// atPower is the winding's current at which it takes w watts.
func atPower(w, emf, r float64) float64 {
	return (math.Sqrt(emf*emf+4*r*max(0, w)) - emf) / (2 * r)
}
