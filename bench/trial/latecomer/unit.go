package latecomer

import (
	"math"
	"math/rand/v2"
)

// unit is one unit in its loop on its bench. Its faults are fields too.
type unit struct {
	kVs, rOhm, switching float64 // V·s (and N·m/A), Ω at ambient, share of V·i
	dryNm, shearNms      float64 // friction at 22 °C
	waterNms2            float64 // at the best point of the curve
	loop                 float64 // resistance of the loop, see meet
	inertia              float64 // kg·m²
	speedGain            float64 // of the board; its full power in W where it regulates power
	sleepA, awakeA       float64
	openV, sourceOhm     float64 // the bench's supply
	ambientC             float64
	startA, pace         float64 // motor current of a start; the board's clock
	rippleShare          float64
	capF                 float64
	inductor             bool

	fault      boardFault
	limitW     float64 // 0: none
	rubNm      float64 // once a turn, mean and amplitude
	stickTries int     // tries that fail before the rotor comes loose
	seized     bool
	water      float64 // factor on what the water takes
	unsteady   float64 // relative wander of it
	limitA     float64 // of the supply; 0: none
	path       pathFault

	load float64 // waterNms2 at the loop's point; set by settle
}

// settle works out what follows from the other fields.
func (u *unit) settle() *unit {
	u.load = u.waterNms2 * loaded(u.loop) * u.water
	return u
}

// draw is a good unit on some day.
func (m *Model) draw(rng *rand.Rand) *unit {
	u := m.mid
	by := func(v *float64, part float64) {
		*v *= 1 + part*min(max(rng.NormFloat64(), -2.5), 2.5)
	}
	by(&u.kVs, 0.015)
	by(&u.rOhm, 0.025)
	by(&u.dryNm, 0.12)
	by(&u.shearNms, 0.12)
	by(&u.waterNms2, 0.02)
	by(&u.loop, 0.03)
	by(&u.speedGain, 0.005)
	by(&u.sleepA, 0.06)
	by(&u.awakeA, 0.04)
	by(&u.openV, 0.002)
	by(&u.startA, 0.03)
	by(&u.pace, 0.02)
	by(&u.rippleShare, 0.1)
	by(&u.capF, 0.08)
	u.ambientC += 2.5 * rng.NormFloat64()
	return u.settle()
}

// The temperature laws; see the package comment.
func (u *unit) copper(windingC float64) float64 {
	return u.rOhm * (235 + windingC) / (235 + 22)
}
func (u *unit) magnet(windingC float64) float64 { return u.kVs * (1 - 0.002*(windingC-22)) }
func (u *unit) shear(filmC float64) float64     { return u.shearNms * math.Exp(-0.02*(filmC-22)) }

// stribeckRadS is over which speed dry friction falls to its running value;
// chosen, far below any running speed.
const stribeckRadS = 15

// reach is the share of the supply that a bridge can give the motor.
const reach = 0.96

// terminal is the voltage at the unit that draws power beside a steady
// current. Where there is no root it is half the open voltage: more cannot be
// carried.
func (u *unit) terminal(restA, powerW float64) float64 {
	e := u.openV - u.sourceOhm*restA
	d := e*e - 4*u.sourceOhm*powerW
	if d <= 0 {
		return e / 2
	}
	return (e + math.Sqrt(d)) / 2
}

// share is the command as a share of the range, 0 for a unit at rest.
func (m *Model) share(duty float64) float64 {
	b := m.board
	if duty < b.onDuty {
		return 0
	}
	return b.lowest + (b.fullAt-b.lowest)*min((duty-b.onDuty)/(100-b.onDuty), 1)
}

// Limits of speed of a board that regulates power, as shares of the full speed;
// the lower holds at the lowest duties. Chosen.
const powerLowest, powerHighest = 0.55, 1.06

// steady solves the balance with all states at rest and everything at ambient:
// supply current, voltage and speed.
func (m *Model) steady(u *unit, duty float64) (currentA, supplyV, radS float64) {
	k, r, b := u.magnet(u.ambientC), u.copper(u.ambientC), u.shear(u.ambientC)
	dry := u.dryNm + u.rubNm
	motor := func(w float64) float64 { return (dry + b*w + u.load*w*w) / k }
	power := func(w, v float64) float64 { i := motor(w); return k*w*i + r*i*i + u.switching*v*i }
	// highest is the speed up to which a rising function stays below a bound.
	highest := func(f func(w float64) float64, bound float64) float64 {
		low, high := 0.0, 3*m.fullRadS
		for range 40 {
			if mid := (low + high) / 2; f(mid) < bound {
				low = mid
			} else {
				high = mid
			}
		}
		return low
	}
	volts := func(w float64) float64 { return k*w + r*motor(w) }
	at := func(v float64) (amp, w float64) {
		watts := func(w float64) float64 { return power(w, v) }
		share := m.share(duty)
		switch m.law {
		case bySpeed:
			w = share * m.fullRadS * u.speedGain
		case byVoltage:
			w = highest(volts, share*v)
		case byPower:
			w = highest(watts, share*u.speedGain)
			w = min(max(w, powerLowest*m.fullRadS), powerHighest*m.fullRadS)
		}
		w = min(w, highest(volts, reach*v))
		if u.limitW > 0 {
			w = min(w, highest(watts, u.limitW))
		}
		return u.awakeA + watts(w)/v, w
	}
	v := u.openV
	for range 7 {
		currentA, radS = at(v)
		v = u.terminal(u.awakeA, (currentA-u.awakeA)*v)
	}
	return currentA, v, radS
}
