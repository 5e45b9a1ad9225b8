package newcomer

import "math"

// rule is what the duty asks of the board.
type rule int

const (
	keepsSpeed rule = iota
	setsVoltage
	keepsPower
)

// retry is what the board does after a failed start.
type retry int

const (
	sameRest retry = iota
	longerRest
	latchOff
)

// phase is what the board is doing.
type phase int

const (
	dark phase = iota
	booting
	idle
	aligning
	turningField
	looking
	running
	resting
	latched
)

// board is the constants of a control board, SI units; duties in percent of
// command.
type board struct {
	rule           rule
	sine, sensors  bool
	inverted       bool // the wire runs the other way
	off, low, high float64
	least          float64 // share at low; 1 is at high
	full           float64 // highest speed, rad/s
	floor          float64 // lowest speed over full, where power is kept
	watt           float64 // motor input at full command, where power is kept
	slew           float64 // share per second
	stiff          float64 // bandwidth of the speed loop, rad/s

	start, most         float64 // A: of the field's start, and limit
	alignS, fieldS      float64
	lookS               float64 // until standstill counts
	hand                float64 // rad/s at which the loop takes over
	retry               retry
	restS, growth       float64
	tries               int
	bootA, sleepA       float64
	awakeA              float64
	bootS, wakeS, dozeS float64
	up, down            float64 // V
	farad, henry, esr   float64 // input filter
	ripple              float64 // times that of the back-EMF's cap
	protected           bool    // against reversed supply
}

// share is what the board makes of a command: 0 is stop.
func (b *board) share(duty float64) float64 {
	if duty < b.off {
		return 0
	}
	return b.least + (1-b.least)*clamp((duty-b.low)/(b.high-b.low), 0, 1)
}

// boardIll is what a fault changes in a board.
type boardIll struct {
	dead, noCap bool
	mute        bool // never attempts
	hears       float64
	deaf        bool
	open        bool // a phase
	openAt      int
	resets      int       // left, in the start
	drops       []float64 // times of drop-outs, s
}

// enter changes what the board does.
func (u *unit) enter(p phase) {
	u.phase, u.clock = p, 0
	if p != running && p != turningField {
		u.amps = 0
	}
}

// attempt begins a start.
func (u *unit) attempt() {
	u.lost, u.share, u.aim, u.integral, u.stuckS, u.field = false, 0, u.omega, 0, 0, u.fieldAt
	if u.board.sensors {
		u.share = 0.6 * u.board.least // a kick
		u.enter(running)
		return
	}
	u.enter(aligning)
}

// fail ends an attempt that did not start.
func (u *unit) fail() {
	u.fails++
	u.sticky *= uniform(u.rng, 0.72, 0.84) // every jolt loosens it
	if u.board.retry == latchOff && u.fails >= u.board.tries {
		u.enter(latched)
		return
	}
	u.enter(resting)
}

// rest is the pause before the next attempt, s.
func (u *unit) rest() float64 {
	b := &u.board
	if b.retry != longerRest {
		return b.restS
	}
	s := b.restS
	for i := 1; i < min(u.fails, 5); i++ {
		s *= b.growth
	}
	return s
}

// decide moves the board from phase to phase.
func (u *unit) decide(h, duty float64) {
	b := &u.board
	u.clock += h
	if u.sick.deaf {
		duty = u.sick.hears
	}
	u.want = b.share(duty)
	if u.want > 0 {
		u.askedS += h
	} else {
		u.askedS = 0
	}
	if u.sick.dead || u.volt < b.down {
		if u.phase != dark {
			u.enter(dark)
			u.fails = 0
		}
		return
	}
	u.upset()
	if u.want == 0 && u.phase > idle && (u.phase != latched || u.clock > 1) {
		u.enter(idle)
		u.fails = 0
	}
	switch u.phase {
	case dark:
		if u.volt > b.up {
			u.enter(booting)
		}
	case booting:
		if u.clock > b.bootS+u.holdS {
			u.holdS = 0
			u.enter(idle)
		}
	case idle:
		if u.want > 0 && u.askedS > b.wakeS && !u.sick.mute {
			u.attempt()
		}
	case aligning:
		if u.clock > b.alignS {
			u.enter(turningField)
		}
	case turningField:
		if u.clock > b.fieldS {
			if u.lost {
				u.enter(looking)
			} else {
				u.takeOver()
			}
		}
	case looking:
		if u.clock > b.lookS {
			u.fail()
		}
	case resting:
		if u.clock > u.rest() {
			u.attempt()
		}
	case running:
		u.watch(h)
	}
}

// watch looks for standstill, and for a phase without current.
func (u *unit) watch(h float64) {
	if u.omega < 0.5*u.board.hand || u.sick.open {
		u.stuckS += h
	} else {
		u.stuckS = 0
	}
	if u.stuckS > u.board.lookS {
		u.fail()
	}
}

// upset resets a board that has a fault which does so.
func (u *unit) upset() {
	starting := u.phase == aligning || u.phase == turningField ||
		(u.phase == running && u.board.sensors && u.clock < 0.4)
	if u.sick.resets > 0 && starting && u.clock > u.resetAt {
		u.sick.resets--
		u.resetAt, u.holdS = uniform(u.rng, 0.02, 0.25), uniform(u.rng, 0.1, 0.7)
		u.enter(booting)
	}
	if len(u.sick.drops) > 0 && u.now >= u.sick.drops[0] {
		u.sick.drops = u.sick.drops[1:]
		if u.phase == running {
			u.holdS = uniform(u.rng, 0.03, 0.4)
			u.enter(booting)
		}
	}
}

// takeOver hands the turning rotor to the loop, without a jolt.
func (u *unit) takeOver() {
	b := &u.board
	k, ohm := u.k, u.ohm
	u.amps = u.load / k
	u.integral = u.amps
	switch b.rule {
	case keepsSpeed:
		u.share = u.omega / b.full
	case setsVoltage:
		u.share = (k*u.omega + ohm*u.amps) / (u.made.reach * u.volt)
	case keepsPower:
		u.share, u.aim = b.least, u.omega
	}
	u.enter(running)
}

// drive sets the motor's current, A.
func (u *unit) drive(h float64) {
	b, m := &u.board, &u.made
	switch u.phase {
	case aligning:
		u.amps = b.start * min(1, u.clock/(0.5*b.alignS)) * u.carries()
	case turningField:
		u.field += m.polePairs * b.hand * u.clock / b.fieldS * h
		u.amps = b.start * u.carries()
	case running:
		u.share += clamp(u.want-u.share, -b.slew*h, b.slew*h)
		top := min(b.most, m.lid(u.omega, m.reach*u.modulation()*u.volt, u.k, u.ohm))
		if u.sickM.cap > 0 {
			top = min(top, lidPower(u.omega, u.sickM.cap, u.k, u.ohm))
		}
		u.field = m.polePairs*u.angle + float64(u.fails)*math.Pi/3 // each try at the next step
		u.amps = u.regulate(h, top) * u.carries()
	}
}

func (u *unit) modulation() float64 {
	if u.board.rule == setsVoltage {
		return u.share
	}
	return 1
}

// regulate is the current that the rule asks for, at most top.
func (u *unit) regulate(h, top float64) float64 {
	b := &u.board
	switch b.rule {
	case setsVoltage:
		return top
	case keepsSpeed:
		u.aim = u.share * b.full
	case keepsPower:
		input := u.amps * (u.k*u.omega + u.ohm*u.amps)
		u.aim += h * 2 * b.full * clamp(u.share*b.watt-input, -0.2*b.watt, 0.2*b.watt) / b.watt
		u.aim = clamp(u.aim, b.floor*b.full, min(b.full, u.omega+0.1*b.full))
	}
	gain := b.stiff * u.made.inertia / u.k
	miss := u.aim - u.omega
	i := 2*gain*miss + u.integral
	if (i < top || miss < 0) && (i > 0 || miss > 0) {
		u.integral += h * b.stiff * gain * miss
	}
	return clamp(i, 0, top)
}
