package positioner

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"dutybench/bench/sim"
)

// defect is what a fault does beside changing parameters.
type defect struct {
	dead, deaf, noPullUp  bool
	wiperOpen, outputOpen bool
	motorOpen, unplugged  bool
}

// grade is a quantity that is nought in a good unit: in proportion up to
// severity 0.5, then geometric up to full.
func grade(severity, half, full float64) float64 {
	if severity <= 0.5 {
		return 2 * severity * half
	}
	return half * math.Pow(full/half, 2*severity-1)
}

// damage changes a unit by a fault; places are drawn.
func damage(p Params, fault string, severity float64, rng *rand.Rand) (Params, defect, error) {
	var d defect
	if fault == "" || fault == "line-resistance" || fault == "supply-limit" {
		return p, d, nil
	}
	if !slices.ContainsFunc(Faults(), func(f Fault) bool { return f.Name == fault }) {
		return p, d, fmt.Errorf("positioner: there is no fault %q", fault)
	}
	if !(severity >= 0 && severity <= 1) {
		return p, d, fmt.Errorf("positioner: severity %v: give one from 0 to 1", severity)
	}
	if severity == 0 {
		return p, d, nil
	}
	severe := severity > 0.75
	at := 0.2 + 0.6*rng.Float64() // a place away from the ends
	switch fault {
	case "board-dead":
		d.dead = true
		if severe {
			p.Quiet_A = 0
		}
	case "board-deaf":
		d.deaf, d.noPullUp = true, severe
	case "board-weak":
		slower := grade(severity, 0.10, 0.70)
		p.Most *= 1 - slower
		p.Least = min(p.Least, p.Most)
		p.Limit_A *= 1 - slower/1.4
	case "track-worn":
		p.WornAt, p.WornWidth = at, 0.06
		p.WornNoise = grade(severity, 0.01, 0.04)
		p.WornOpen = max(0, 0.6*(severity-0.5))
	case "feedback-open":
		d.outputOpen, d.wiperOpen = true, severe
	case "travel-short":
		p.StopHigh -= grade(severity, 0.025, 0.60)
	case "stop-missing":
		p.StopLow -= grade(severity, 0.025, 0.50)
	case "gear-skipping":
		p.Tooth, p.Weak = 0.05, []float64{at}
		if severe {
			p.Weak = []float64{0.15, 0.3, 0.42, 0.55, 0.7, 0.85}
			p.Skip_Nm = p.Coulomb_Nm + p.SpringAt0_Nm + p.Spring_Nm + 0.3*p.stall_Nm()
		}
	case "gear-stripped":
		p.Weak, p.Tooth = []float64{}, math.Inf(1)
		p.MotorCoulomb_Nm *= 1.3
		if severe {
			p.MotorCoulomb_Nm /= 1.3
		}
	case "jammed":
		width := 0.06
		if severe {
			width = 0.002
		}
		p.StopLow, p.StopHigh = at-width/2, at+width/2
	case "binding-spot":
		p.SpotAt, p.Spot_Nm = at, grade(severity, 0.6, 6)*p.load_Nm()
	case "binding":
		p.Coulomb_Nm += grade(severity, 0.65, 3.5) * p.load_Nm()
	case "backlash":
		p.Play_rad += grade(severity, 0.025, 0.12) * p.Travel_rad
	case "motor-open":
		if d.motorOpen = severe; !severe {
			p.Winding_Ohm += 40 * p.Winding_Ohm / 11
		}
	case "return-open":
		d.outputOpen = true
	case "unplugged":
		d.unplugged = true
	}
	return p, d, nil
}

// load_Nm is a middle torque at the output.
func (p Params) load_Nm() float64 { return p.Coulomb_Nm + p.SpringAt0_Nm/2 + p.Spring_Nm/4 }

// stall_Nm is what the board's current limit gives at the output.
func (p Params) stall_Nm() float64 { return p.Limit_A * p.K_Vs * p.Ratio * p.Efficiency }

// moving_A is about what the unit draws while it moves upwards.
func (p Params) moving_A() float64 {
	torque := p.MotorCoulomb_Nm + (p.Coulomb_Nm+p.SpringAt0_Nm+p.Spring_Nm/2)/(p.Ratio*p.Efficiency)
	return p.Quiet_A + torque/p.K_Vs
}

// SourceChange is what a fault outside the unit does to the source.
func SourceChange(p Params, fault string, severity float64, src sim.Source) sim.Source {
	switch fault {
	case "line-resistance":
		src.Ohm += grade(severity, 4, 20) * 0.08 / (p.moving_A() - p.Quiet_A)
	case "supply-limit":
		src.Limit_A = p.moving_A() * (1 - grade(severity, 0.2, 0.6))
	}
	return src
}
