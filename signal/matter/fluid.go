package matter

import (
	"fmt"
	"math"

	"dutybench/signal/stat"
)

// Glycol is what is mixed into the water.
type Glycol int

// The glycols with published formulas.
const (
	None Glycol = iota
	Ethylene
	Propylene
)

func (g Glycol) String() string {
	switch g {
	case Ethylene:
		return "ethylene glycol"
	case Propylene:
		return "propylene glycol"
	}
	return "water"
}

// pure20 is the density of the pure glycol at 20 °C in kg/m³ (handbook values,
// from memory).
func (g Glycol) pure20() float64 {
	switch g {
	case Ethylene:
		return 1113.5
	case Propylene:
		return 1036.1
	}
	return waterDensity(20)
}

// Most is the largest mass fraction of glycol that is not refused.
const Most = 0.5

// Fluid is water, or glycol in water. The zero value is water. The formulas of
// mixtures do not quite meet that of water: at no glycol at all they would be
// 0.3 % off in density and, from 0 to 40 °C, 5 % in viscosity.
type Fluid struct {
	Glycol Glycol
	// Fraction is the mass of glycol in the mass of all, 0 to Most.
	Fraction float64
}

// Water is water without glycol.
var Water = Fluid{}

// ByVolume is a mixture of so many parts of glycol in all by volume, measured
// before mixing at 20 °C. What mixing makes the volume shrink (a per cent at
// most) does not enter.
func ByVolume(g Glycol, fraction float64) Fluid {
	if g == None || fraction == 0 {
		return Fluid{}
	}
	mass := fraction * g.pure20()
	return Fluid{Glycol: g, Fraction: mass / (mass + (1-fraction)*waterDensity(20))}
}

// mixed says that there is glycol in the water.
func (f Fluid) mixed() bool { return f.Glycol != None && f.Fraction != 0 }

func (f Fluid) String() string {
	if !f.mixed() {
		return None.String()
	}
	return fmt.Sprintf("%.3g %% %v by mass in water", 100*f.Fraction, f.Glycol)
}

// Range is where density and viscosity are known.
func (f Fluid) Range() Range {
	if f.mixed() {
		return cold
	}
	return liquid
}

// Density is in kg/m³.
func (f Fluid) Density(celsius float64) (stat.Quantity, error) {
	if err := f.check(celsius); err != nil {
		return stat.Quantity{}, err
	}
	if !f.mixed() {
		return stat.Quantity{Value: waterDensity(celsius)}.With("published formula", densityU, 0), nil
	}
	return formula(mixtures[f.Glycol].density.at(f.Fraction, celsius), mixedDensityU), nil
}

// Viscosity is the dynamic viscosity in Pa·s.
func (f Fluid) Viscosity(celsius float64) (stat.Quantity, error) {
	if err := f.check(celsius); err != nil {
		return stat.Quantity{}, err
	}
	if !f.mixed() {
		return formula(waterViscosity(celsius), viscosityU), nil
	}
	return formula(1e-3*math.Exp(mixtures[f.Glycol].viscosity.at(f.Fraction, celsius)), mixedViscosityU), nil
}

func (f Fluid) check(celsius float64) error {
	if f.Glycol < None || f.Glycol > Propylene {
		return fmt.Errorf("matter: glycol number %d is not known; use ethylene or propylene glycol", int(f.Glycol))
	}
	if !(f.Fraction >= 0 && f.Fraction <= Most) {
		return fmt.Errorf("matter: a mass fraction of %g of %v is outside the published formula; use 0 to %g", f.Fraction, f.Glycol, Most)
	}
	if f.Glycol == None && f.Fraction != 0 {
		return fmt.Errorf("matter: a mass fraction of %g of no glycol; name the glycol", f.Fraction)
	}
	return f.Range().check(celsius, f.String())
}
