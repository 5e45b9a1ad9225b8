package motor

import (
	"fmt"
	"math"
)

// Fault is one that a motor, its leads or its supply can have.
type Fault struct {
	Name, Side, Line string
	Half, Full       string
	Graded           bool
	Inseparable      []string
}

// Causes as they are written.
const (
	electrical = "electrical"
	mechanical = "mechanical"
	wiring     = "wiring"
	bench      = "bench"
)

// Faults lists them. A magnet that has lost flux counts as mechanical: it is
// neither winding nor brushes, and what is mended is the housing with its magnets.
func Faults() []Fault {
	return []Fault{
		{"coil-open", electrical, "one coil of the winding broken, or its joint at the segment", "a joint of twice the coil's resistance", "no connection", true, nil},
		{"coil-shorted", electrical, "turns of one coil shorted in themselves", "a quarter of the coil's turns", "the whole coil", true, []string{"binding"}},
		{"brush-worn", electrical, "brushes worn down: weak pressure, burnt contact", "three times as much contact resistance again, 0.3 V more drop, lifting 15 times a second", "six times, 0.6 V, 60 times a second", true, []string{"lead"}},
		{"dead", electrical, "no current at all: brush hung up or winding open", "there", "there", false, []string{"open-lead"}},
		{"binding", mechanical, "bearings or gear tight all round", "a quarter of the running torque more (five standard deviations)", "half", true, []string{"coil-shorted"}},
		{"tight-spot", mechanical, "tight at one place of the turn", "at it, half of the running torque more", "as much as the running torque", true, nil},
		{"free", mechanical, "turns without what it should drive", "there", "there", false, nil},
		{"blocked", mechanical, "does not turn", "there", "there", false, nil},
		{"stuck-start", mechanical, "sticks at the start, then runs", "for 0.1 s", "for 0.2 s", true, nil},
		{"weak-magnet", mechanical, "magnets have lost flux", "a tenth (five standard deviations)", "a fifth", true, nil},
		{"lead", wiring, "resistance in leads or contacts up to the unit's plug", "a tenth of the winding's", "a fifth", true, nil},
		{"open-lead", wiring, "wire or contact open", "there", "there", false, []string{"dead"}},
		{"supply-limit", bench, "the supply gives no more current than", "0.7 of the start's peak", "0.4 of it", true, nil},
	}
}

// inflict changes the motor by a fault.
func (m *Motor) inflict(fault string, s float64, ohms, share []float64) error {
	if !(s >= 0 && s <= 1) {
		return fmt.Errorf("motor: severity %g: give one from 0 to 1", s)
	}
	p := &m.p
	torque := p.Coulomb_Nm + p.Load_Nm
	switch fault {
	case "", "lead", "supply-limit": // outside, see Outside
	case "coil-open":
		ohms[0] *= 1 + 2*s/(1-s) // endless at 1
	case "coil-shorted":
		gone := s * s
		m.poles = shortedBrake(*p, gone, ohms[0], share[0])
		ohms[0], share[0] = ohms[0]*(1-gone), share[0]*(1-gone)
	case "brush-worn":
		p.Brush_Ohm *= 1 + 6*s
		p.Brush_V += 0.6 * s
		p.Chatter = 0.05 + 0.4*s
		m.lifts = 60 * s * s
	case "dead", "open-lead":
		m.open = true
	case "binding":
		p.Coulomb_Nm += 0.5 * s * torque
	case "tight-spot":
		m.spot_Nm = s * torque
	case "free":
		// Geared parts turn no more either: half of the inertia is the rotor's.
		p.Load_Nm, p.Fan_Nms2, p.J_kgm2 = 0, 0, p.J_kgm2/2
	case "blocked":
		m.blocked = true
	case "stuck-start":
		m.stuck_s = 0.2 * s
	case "weak-magnet":
		for i := range share {
			share[i] *= 1 - 0.2*s
		}
	default:
		return fmt.Errorf("motor: there is no fault %q", fault)
	}
	return nil
}

// shortedBrake is the brake, over a turn, of a part of coil 0 that is shorted in
// itself: its EMF drives a current through its own resistance.
func shortedBrake(p Params, part, coil_Ohm, coil_Vs float64) []float64 {
	out := make([]float64, p.Segments*pointsPerSegment)
	for i := range out {
		e := part * coil_Vs * math.Sin(2*math.Pi*(1-float64(i)/pointsPerSegment)/float64(p.Segments))
		if part > 0 {
			out[i] = e * e / (part * coil_Ohm)
		}
	}
	return out
}

// Outside is what a fault does to the supply before the unit: resistance added, in
// ohms, and the current that it gives at most, in A (0: as it was).
func Outside(p Params, fault string, s, supply_V float64) (ohm, limit_A float64) {
	switch fault {
	case "lead":
		return 0.2 * s * p.R_Ohm, 0
	case "supply-limit":
		return 0, (1 - 0.6*s) * (supply_V - p.Brush_V) / (p.R_Ohm + p.Brush_Ohm + p.Lead_Ohm)
	}
	return 0, 0
}
