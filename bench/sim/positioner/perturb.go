package positioner

import (
	"fmt"
	"strings"
)

// The groups of constants that Perturbed changes. None of them is known of any
// real unit: they were chosen here, and nothing that judges may rest on them.
const (
	StallTiming = "stall timing" // how long a board drives without motion, and rests
	LoopGain    = "loop gain"    // of the control loop
	BandGroup   = "dead band"
	FrictionLaw = "friction split" // how much of the friction lies in the motor
	NoiseGroup  = "noise"          // of the track; the bench's chips have their own
)

// Perturbations lists the groups.
func Perturbations() []string {
	return []string{StallTiming, LoopGain, BandGroup, FrictionLaw, NoiseGroup}
}

// Perturbed is the unit with the constants of a group times factor, above 0.
func (p Params) Perturbed(name string, factor float64) (Params, error) {
	if !(factor > 0 && factor <= 100) {
		return p, fmt.Errorf("positioner: factor %v of %q: give one above 0, at most 100", factor, name)
	}
	switch name {
	case StallTiming:
		p.Stall_s *= factor
		p.Rest_s *= factor
	case LoopGain:
		p.Gain *= factor
		p.Integral *= factor
	case BandGroup:
		p.DeadBand *= factor
		p.Inner *= factor
	case FrictionLaw:
		gear := p.Ratio * p.Efficiency
		all := p.MotorCoulomb_Nm + p.Coulomb_Nm/gear
		ratio := factor * p.MotorCoulomb_Nm / (p.Coulomb_Nm / gear)
		p.Coulomb_Nm = all * gear / (1 + ratio)
		p.MotorCoulomb_Nm = all - p.Coulomb_Nm/gear
	case NoiseGroup:
		p.Noise *= factor
	default:
		return p, fmt.Errorf("positioner: there is no group of constants %q; take one of: %s", name, strings.Join(Perturbations(), ", "))
	}
	return p, nil
}
