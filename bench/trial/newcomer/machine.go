package newcomer

import "math"

const (
	density   = 1075.0 // kg/m³
	viscosity = 4.0e-3 // Pa·s at 20 °C
	andrade   = 2570.0 // K
	zeroC     = 273.15 // K
	copper    = 0.00393
	cogging   = 0.05 // share of dry friction that goes once a turn, chosen
)

// machine is the constants of one motor with its wheel and its loop, SI units.
type machine struct {
	polePairs float64
	k         float64 // torque per current, and voltage per speed
	ohm       float64 // at 20 °C
	henry     float64
	reach     float64 // most motor voltage per volt of supply
	fade      float64 // relative loss of k per kelvin
	swing     float64 // loss of switching, per volt and ampere
	inertia   float64

	dry      float64 // dry friction, N·m
	stribeck float64 // its rise at standstill, relative
	slide    float64 // speed by which that is gone, rad/s
	hyst     float64 // N·m
	eddy     float64 // N·m·s
	gap      float64 // viscous drag per viscosity, m³

	radius, width, cot, slip float64
	efficiency               float64 // pressure per Euler work
	shock                    float64 // loss in the wheel, Pa/(m³/s)²
	loop                     float64 // loss in the loop, Pa/(m³/s)²
	stir                     float64 // m⁵
	design                   float64 // design flow over ω, m³
	inertance                float64 // Pa·s²/m³
	wheelInertia             float64
}

// ill is what a fault changes in a machine or its loop; the zero value is
// a good one but for slipAt, which is then without limit.
type ill struct {
	drag   float64 // N·m
	thick  float64 // N·m·s
	rub    float64 // mean over a turn, N·m
	void   float64 // share of the water's volume that is air, mean
	empty  float64 // share of the water that is missing
	slipAt float64 // most torque between shaft and wheel, N·m; 0 is no limit
	noDisc float64 // share of disc drag that is lost
	leak   float64 // 1/Ω across the input
	lead   float64 // Ω in the supply path
	cap    float64 // most motor input, W; 0 is no limit
}

// weather is the temperatures of winding and water, °C.
type weather struct{ winding, water float64 }

func mu(celsius float64) float64 {
	return viscosity * math.Exp(andrade*(1/(celsius+zeroC)-1/(20+zeroC)))
}

// hot gives torque constant and resistance at the winding's temperature.
func (m *machine) hot(w weather) (k, ohm float64) {
	return m.k * (1 - m.fade*(w.winding-20)), m.ohm * (1 + copper*(w.winding-20))
}

func (m *machine) outlet() float64 { return 2 * math.Pi * m.radius * m.width }

// pressure is what the wheel gives, less its own loss, in Pa.
func (m *machine) pressure(omega, q float64) float64 {
	u := m.radius * omega
	return density * m.efficiency * (m.slip*u*u - u*q/m.outlet()*m.cot)
}

// flowPerOmega is the settled flow over ω, m³: all terms go with ω², so that
// flow goes with ω.
func (m *machine) flowPerOmega() float64 {
	a := m.loop + m.shock
	b := density * m.efficiency * m.radius * m.cot / m.outlet()
	c := density * m.efficiency * m.slip * m.radius * m.radius
	return 2 * c / (b + math.Sqrt(b*b+4*a*c))
}

// discFactor makes T_disc = factor·ω^1.75, for a viscosity.
func (m *machine) discFactor(mu float64) float64 {
	const gapOverRadius = 0.05 // chosen
	r := m.radius
	return 0.5 * 0.080 * math.Pow(gapOverRadius, -1.0/6) * density * math.Pow(r, 5) * math.Pow(r*r*density/mu, -0.25)
}

// wheel is the torque of wheel and disc on water alone, N·m.
func (m *machine) wheel(omega, q, disc float64) float64 {
	if omega <= 0 {
		return 0
	}
	r := m.radius
	torque := density * q * (m.slip*r*r*omega - r*q/m.outlet()*m.cot)
	if short := 1 - q/(m.design*omega); short > 0 {
		torque += density * m.stir * omega * omega * short * short
	}
	return torque + disc*omega*omega/math.Sqrt(math.Sqrt(omega))
}

// friction is what the rotor takes without the wheel, mean over a turn, N·m.
func (m *machine) friction(omega, mu float64, x *ill) float64 {
	dry := m.dry
	if omega < 4*m.slide {
		s := omega / m.slide
		dry *= 1 + m.stribeck*math.Exp(-s*s)
	}
	return dry + x.drag + x.rub + m.hyst + (mu*m.gap+x.thick+m.eddy)*omega
}

// lid is the most current in the torque axis at a motor voltage, A.
func (m *machine) lid(omega, volt, k, ohm float64) float64 {
	e := k * omega
	if volt <= e {
		return 0
	}
	x := m.polePairs * omega * m.henry
	z := ohm*ohm + x*x
	return (math.Sqrt(max(0, e*e*ohm*ohm+z*(volt*volt-e*e))) - e*ohm) / z
}

// lidPower is the current at a motor input in W, A.
func lidPower(omega, watt, k, ohm float64) float64 {
	e := k * omega
	return 2 * watt / (e + math.Sqrt(e*e+4*ohm*watt))
}
