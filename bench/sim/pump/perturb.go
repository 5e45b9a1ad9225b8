package pump

import (
	"fmt"
	"strings"
)

// The groups of constants that Perturbed changes. None of them is known of any
// real unit: they were chosen here, and nothing that judges may rest on them.
const (
	RetryTiming = "retry timing" // how long a board waits, tries and rests
	RampTiming  = "ramp"         // how long it aligns, ramps and slews
	RippleGroup = "ripple"       // of the commutation in the supply current
	FrictionLaw = "friction law" // how much of the friction grows with speed
	NoiseGroup  = "noise"        // the flow's unrest; the bench's chips have their own
)

// Perturbations lists the groups.
func Perturbations() []string {
	return []string{RetryTiming, RampTiming, RippleGroup, FrictionLaw, NoiseGroup}
}

// Perturbed is the unit with the constants of a group times factor, above 0.
// The friction law keeps the unit's friction torque at the middle of its speed
// range and multiplies the ratio of its viscous to its Coulomb part there.
func (p Params) Perturbed(name string, factor float64) (Params, error) {
	if !(factor > 0 && factor <= 100) {
		return p, fmt.Errorf("pump: factor %v of %q: give one above 0, at most 100", factor, name)
	}
	switch name {
	case RetryTiming:
		times(factor, &p.Verify_s, &p.Rest_s, &p.Wake_s)
	case RampTiming:
		times(factor, &p.Ramp_s, &p.Align_s, &p.Slew_s)
	case RippleGroup:
		p.Ripple *= factor
	case FrictionLaw:
		w := p.middle_rad_s()
		all := p.Coulomb_Nm + p.Viscous_Nms*w
		ratio := factor * p.Viscous_Nms * w / p.Coulomb_Nm
		p.Coulomb_Nm = all / (1 + ratio)
		p.Viscous_Nms = (all - p.Coulomb_Nm) / w
	case NoiseGroup:
		p.Unrest *= factor
	default:
		return p, fmt.Errorf("pump: there is no group of constants %q; take one of: %s", name, strings.Join(Perturbations(), ", "))
	}
	return p, nil
}

func times(factor float64, values ...*float64) {
	for _, v := range values {
		*v *= factor
	}
}

// middle_rad_s is the speed halfway between least and full.
func (p Params) middle_rad_s() float64 {
	return (p.Steady(0, p.Nominal_V, p.Water_C, p.Water_C).Speed_rad_s +
		p.Steady(1, p.Nominal_V, p.Water_C, p.Water_C).Speed_rad_s) / 2
}
