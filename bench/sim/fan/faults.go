package fan

import (
	"fmt"

	"dutybench/bench/sim"
)

// Fault is one that a simulated unit, or the bench under it, can have.
type Fault struct {
	Name, Side, Line string
	Half, Full       string // what severities of 0.5 and 1 mean
	Graded           bool   // at 0.5 it lies close to good units
	Inseparable      []string
}

// Faults lists what New and SourceChange know. Figures are of the size "axial".
//
// What a fan has lost of its wheel is the unit's mechanics: "hydraulic" is a
// loop of liquid that can be unprimed, and air primes itself. What stands in the
// way of the air is the bench's: it is cleared, and the test repeated.
func Faults() []Fault {
	return []Fault{
		{Name: "board-dead", Side: "control-board", Inseparable: []string{"unplugged"},
			Line: "the board does nothing; its capacitor still charges", Half: "a fifth of the quiet current left", Full: "no current"},
		{Name: "no-start", Side: "control-board", Inseparable: []string{"command-lost-off"},
			Line: "the board wakes but never tries to turn the rotor", Half: "no attempt", Full: "no attempt"},
		{Name: "command-lost-full", Side: "control-board",
			Line: "the board does not hear its signal line and runs at full", Half: "deaf, the pull-up still there", Full: "deaf, the pull-up gone too"},
		{Name: "command-lost-off", Side: "control-board", Inseparable: []string{"no-start"},
			Line: "the board does not hear its signal line and stays off", Half: "deaf, the pull-up still there", Full: "deaf, the pull-up gone too"},
		{Name: "open-phase", Side: "control-board",
			Line: "one phase is open: two of six commutation steps carry no current, attempts fail", Half: "20 % of the current left in those steps", Full: "none"},
		{Name: "power-limit", Side: "control-board", Graded: true,
			Line: "the board limits the power below what full speed needs", Half: "20 % below", Full: "50 % below"},
		{Name: "bearing-drag", Side: "mechanical", Graded: true, Inseparable: []string{"blade-rub"},
			Line: "the bearing binds: more friction at every speed", Half: "friction torque doubled", Full: "5 times"},
		{Name: "blade-rub", Side: "mechanical", Graded: true, Inseparable: []string{"bearing-drag"},
			Line: "a blade rubs on its ring once a turn", Half: "mean as much as the friction, all of it once a turn", Full: "4 times as much"},
		{Name: "rotor-seized", Side: "mechanical",
			Line: "the rotor is stuck: attempts of equal length, then the board gives up", Half: "breaks away at 3.5 times the start torque", Full: "at 5.5 times"},
		{Name: "blades-lost", Side: "mechanical", Graded: true, Inseparable: []string{"hub-slips", "blocked-air"},
			Line: "blades are broken off: less air, and what is left hangs to one side", Half: "a seventh of the air's torque, 15 g at 0.1 m", Full: "half of it, 50 g"},
		{Name: "hub-slips", Side: "mechanical", Inseparable: []string{"blades-lost"},
			Line: "the wheel turns on its shaft or is gone: hardly any air", Half: "30 % of the air's torque left", Full: "3 % left"},
		{Name: "blocked-air", Side: "bench", Graded: true, Inseparable: []string{"blades-lost", "hub-slips"},
			Line: "something stands in the way of the air, or it blows back", Half: "axial: 15 % more torque of the air; radial: 25 % less", Full: "axial: 40 % more; radial: 70 % less"},
		{Name: "line-resistance", Side: "wiring", Graded: true,
			Line: "a bad contact in the supply leads", Half: "0.06 Ω more", Full: "0.25 Ω more"},
		{Name: "supply-limit", Side: "bench", Graded: true,
			Line: "the supply reaches its current limit below the unit's full current", Half: "15 % below", Full: "40 % below"},
		{Name: "unplugged", Side: "wiring", Inseparable: []string{"board-dead"},
			Line: "the plug is not in: no charge, no current, no pull-up", Half: "no contact", Full: "no contact"},
	}
}

// defect is what a fault does beyond changing the unit's parameters.
type defect struct {
	dead, noStart, deafFull, deafOff, unplugged, noPullUp bool
	quiet                                                 float64 // factor on the board's own current
	open                                                  float64 // share of the current that an open phase lacks
	stuck_Nm                                              float64
	rub_Nm                                                float64 // mean of a rub; its peak is where the blade touches
}

// grade is the strength at a severity: straight from 0 to half at 0.5, and from
// there to full at 1.
func grade(severity, half, full float64) float64 {
	if severity <= 0.5 {
		return 2 * severity * half
	}
	return half + (2*severity-1)*(full-half)
}

const gravity = 9.81 // m/s²

// damage applies the fault to the parameters and returns the rest of it.
func damage(p Params, fault string, s float64) (Params, defect, error) {
	d := defect{quiet: 1}
	if !(s >= 0 && s <= 1) {
		return p, d, fmt.Errorf("fan: severity %v of fault %q lies outside 0 to 1", s, fault)
	}
	switch fault {
	case "", "line-resistance", "supply-limit": // those of the source: see SourceChange
	case "board-dead":
		d.dead, d.quiet = true, 0.4*(1-s)
	case "no-start":
		d.noStart = true
	case "command-lost-full":
		d.deafFull, d.noPullUp = true, s > 0.9
	case "command-lost-off":
		d.deafOff, d.noPullUp = true, s > 0.9
	case "open-phase":
		d.open = 0.6 + 0.4*s
	case "power-limit":
		full := p.Steady(1, p.Nominal_V)
		watts := full.Phase_A * (p.Winding_Ohm*full.Phase_A + p.K_Vs*full.Speed_rad_s)
		if s > 0 {
			p.Limit_W = watts * (1 - grade(s, 0.2, 0.5))
		}
	case "bearing-drag":
		p.Coulomb_Nm *= 1 + grade(s, 1, 4)
	case "blade-rub":
		d.rub_Nm = p.Coulomb_Nm * grade(s, 1, 4)
	case "rotor-seized":
		d.stuck_Nm = p.K_Vs * p.Start_A * (1.5 + 4*s)
	case "blades-lost":
		p.Air_Nms2 *= 1 - grade(s, 1.0/7, 0.5)
		p.Turn_Nm += gravity * 0.1 * grade(s, 0.015, 0.050)
	case "hub-slips":
		p.Air_Nms2 *= 0.57 - 0.54*s
		p.Inertia_kgm2 *= 0.5 - 0.2*s
	case "blocked-air":
		if p.Radial {
			p.Air_Nms2 *= 1 - grade(s, 0.25, 0.7)
		} else {
			p.Air_Nms2 *= 1 + grade(s, 0.15, 0.4)
		}
	case "unplugged":
		d.unplugged = true
	default:
		return p, d, fmt.Errorf("fan: there is no fault %q; Faults lists them", fault)
	}
	return p, d, nil
}

// SourceChange is what the fault does to the source under the good unit p.
func SourceChange(p Params, fault string, severity float64, src sim.Source) sim.Source {
	s := min(max(severity, 0), 1)
	switch {
	case s == 0:
	case fault == "line-resistance":
		src.Ohm += grade(s, 0.06, 0.25)
	case fault == "supply-limit":
		limit := p.Steady(1, p.Nominal_V).Supply_A * (1 - grade(s, 0.15, 0.4))
		if src.Limit_A == 0 || limit < src.Limit_A {
			src.Limit_A = limit
		}
	}
	return src
}
