package outsider

import "math"

// Phases of a board.
const (
	unpowered = iota
	booting
	asleep
	waking
	awake
	aligning
	ramping
	running
	resting
	latched
)

// hears is the duty that the board makes of the command.
func (u *state) hears(duty float64) float64 {
	switch {
	case u.ill.deafOff >= 1:
		return 0
	case u.ill.deafFull >= 1:
		return 100
	case duty < u.board.runDuty:
		return duty
	}
	duty += u.ill.deafFull * (100 - duty)
	return duty * (1 - u.ill.deafOff)
}

func (u *state) enter(phase int) { u.phase, u.since = phase, 0 }

// control is one step of the board: its phase, and from that the quiet
// current and how it drives the bridge.
func (u *state) control(dt, duty float64) {
	b := &u.board
	u.since += dt
	u.drive, u.mod, u.amps = false, 0, 0
	if u.volt < b.minV {
		u.phase, u.quiet = unpowered, pick(u.volt > 2, b.sleepA*u.volt/u.nominal, 0)
		return
	}
	d := u.hears(duty)
	want := d >= b.runDuty && !u.ill.mute
	u.drop(want)
	u.quiet = b.awakeA
	switch u.phase {
	case unpowered:
		u.tries, u.pause = 0, b.rest
		u.enter(booting)
	case booting:
		u.quiet = pick(u.ill.mute, b.sleepA, b.awakeA)
		if u.since >= b.boot {
			u.enter(asleep)
		}
	case asleep:
		u.quiet = b.sleepA
		if want {
			u.enter(waking)
		}
	case waking:
		u.quiet = b.sleepA
		if u.since >= b.wake+u.gap {
			u.gap = 0
			u.enter(awake)
		}
	case awake:
		u.stayAwake(want)
	case aligning, ramping:
		u.attempt(dt, want)
	case running:
		u.closedLoop(dt, d, want)
	case resting:
		if !want {
			u.enter(awake)
		} else if u.since >= u.pause*u.once && u.still() {
			u.begin()
		}
	case latched:
		if !b.latchWake {
			u.quiet = b.sleepA
		}
		if !want {
			u.enter(awake)
		}
	}
}

// stayAwake waits for the first attempt, or for sleep.
func (u *state) stayAwake(want bool) {
	b := &u.board
	switch {
	case !want && u.since > 1:
		u.tries, u.pause = 0, b.rest
		u.enter(asleep)
	case !want || u.ill.idle:
	case u.ill.wakeUps > 0 && u.since >= 0.7*b.ready:
		// Something in its own supply gives way: it starts anew.
		if u.since < 0.7*b.ready+u.ill.blip {
			u.hold(b.startA)
			return
		}
		u.ill.wakeUps--
		u.gap = u.ill.wakeGap
		u.enter(waking)
	case u.since >= b.ready && u.still():
		u.begin()
	}
}

// still tells that the rotor has run down; the board feels its back-EMF.
func (u *state) still() bool { return u.speed < 0.05*u.motor.full }

// begin is a new attempt.
func (u *state) begin() {
	u.tries++
	u.begun++
	u.once = 1
	u.field, u.fieldSpeed = u.turn*u.motor.poles+u.startAngle, 0
	u.enter(aligning)
}

// hold sets the motor current that alignment and ramp regulate.
func (u *state) hold(amps float64) {
	u.drive, u.amps = true, amps*u.conducts(u.field)
}

// conducts is the part of the current that an open or bad phase leaves, with
// the field at an electrical angle: two of six steps, or for a sine drive the
// one direction that still works.
func (u *state) conducts(angle float64) float64 {
	if u.ill.phase == 0 {
		return 1
	}
	left := 1 / (1 + u.ill.phase)
	if u.ill.phaseOpen {
		left = 0
	}
	if u.board.sine {
		c := math.Cos(angle + 2*math.Pi/3*float64(u.ill.pair))
		return left + (1-left)*c*c
	}
	sector := int(math.Floor(angle/(math.Pi/3))) + u.ill.pair
	if (sector%3+3)%3 == 0 {
		return 1
	}
	return left
}

// attempt is alignment and open-loop ramp.
func (u *state) attempt(dt float64, want bool) {
	b := &u.board
	if !want {
		u.enter(awake)
		return
	}
	if u.phase == aligning {
		u.hold(b.startA * min(1, u.since/0.04))
		if u.since >= b.align {
			u.enter(ramping)
		}
		return
	}
	x := u.since / b.ramp
	u.fieldSpeed = b.handOver * x
	u.field += u.fieldSpeed * u.motor.poles * dt
	u.hold(b.startA)
	if x < 1 {
		return
	}
	caught := !u.ill.phaseOpen && math.Abs(u.speed-u.fieldSpeed) < 0.4*u.fieldSpeed
	if !caught {
		u.fail()
		return
	}
	u.fieldSpeed, u.stalled, u.cap = 0, 0, 1
	back := u.motor.k*u.speed + 0.6*b.startA*u.motor.ohm
	u.target = u.speed / u.motor.full
	u.integral = back / u.nominal
	if !b.regulates {
		u.target = back / u.nominal
	}
	u.enter(running)
}

// fail ends an attempt that did not catch the rotor.
func (u *state) fail() {
	u.fieldSpeed = 0
	b := &u.board
	if b.retry == latchOff && u.tries >= b.attempts {
		u.enter(latched)
		return
	}
	if u.tries > 1 {
		u.pause = min(10, u.pause*b.growth)
	}
	u.enter(resting)
}

// closedLoop sets the modulation from duty, by way of speed or directly,
// within the limits of slew, motor current and supply power.
func (u *state) closedLoop(dt, duty float64, want bool) {
	b, o := &u.board, &u.motor
	if !want {
		u.enter(awake)
		return
	}
	x := min(max((duty-b.lowDuty)/(b.topDuty-b.lowDuty), 0), 1)
	goal := b.lowest + (1-b.lowest)*x
	if !b.regulates {
		goal *= b.fullMod
	}
	u.target += min(max(goal-u.target, -b.slew*dt), b.slew*dt)

	over := u.source*u.volt/b.maxW - 1
	u.cap = min(max(u.cap-1.5*over*dt, 0.1), 1)
	ceiling := min(u.cap, (o.k*u.speed+o.ohm*b.maxA)/u.volt, 1)
	if b.regulates {
		e := u.target*o.full - u.speed
		gain := o.k * b.bandwidth / u.nominal
		u.mod = u.integral + gain*u.mechTau*e
		if (u.mod < ceiling || e < 0) && (u.mod > 0 || e > 0) {
			u.integral = max(0, u.integral+gain*e*dt)
		}
		u.integral = min(u.integral, 1)
	} else {
		u.mod = u.target
	}
	u.mod = min(max(u.mod, 0), ceiling)

	u.stalled += dt
	if u.speed > 0.4*b.handOver {
		u.stalled = 0
	}
	if u.stalled > 0.2 {
		u.tries, u.pause = 1, b.rest
		u.fail()
	}
}

// drop is what intermittent drop-outs do to a board at the present time.
func (u *state) drop(want bool) {
	for len(u.ill.drops) > 0 && u.now > u.ill.drops[0].from {
		s := u.ill.drops[0]
		u.ill.drops = u.ill.drops[1:]
		if u.phase != running || !want {
			continue
		}
		length := s.to - s.from
		if u.ill.reset {
			u.gap = length
			u.tries, u.pause = 0, u.board.rest
			u.enter(waking)
		} else {
			u.tries, u.pause = 0, u.board.rest
			u.once = (0.4 + length) / u.pause
			u.enter(resting)
		}
	}
}
