package solenoid

import (
	"fmt"
	"math"
	"math/rand/v2"
)

// hurt is what a fault does beside parameters.
type hurt struct {
	open     bool
	short_S  float64 // conductance of shorted turns, referred to the others
	stuckOut bool    // never leaves its rest
	stuckIn  bool    // stands at the pole
	latches  bool    // stays there once it has come
}

// What graded faults do at a severity of 0.5 and of 1; in between and below in
// equal ratios, at 0 nothing. The texts in faultlist.go say the same.
const (
	shortHalf, shortFull   = 0.06, 0.25    // share of the turns
	jointHalf, jointFull   = 0.08, 0.6     // of the winding's resistance
	slowHalf, slowFull     = 0.4, 8.0      // of the spring's preload a metre per second; a tenth of it as friction
	springHalf, springFull = 0.16, 1.0     // share of the force lost
	wornHalf, wornFull     = 0.09, 0.45    // of the stroke, longer
	dirtHalf, dirtFull     = 0.12e-3, 1e-3 // m, between plunger and pole
)

// grade is half at a severity of 0.5, full at 1, in equal ratios, and fades to
// nothing below the half in proportion.
func grade(severity, half, full float64) float64 {
	if severity < 0.5 {
		return half * 2 * severity
	}
	return half * math.Pow(full/half, 2*severity-1)
}

// damage is the unit with a fault.
func damage(p Params, fault string, severity float64, seed uint64) (h hurt, _ Params, err error) {
	if !(severity >= 0 && severity <= 1) {
		return h, p, fmt.Errorf("solenoid: severity %v: give one from 0 to 1", severity)
	}
	switch fault {
	case "", lineResistance, supplyLimit: // those of the source: see the socket
	case coilOpen, connectorOpen:
		h.open = true
	case shortedTurns:
		if s := grade(severity, shortHalf, shortFull); s > 0 {
			h.short_S = s / ((1 - s) * (1 - s) * p.Ohm)
			p.Ohm *= 1 - s
			p.turns(1 - s)
		}
	case coilJoint:
		p.Joint_Ohm += p.Ohm * grade(severity, jointHalf, jointFull)
	case stuckClosed:
		h.stuckOut = true
	case stuckOpen:
		// Stuck from the first, or once it has gone in: as chance has it.
		h.stuckIn = rand.New(rand.NewPCG(seed, 0x737475636b)).IntN(2) == 0
		h.latches = true
	case slow:
		// What binds takes force, and more of it the faster it moves.
		x := grade(severity, slowHalf, slowFull)
		p.Viscous_Nsm += x * p.Preload_N
		p.Coulomb_N += x / 10 * p.Preload_N / 4
	case springWeak:
		left := 1 - grade(severity, springHalf, springFull)
		p.Preload_N *= left
		p.Rate_N_m *= left
	case wornStroke:
		p.Stroke_m *= 1 + grade(severity, wornHalf, wornFull)
	case shortStroke:
		dirt := min(grade(severity, dirtHalf, dirtFull), 0.8*p.Stroke_m)
		p.Gap_m += dirt
		p.Stroke_m -= dirt
	default:
		return h, p, fmt.Errorf("solenoid: no fault %q; Faults lists those there are", fault)
	}
	return h, p, nil
}

// SourceChange is what a fault does to the supply before the unit: ohm more in
// the leads, and the limit of the supply as a share of the unit's full current,
// 0 for none.
func SourceChange(fault string, severity float64) (ohm, limit float64) {
	switch {
	case !(severity > 0):
	case fault == lineResistance:
		ohm = grade(severity, leadHalf_Ohm, leadFull_Ohm)
	case fault == supplyLimit:
		limit = 1 - grade(severity, limitHalf, limitFull)
	}
	return ohm, limit
}
