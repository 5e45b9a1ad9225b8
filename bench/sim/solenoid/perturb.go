package solenoid

import (
	"fmt"
	"strings"
)

// The groups of constants that Perturbed changes. None is known of any real
// unit: nothing that judges may rest on them.
const (
	FrictionGroup   = "friction"   // Coulomb and viscous
	EddyGroup       = "eddy"       // resistance of the iron's eddy currents
	SaturationGroup = "saturation" // flux at which the iron saturates
	MassGroup       = "mass"       // of the plunger
	NoiseGroup      = "noise"      // of the bench's chips, which lie outside
)

// Perturbations lists the groups.
func Perturbations() []string {
	return []string{FrictionGroup, EddyGroup, SaturationGroup, MassGroup, NoiseGroup}
}

// Perturbed is the unit with the constants of a group times factor, above 0.
func (p Params) Perturbed(name string, factor float64) (Params, error) {
	if !(factor > 0 && factor <= 100) {
		return p, fmt.Errorf("solenoid: factor %v of %q: give one above 0, at most 100", factor, name)
	}
	switch name {
	case FrictionGroup:
		p.Coulomb_N *= factor
		p.Viscous_Nsm *= factor
	case EddyGroup:
		p.Eddy_Ohm *= factor
	case SaturationGroup:
		p.Saturation_Wb *= factor
	case MassGroup:
		p.Mass_kg *= factor
	case NoiseGroup:
	default:
		return p, fmt.Errorf("solenoid: there is no group of constants %q; take one of: %s", name, strings.Join(Perturbations(), ", "))
	}
	return p, nil
}
