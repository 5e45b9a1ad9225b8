package pump

import (
	"fmt"
	"math"

	"dutybench/bench/sim"
)

// Fault is one that a simulated unit, or the bench under it, can have.
type Fault struct {
	Name   string
	Side   string // the cause that a right verdict names
	Line   string // what it is, in one line
	Half   string // what a severity of 0.5 means, in physical units
	Full   string // what a severity of 1 means
	Graded bool   // at 0.5 it lies close to good units
	// Inseparable names the faults from which supply current alone cannot
	// always tell it.
	Inseparable []string
}

// defect is what a fault does beyond changing the unit's parameters.
type defect struct {
	dead, noStart, deafFull, deafOff bool
	reversed, unplugged, noPullUp    bool

	quiet       float64 // factor on the board's own current
	extra_A     float64 // drawn beside it
	carried     float64 // share of a good unit's flow at its speed
	open        float64 // share of the current that an open phase lacks
	dropEvery_s float64 // mean time between drop-outs; 0: none
	wakeUps     int     // in vain before a start
	leak_S      float64 // conductance across the input
	diode_Ohm   float64 // of the path backwards through the board
	stuck_Nm    float64 // stiction of the rotor at rest
	loosens     bool    // stiction gives way with each attempt
}

// Times and factors of faults, all chosen.
const (
	dropLength_s = 0.12 // mean; from half to one and a half of it
	loosening    = 0.8  // of the stiction that an attempt leaves
)

// grade is the strength at a severity: a straight line from 0 to half at 0.5,
// and from there to full at 1.
func grade(severity, half, full float64) float64 {
	if severity <= 0.5 {
		return 2 * severity * half
	}
	return half + (2*severity-1)*(full-half)
}

// The strengths of graded faults. At the half they move the most affected
// steady current by at most about five standard deviations of good units;
// TestGradedFaultsAtHalf measures it.
const (
	dragHalf, dragFull       = 0.85, 4.0  // extra Coulomb torque over the unit's own
	rubHalf, rubFull         = 3.05, 10.0 // peak of the rub over the unit's Coulomb torque
	gasHalf, gasFull         = 0.17, 0.85 // share of the water that bubbles displace
	dryDragHalf, dryDragFull = 0.35, 1.50 // extra Coulomb torque of a badly lubricated bearing
	unrestHalf, unrestFull   = 0.06, 0.25 // standard deviation of the flow's unrest
	shutHalf, shutFull       = 0.15, 0.45 // share of the hydraulic torque that is lost
	powerHalf, powerFull     = 0.14, 0.50 // of the unit's full power that the limit takes away
	limitHalf, limitFull     = 0.13, 0.30 // of the unit's full current that the supply does not give
	leadHalf, leadFull       = 0.08, 0.40 // ohm
	dropHalf, dropFull       = 6.0, 1.2   // mean seconds between drop-outs
)

// Where the board sets the voltage, units differ more from one another and the
// speed gives way under a load, so the same number of standard deviations
// takes a stronger fault.
const (
	voltageFriction  = 1.17
	voltageHydraulic = 1.75
	voltagePower     = 1.35
)

// damage applies the fault to the parameters and returns the rest of it.
func damage(c Params, fault string, severity float64) (Params, defect, error) {
	d := defect{quiet: 1, diode_Ohm: 0.05, carried: 1}
	if !(severity >= 0 && severity <= 1) {
		return c, d, fmt.Errorf("pump: severity %v of fault %q lies outside 0 to 1", severity, fault)
	}
	s := severity
	start := c.K_Vs * c.Start_A
	friction, hydraulic, power := 1.0, 1.0, 1.0
	if c.Regulation == Voltage {
		friction, hydraulic, power = voltageFriction, voltageHydraulic, voltagePower
	}
	switch fault {
	case "", "line-resistance", "supply-limit": // those of the source: see SourceChange
	case "board-dead":
		d.dead, d.quiet = true, 1-0.8*s // something always empties the capacitor
	case "no-start":
		d.noStart, d.extra_A = true, 0.2*s*c.Quiet_A
	case "open-phase":
		d.open = 0.6 + 0.4*s
	case "command-lost-full":
		d.deafFull, d.noPullUp = true, s > 0.9
	case "command-lost-off":
		d.deafOff, d.noPullUp = true, s > 0.9
	case "power-limit":
		full := c.Steady(1, c.Nominal_V, c.Water_C, c.Water_C)
		watts := (full.Supply_A - c.Quiet_A) * c.Nominal_V * c.Efficiency
		if s > 0 {
			c.Limit_W = watts * (1 - grade(s, powerHalf*power, powerFull))
		}
	case "drop-outs":
		if s > 0 {
			d.dropEvery_s = dropHalf * math.Pow(dropFull/dropHalf, 2*s-1)
		}
	case "input-short":
		d.leak_S = 1 / (0.03 * math.Pow(100, 1-s))
	case "late-start":
		d.wakeUps = int(math.Ceil(4 * s))
	case "rotor-seized":
		d.stuck_Nm = start * (1.5 + 4*s)
	case "drag":
		c.Coulomb_Nm *= 1 + grade(s, dragHalf*friction, dragFull)
	case "rub":
		c.Rub_Nm = c.Coulomb_Nm * grade(s, rubHalf*friction, rubFull)
	case "sticky-start":
		n := max(1, int(math.Round((2*s-1)*float64(c.Attempts-1))))
		d.loosens = true
		d.stuck_Nm = start * 1.01 * math.Pow(1/loosening, float64(n-1))
	case "dry-loop":
		c.Hydraulic_Nms2 *= 1 - grade(s, gasHalf*hydraulic, gasFull)
		c.Coulomb_Nm *= 1 + grade(s, dryDragHalf*friction, dryDragFull)
		c.Unrest += grade(s, unrestHalf, unrestFull)
		d.carried = 1 - grade(s, gasHalf, gasFull)
	case "impeller-lost":
		c.Hydraulic_Nms2 *= 0.45 - 0.42*s
		c.Inertia_kgm2 *= 0.8 - 0.2*s
		c.Imbalance = 0
		d.carried = 0.1 * (1 - s) // a wheel that slips, or none; chosen
	case "blocked-outlet":
		c.Hydraulic_Nms2 *= 1 - grade(s, shutHalf*hydraulic, shutFull)
		d.carried = 1 - s // shut at 1; chosen
	case "reversed":
		d.reversed, d.diode_Ohm = true, 0.05*(2-s)
	case "unplugged":
		d.unplugged = true
	default:
		return c, d, fmt.Errorf("pump: there is no fault %q; Faults lists them", fault)
	}
	return c, d, nil
}

// drawDrop draws the time until the next drop-out.
func (p *Pump) drawDrop() float64 { return p.defect.dropEvery_s * (0.2 + 0.8*p.rng.ExpFloat64()) }

// SourceChange is what the fault does to the source under the good unit c: a
// bad lead adds resistance, a weak supply limits below the unit's full
// current. Other faults leave the source as it is; "unplugged" sits in the
// unit that New returns, which then draws nothing and shows the open voltage.
func SourceChange(c Params, fault string, severity float64, src sim.Source) sim.Source {
	s := clamp01(severity)
	switch fault {
	case "line-resistance":
		src.Ohm += grade(s, leadHalf, leadFull)
	case "supply-limit":
		if s == 0 {
			break
		}
		full := c.Steady(1, c.Nominal_V, c.Water_C, c.Water_C).Supply_A
		half := limitHalf
		if c.Regulation == Voltage {
			half *= voltagePower
		}
		limit := full * (1 - grade(s, half, limitFull))
		if src.Limit_A == 0 || limit < src.Limit_A {
			src.Limit_A = limit
		}
	}
	return src
}
