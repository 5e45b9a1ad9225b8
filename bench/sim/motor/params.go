package motor

import (
	"fmt"
	"math/rand/v2"
	"slices"
)

// Params are one motor.
type Params struct {
	Size     string
	Segments int     // of the commutator; as many coils
	Brush    float64 // width of a brush, in segments
	Overlap  float64 // of a segment's width, in which a brush hands over
	R_Ohm    float64 // between the brushes at 20 °C, mean over a turn
	L_H      float64
	K_Vs     float64 // mean over a turn, V·s and N·m/A
	Brush_V  float64 // of both brushes
	Brush_Ohm,
	Lead_Ohm float64 // of the contacts, and of what leads to them
	J_kgm2 float64 // rotor and what is coupled
	Coulomb_Nm,
	Viscous_Nms float64 // of its own bearings and brushes
	Load_Nm   float64 // coupled, Coulomb
	Fan_Nms2  float64 // coupled, square of the speed
	Stick     float64 // share by which friction at rest exceeds that in motion
	Ambient_C float64
	Heat_JK   float64 // capacity of the winding
	Cool_WK   float64 // to the housing
	Chatter   float64 // of the contact resistance, relative, as brushes jump

	// Runout is the share of the torque that comes and goes once a turn; Coils are
	// what each differs by, relative: its resistance with its joints, and the flux
	// that it sees, as a winding lies and a rotor stands out of its middle.
	Runout float64
	Coils  []Coil
}

// Coil is what one coil differs by from the mean, relative.
type Coil struct{ Ohm, Flux float64 }

// sizes are the invented types.
var sizes = []Params{
	{ // 12 V, 1.9 A: a small geared drive
		Size: "12v-20w", Segments: 12, Brush: 1.25, Overlap: 0.25, R_Ohm: 0.95, L_H: 0.45e-3, K_Vs: 0.0305, Brush_V: 0.9, Brush_Ohm: 0.06, Lead_Ohm: 0.02,
		J_kgm2: 3e-5, Coulomb_Nm: 0.006, Viscous_Nms: 6e-6, Load_Nm: 0.038, Fan_Nms2: 4e-8, Stick: 0.3, Ambient_C: 22, Heat_JK: 12, Cool_WK: 0.25, Chatter: 0.05},
	{ // 24 V, 5 A, seven segments more than a dozen: twice as many ripples
		Size: "24v-100w", Segments: 11, Brush: 1.3, Overlap: 0.25, R_Ohm: 0.90, L_H: 0.55e-3, K_Vs: 0.055, Brush_V: 1.2, Brush_Ohm: 0.05, Lead_Ohm: 0.02,
		J_kgm2: 1.5e-4, Coulomb_Nm: 0.02, Viscous_Nms: 2e-5, Load_Nm: 0.20, Fan_Nms2: 1.5e-7, Stick: 0.3, Ambient_C: 22, Heat_JK: 45, Cool_WK: 0.6, Chatter: 0.05},
}

// Sizes are the names of the invented types.
func Sizes() (out []string) {
	for _, s := range sizes {
		out = append(out, s.Size)
	}
	return out
}

// Nominal is a motor of a size, as drawn.
func Nominal(size string) (Params, error) {
	i := slices.IndexFunc(sizes, func(p Params) bool { return p.Size == size })
	if i < 0 {
		return Params{}, fmt.Errorf("motor: there is no size %q; there are %v", size, Sizes())
	}
	return sizes[i], nil
}

// Spread between good units, as relative standard deviations (chosen, after what
// makers state as tolerances: resistance and constant 5 to 10 %, friction far more).
const (
	SpreadR     = 0.02
	SpreadK     = 0.02
	SpreadBrush = 0.08
	SpreadOwn   = 0.12 // own friction
	SpreadLoad  = 0.05
	SpreadJ     = 0.03
	SpreadL     = 0.05
	SpreadCoil  = 0.01 // of a coil's resistance
	SpreadFlux  = 0.005
	SpreadRun   = 0.03 // share of the torque once a turn
)

// Draw is a good unit of a size.
func Draw(size string, r *rand.Rand) (Params, error) {
	p, err := Nominal(size)
	if err != nil {
		return p, err
	}
	by := func(v *float64, spread float64) { *v *= 1 + spread*cut(r) }
	by(&p.R_Ohm, SpreadR)
	by(&p.K_Vs, SpreadK)
	by(&p.Brush_V, SpreadBrush)
	by(&p.Brush_Ohm, SpreadBrush)
	by(&p.Coulomb_Nm, SpreadOwn)
	by(&p.Viscous_Nms, SpreadOwn)
	by(&p.Load_Nm, SpreadLoad)
	by(&p.J_kgm2, SpreadJ)
	by(&p.L_H, SpreadL)
	p.Ambient_C += 1.5 * cut(r)
	p.Runout = SpreadRun * cut(r)
	p.Coils = make([]Coil, p.Segments)
	for i := range p.Coils {
		p.Coils[i] = Coil{SpreadCoil * cut(r), SpreadFlux * cut(r)}
	}
	return p, nil
}

// cut is a normal number within three.
func cut(r *rand.Rand) float64 {
	for {
		if z := r.NormFloat64(); z >= -3 && z <= 3 {
			return z
		}
	}
}

// Groups of constants that the simulator chose.
const (
	GroupInductance = "inductance"
	GroupInertia    = "inertia"
	GroupBrush      = "brush"
	GroupFriction   = "friction"
	GroupOverlap    = "overlap"
)

// Perturbations are the groups.
func Perturbations() []string {
	return []string{GroupInductance, GroupInertia, GroupBrush, GroupFriction, GroupOverlap}
}

// Perturbed is the unit with one group of constants changed by a factor.
func (p Params) Perturbed(group string, factor float64) (Params, error) {
	if !(factor > 0) {
		return p, fmt.Errorf("motor: a factor of %g on %s: give one above zero", factor, group)
	}
	switch group {
	case GroupInductance:
		p.L_H *= factor
	case GroupInertia:
		p.J_kgm2 *= factor
	case GroupBrush:
		p.Brush_V, p.Brush_Ohm = p.Brush_V*factor, p.Brush_Ohm*factor
	case GroupFriction:
		p.Coulomb_Nm, p.Viscous_Nms, p.Stick = p.Coulomb_Nm*factor, p.Viscous_Nms*factor, p.Stick*factor
	case GroupOverlap:
		p.Overlap = min(0.9, p.Overlap*factor)
	case "noise": // of the bench's chips
	default:
		return p, fmt.Errorf("motor: there is no group of constants %q; there are %v", group, Perturbations())
	}
	return p, nil
}
