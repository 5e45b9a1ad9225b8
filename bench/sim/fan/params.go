package fan

import (
	"fmt"
	"math/rand/v2"
)

// Params is one unit, in SI units; torque of the air at 20 °C and 1013.25 hPa.
type Params struct {
	Size      string
	Nominal_V float64
	Radial    bool // a blower; else the air goes along the shaft

	// Line, in shares of a period: off up to Stop, on above Start, least speed up
	// to From, full from To; below Low and above High nothing is heard.
	Low, Stop, Start, From, To, High float64
	Inverted                         bool // the low share of a period counts
	MinHz, MaxHz                     float64
	PullUp_Ohm                       float64 // to the supply; 0: none
	Missing                          Missing

	Boot_s, Wake_s, Align_s, Ramp_s, Verify_s, Rest_s float64
	Slew_s                                            float64 // from least to full
	Attempts                                          int     // then it latches off

	Capacitor_F, Quiet_A, Efficiency float64
	On_V, Off_V                      float64 // works from On_V until below Off_V
	Start_A, Limit_A, Limit_W        float64 // of the phase; into the motor
	ByVoltage                        bool    // the duty sets the voltage, else the speed
	Least, Full                      float64 // rad/s, or shares of the supply
	Ripple                           float64 // of commutation, over the motor's current

	PolePairs                         int
	K_Vs, Winding_Ohm, Inertia_kgm2   float64 // of both phases that conduct
	Coulomb_Nm, Viscous_Nms, Air_Nms2 float64
	Turn_Nm                           float64 // amplitude once a turn
	HandOver_rad_s                    float64 // end of the ramp
	Room_C, Room_Pa                   float64
}

// Missing says which ways of losing the command make it run at full; after so
// long in any of them.
type Missing struct {
	Open, Low, High, Wrong bool
	After_s                float64
}

// Density of the room's air over that at 20 °C and 1013.25 hPa, by the gas law.
func (p Params) Density() float64 {
	return p.Room_Pa / 101325 * 293.15 / (p.Room_C + 273.15)
}

// Sizes lists the sizes: an axial fan of about 150 W whose board regulates the
// speed, and a blower of about 90 W whose duty sets the voltage. Both invented.
func Sizes() []string { return []string{"axial", "radial"} }

// Nominal returns the parameters of the size's middle unit.
func Nominal(size string) (Params, error) {
	p := Params{
		Size: size, Nominal_V: 13.5,
		Low: 0.03, Stop: 0.08, Start: 0.10, From: 0.12, To: 0.92, High: 0.97,
		MinHz: 90, MaxHz: 110, PullUp_Ohm: 10e3,
		Missing: Missing{Open: true, Low: true, High: true, Wrong: true, After_s: 0.6},
		Boot_s:  0.08, Wake_s: 0.15, Align_s: 0.35, Ramp_s: 0.8, Verify_s: 0.2, Rest_s: 1.2, Slew_s: 2.5, Attempts: 4,
		On_V: 8, Off_V: 6.5, Ripple: 0.12, Room_C: 20, Room_Pa: 101325,
	}
	switch size {
	case "axial":
		p.Capacitor_F, p.Quiet_A, p.Efficiency = 1500e-6, 0.070, 0.94
		p.Start_A, p.Limit_A, p.Limit_W = 14, 26, 175
		p.Least, p.Full = 70, 272
		p.PolePairs, p.K_Vs, p.Winding_Ohm, p.Inertia_kgm2 = 3, 0.036, 0.07, 8e-4
		p.Coulomb_Nm, p.Viscous_Nms, p.Air_Nms2, p.Turn_Nm = 0.012, 4e-5, 5.6e-6, 0.002
		p.HandOver_rad_s = 45
	case "radial":
		p.Radial, p.ByVoltage = true, true
		p.Capacitor_F, p.Quiet_A, p.Efficiency = 1000e-6, 0.050, 0.92
		p.Start_A, p.Limit_A, p.Limit_W = 9, 16, 115
		p.Least, p.Full = 0.25, 0.93
		p.PolePairs, p.K_Vs, p.Winding_Ohm, p.Inertia_kgm2 = 2, 0.030, 0.16, 3e-4
		p.Coulomb_Nm, p.Viscous_Nms, p.Air_Nms2, p.Turn_Nm = 0.007, 1.5e-5, 1.35e-6, 0.001
		p.HandOver_rad_s = 50
	default:
		return Params{}, fmt.Errorf("fan: there is no size %q; take one of %v", size, Sizes())
	}
	return p, nil
}

// Relative standard deviations from unit to unit, all chosen: what ordinary
// tolerances of magnets, wire, bearings and moulded blades would give.
const (
	spreadK       = 0.015
	spreadWinding = 0.03
	spreadCoulomb = 0.15
	spreadViscous = 0.12
	spreadAir     = 0.02
	spreadQuiet   = 0.08
	spreadBridge  = 0.01
	spreadFarad   = 0.10
	spreadClock   = 0.03 // one oscillator for all delays
	spreadSpeed   = 0.004
	spreadLimit   = 0.04
	spreadInertia = 0.05
	spreadRipple  = 0.15
	spreadTurn    = 0.30
)

// Draw draws one good unit of the size; the same source gives the same unit.
func Draw(size string, rng *rand.Rand) (Params, error) {
	p, err := Nominal(size)
	if err != nil {
		return p, err
	}
	vary := func(sd float64, values ...*float64) {
		z := rng.NormFloat64()
		for z < -3 || z > 3 { // it would not have left the factory
			z = rng.NormFloat64()
		}
		for _, v := range values {
			*v *= 1 + sd*z
		}
	}
	vary(spreadK, &p.K_Vs)
	vary(spreadWinding, &p.Winding_Ohm)
	vary(spreadCoulomb, &p.Coulomb_Nm)
	vary(spreadViscous, &p.Viscous_Nms)
	vary(spreadAir, &p.Air_Nms2)
	vary(spreadQuiet, &p.Quiet_A)
	vary(spreadBridge, &p.Efficiency)
	vary(spreadFarad, &p.Capacitor_F)
	vary(spreadClock, &p.Boot_s, &p.Wake_s, &p.Align_s, &p.Ramp_s, &p.Verify_s, &p.Rest_s, &p.Slew_s, &p.Missing.After_s)
	vary(spreadSpeed, &p.Least, &p.Full)
	vary(spreadLimit, &p.Start_A, &p.Limit_A, &p.Limit_W)
	vary(spreadInertia, &p.Inertia_kgm2)
	vary(spreadRipple, &p.Ripple)
	vary(spreadTurn, &p.Turn_Nm)
	return p, nil
}

// The groups of constants that Perturbed changes: chosen here, known of no real
// unit; nothing that judges may rest on them.
const (
	RetryTiming = "retry timing"
	RampTiming  = "ramp"
	RippleGroup = "ripple"
	FrictionLaw = "friction law" // how much of the friction grows with speed
	NoiseGroup  = "noise"        // the bench's chips; nothing in the unit
)

// Perturbations lists the groups.
func Perturbations() []string {
	return []string{RetryTiming, RampTiming, RippleGroup, FrictionLaw, NoiseGroup}
}

// Perturbed is the unit with the constants of a group times factor, above 0.
// The friction law keeps the friction at half speed.
func (p Params) Perturbed(name string, factor float64) (Params, error) {
	if !(factor > 0 && factor <= 100) {
		return p, fmt.Errorf("fan: factor %v of %q: give one above 0, at most 100", factor, name)
	}
	times := func(values ...*float64) {
		for _, v := range values {
			*v *= factor
		}
	}
	switch name {
	case RetryTiming:
		times(&p.Verify_s, &p.Rest_s, &p.Wake_s)
	case RampTiming:
		times(&p.Ramp_s, &p.Align_s, &p.Slew_s)
	case RippleGroup:
		times(&p.Ripple)
	case FrictionLaw:
		w := p.Steady(1, p.Nominal_V).Speed_rad_s / 2
		all := p.Coulomb_Nm + p.Viscous_Nms*w
		ratio := factor * p.Viscous_Nms * w / p.Coulomb_Nm
		p.Coulomb_Nm = all / (1 + ratio)
		p.Viscous_Nms = all * ratio / (1 + ratio) / w
	case NoiseGroup:
	default:
		return p, fmt.Errorf("fan: there is no group %q; take one of %v", name, Perturbations())
	}
	return p, nil
}
