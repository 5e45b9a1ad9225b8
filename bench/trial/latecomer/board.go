package latecomer

import (
	"math"
	"math/rand/v2"
)

// boardFault and pathFault are what is wrong with the board and with the way
// to it.
type (
	boardFault int
	pathFault  int
)

const (
	boardSound boardFault = iota
	boardDead
	boardLeaks // charges and rests at a fraction of its sleep
	boardMute  // hears the command, never tries
	boardOpenPhase
	boardDeafFull
	boardDeafHalf
	boardDeafOff
	boardDrops
	boardLate // resets before it starts
)

const (
	pathSound pathFault = iota
	pathOpen
	pathShort
	pathReversed
)

// state is what the board is doing.
type state int

const (
	booting state = iota
	asleep
	waking
	aligning
	dragging
	kicking
	running
	resting
	latched
)

// tickS is the step of the balance in seconds.
const tickS = 0.004

// rotor is a unit while it is under supply.
type rotor struct {
	m   *Model
	u   *unit
	rng *rand.Rand

	state     state
	inStateS  float64
	tryS      float64 // since the attempt began
	restS     float64 // of the next rest
	tries     int     // failed ones in a row
	stuck     int     // tries until it comes loose
	resets    int     // still to come before the start
	nextDropS float64

	radS, motorA, powerW float64
	share                float64 // of the range, slewed
	targetRadS           float64 // of a board that regulates power
	windingC, waterC     float64
	wander               float64
	fieldRad             float64 // of a field that turns in vain
}

func newRotor(m *Model, u *unit, rng *rand.Rand) *rotor {
	r := &rotor{m: m, u: u, rng: rng, stuck: u.stickTries, restS: m.board.restS,
		windingC: u.ambientC, waterC: u.ambientC, targetRadS: powerLowest * m.fullRadS}
	if u.fault == boardLate {
		r.resets = 3 + rng.IntN(4)
	}
	r.nextDropS = 2 + 4*rng.Float64()
	return r
}

func (r *rotor) enter(s state) { r.state, r.inStateS = s, 0 }

// heard is the command that arrives in the board's software.
func (r *rotor) heard(duty float64) float64 {
	switch r.u.fault {
	case boardDeafFull:
		return 100
	case boardDeafHalf:
		return 55
	case boardDeafOff, boardLeaks:
		return 0
	}
	return duty
}

// torque is what friction and water take at the present speed.
func (r *rotor) torque() float64 {
	u, w := r.u, r.radS
	dry := (u.dryNm + u.rubNm) * (1 + 0.5*math.Exp(-w/stribeckRadS))
	film := r.waterC + 0.5*(r.windingC-r.waterC)
	return dry + u.shear(film)*w + u.load*max(1+u.unsteady*r.wander, 0.05)*w*w
}

// holds tells that the rotor does not turn, whatever the current.
func (r *rotor) holds() bool {
	u := r.u
	return u.seized || u.fault == boardOpenPhase || r.stuck > r.tries ||
		(r.radS < 1 && u.magnet(r.windingC)*u.startA < r.torque())
}

// tick moves the state machine and the rotor by one step at a terminal
// voltage, and leaves the bridge's power; it returns what the board takes
// besides.
func (r *rotor) tick(duty, volts float64) (boardA float64) {
	b, u := r.m.board, r.u
	duty = r.heard(duty)
	wanted := duty >= b.onDuty
	r.inStateS += tickS
	clock := r.inStateS / u.pace
	r.motorA, r.powerW = 0, 0
	boardA = u.awakeA
	driven := false
	switch r.state {
	case booting:
		boardA = u.awakeA * 0.7
		if clock >= b.bootS {
			r.enter(asleep)
		}
	case asleep:
		boardA = u.sleepA
		if wanted {
			r.enter(waking)
		}
	case waking:
		if !wanted {
			r.enter(asleep)
		} else if clock >= b.wakeS && u.fault != boardMute {
			r.attempt()
		}
	case aligning, dragging, kicking:
		driven = true
		r.try(clock, volts)
	case running:
		driven = r.keep(duty, volts)
	case resting:
		if clock >= r.restS {
			r.restS = r.restS * b.growth
			if b.restMostS > 0 {
				r.restS = min(r.restS, b.restMostS)
			}
			r.attempt()
		}
	case latched:
		boardA = u.sleepA
	}
	if !wanted && r.state > waking {
		r.enter(asleep)
		r.tries, r.restS = 0, b.restS
	}
	if u.fault == boardLeaks {
		boardA = 0.3 * u.sleepA
	}
	if !driven {
		r.coast(0)
	}
	if volts < 0.5*r.m.volts && r.state > booting {
		r.enter(booting)
	}
	r.warm()
	return boardA
}

// attempt begins a try to start.
func (r *rotor) attempt() {
	r.tryS = 0
	if r.m.board.alignS > 0 {
		r.enter(aligning)
	} else {
		r.enter(kicking)
	}
}

// try is the start: a field that stands, then turns and takes the rotor with
// it; or, with sensors, torque until it turns.
func (r *rotor) try(clock, volts float64) {
	b, u := r.m.board, r.u
	r.tryS += tickS
	amp, loose := u.startA, !r.holds()
	handOver := 0.3 * r.m.fullRadS
	field := 0.0
	switch r.state {
	case aligning:
		amp *= min(clock/(0.8*b.alignS), 1)
		r.radS *= 0.93 // a field that stands brakes what still turns
		if clock >= b.alignS {
			r.enter(dragging)
		}
	case dragging:
		field = handOver * min(clock/b.dragS, 1)
		if loose {
			r.radS = field
		}
	case kicking:
		// The sensors see no step: the field stands; a board that cannot turn
		// the rotor shakes it once through all steps.
		field = 25
		amp = min(amp, max((reach*volts-u.magnet(r.windingC)*r.radS)/u.copper(r.windingC), 0))
		if loose {
			r.coast(u.magnet(r.windingC) * amp)
		}
	}
	if u.fault == boardOpenPhase {
		amp *= r.gaps(field * r.m.polePairs * tickS)
	}
	r.motorA = amp
	r.powerW = u.copper(r.windingC)*amp*amp + u.switching*volts*amp
	if r.state == kicking {
		r.powerW += u.magnet(r.windingC) * r.radS * amp
	} else {
		r.powerW += r.torque() * r.radS
	}
	spent := r.tryS / u.pace
	turned := r.radS >= 0.98*handOver
	if r.resets > 0 && (turned || spent > 0.35*b.attemptS) {
		r.resets--
		r.radS = 0
		r.enter(booting)
		return
	}
	if turned {
		r.share, r.targetRadS = r.radS/r.m.fullRadS, max(r.radS, powerLowest*r.m.fullRadS)
		r.tries, r.stuck, r.restS = 0, 0, b.restS
		r.enter(running)
	} else if spent >= b.attemptS {
		r.tries++
		if b.latch > 0 && r.tries >= b.latch {
			r.enter(latched)
		} else {
			r.enter(resting)
		}
	}
}

// gaps turns the field by an angle and gives the effective current on the way,
// as a share of that without a gap.
func (r *rotor) gaps(rad float64) float64 {
	const parts = 8
	sum := 0.0
	for range parts {
		r.fieldRad += rad / parts
		g := r.gap()
		sum += g * g
	}
	return math.Sqrt(sum / parts)
}

// gap is how much current flows while one of three phases is open. Of six
// steps of a block drive the two without that phase carry; of a sine drive the
// two phases left carry what the difference of their commands leaves.
func (r *rotor) gap() float64 {
	angle := math.Mod(r.fieldRad+math.Pi/3, 2*math.Pi)
	if r.m.sixStep {
		if step := int(angle / (math.Pi / 3)); step%3 == 0 {
			return 1
		}
		return 0
	}
	return math.Abs(math.Cos(angle))
}

// keep runs the motor by the board's law and tells whether it drives.
func (r *rotor) keep(duty, volts float64) bool {
	b, u, m := r.m.board, r.u, r.m
	if u.fault == boardDrops {
		r.nextDropS -= tickS
		if r.nextDropS <= 0 {
			r.nextDropS = 1 + 4*r.rng.Float64()
			r.enter(resting)
			r.inStateS = (r.restS - 0.05 - 0.4*r.rng.Float64()) * u.pace
			return false
		}
	}
	step := tickS / b.slewS
	r.share += min(max(m.share(duty)-r.share, -step), step)
	k, ohm := u.magnet(r.windingC), u.copper(r.windingC)
	most := max((reach*volts-k*r.radS)/ohm, 0)
	if u.limitW > 0 {
		e := k*r.radS + u.switching*volts
		most = min(most, (math.Sqrt(e*e+4*ohm*u.limitW)-e)/(2*ohm))
	}
	var amp float64
	switch m.law {
	case byVoltage:
		amp = (r.share*volts - k*r.radS) / ohm
	case bySpeed:
		amp = r.toward(r.share * m.fullRadS * u.speedGain)
	case byPower:
		amp = r.toward(r.targetRadS)
	}
	amp = min(max(amp, 0), most, 2.5*u.startA)
	r.motorA = amp
	r.powerW = k*r.radS*amp + ohm*amp*amp + u.switching*volts*amp
	if m.law == byPower {
		r.targetRadS += m.fullRadS / 0.8 * (r.share*u.speedGain - r.powerW) / u.speedGain * tickS
		r.targetRadS = min(max(r.targetRadS, powerLowest*m.fullRadS), powerHighest*m.fullRadS)
	}
	r.coast(k * amp)
	return true
}

// toward is the motor current of a board that brings the rotor to a speed.
func (r *rotor) toward(radS float64) float64 {
	wanted := (radS - r.radS) / r.m.board.lagS
	return (r.torque() + r.u.inertia*wanted) / r.u.magnet(r.windingC)
}

// coast moves the rotor under a torque of the motor.
func (r *rotor) coast(drive float64) {
	if drive == 0 && r.radS == 0 {
		return
	}
	r.radS = max(r.radS+(drive-r.torque())/r.u.inertia*tickS, 0)
}

// The heat: the winding's time constant and rise at rated current, the water's
// heat capacity and the time constant of the gas in it. All chosen.
const (
	windingS      = 25.0
	windingRiseK  = 12.0
	waterSPerK    = 30.0 // for a kelvin at rated power
	wanderS       = 0.12
	wanderPerTick = 0.254 // √(2·tickS/wanderS)
)

// warm moves the temperatures and the gas in the water.
func (r *rotor) warm() {
	rated := r.u.startA / r.m.board.startShare
	x := r.motorA / rated
	r.windingC += (r.waterC + windingRiseK*x*x - r.windingC) * tickS / windingS
	r.waterC += r.powerW / (r.m.topA.mid * r.m.volts) * tickS / waterSPerK
	if r.u.unsteady > 0 {
		r.wander += -r.wander*tickS/wanderS + wanderPerTick*r.rng.NormFloat64()
		r.wander = min(max(r.wander, -2.5), 2.5)
	}
}
