package ntc

import (
	"errors"
	"fmt"
	"math"
)

var (
	// ErrOpen marks a thermistor that is not connected, or broken.
	ErrOpen = errors.New("the thermistor is open")
	// ErrShorted marks a thermistor, or its wires, with a short.
	ErrShorted = errors.New("the thermistor is shorted")
	// ErrReference marks a divider without its reference.
	ErrReference = errors.New("the divider has no reference voltage")
)

// What counts as a temperature unless a sensor says otherwise: what probes
// for coolant are built for and the benches see (chosen). A resistance beyond
// means a broken probe, not a colder or hotter one.
const (
	Lowest_C  = -50
	Highest_C = 150
)

// Sensor is a thermistor with the divider that it lies in.
type Sensor struct {
	Law       Law
	Fixed_Ohm float64 // the resistor in series
	// High says that the thermistor lies between reference and tap, and the
	// fixed resistor from there to ground; else it is the other way round.
	High                bool
	Lowest_C, Highest_C float64 // both 0: -50 and 150
	Tolerance           Tolerance

	low_Ohm, high_Ohm float64 // of the highest and the lowest temperature
}

// Tolerance is how far off the parts may be: at most, each taken as the half
// width of a uniform distribution (GUM 4.3.7), so divided by √3. Zero leaves
// a part out.
type Tolerance struct {
	R25     float64 // relative, of the resistance at 25 °C
	B       float64 // relative, of the law's slope
	Fixed   float64 // relative
	Offset  float64 // V, of the converter at the tap against that at the reference
	Celsius float64 // of what the law itself leaves, and of the probe's contact
}

// New checks a sensor and makes it ready.
func New(s Sensor) (*Sensor, error) {
	if s.Law == nil {
		return nil, errors.New("ntc: no law: give R25 and B, or the four terms, of the thermistor's data sheet")
	}
	if err := s.Law.Check(); err != nil {
		return nil, err
	}
	if !(s.Fixed_Ohm > 0) || math.IsInf(s.Fixed_Ohm, 0) {
		return nil, fmt.Errorf("ntc: fixed resistor of %g Ω: it must be above zero", s.Fixed_Ohm)
	}
	t := s.Tolerance
	for _, v := range [...]float64{t.R25, t.B, t.Fixed, t.Offset, t.Celsius} {
		if !(v >= 0 && v < 100) {
			return nil, fmt.Errorf("ntc: tolerance of %g: give relative ones, such as 0.01 for 1 %%", v)
		}
	}
	if s.Lowest_C == 0 && s.Highest_C == 0 {
		s.Lowest_C, s.Highest_C = Lowest_C, Highest_C
	}
	s.high_Ohm, s.low_Ohm = Ohm(s.Law, s.Lowest_C), Ohm(s.Law, s.Highest_C)
	if !(s.low_Ohm < s.high_Ohm) {
		return nil, fmt.Errorf("ntc: the law gives no resistance for %g to %g °C: narrow the range, or check its constants", s.Lowest_C, s.Highest_C)
	}
	for x := math.Log(s.low_Ohm); x <= math.Log(s.high_Ohm); x += 0.05 {
		if !(s.Law.Slope(math.Exp(x)) < 0) {
			return nil, fmt.Errorf("ntc: the law bends back at %.3g Ω, within %g to %g °C: check its constants, their signs and powers of ten", math.Exp(x), s.Lowest_C, s.Highest_C)
		}
	}
	return &s, nil
}

// Reading is one temperature.
type Reading struct {
	Celsius, Ohm float64
	Uncertainty  float64 // standard uncertainty in K, from the tolerances
}

// Read takes the voltage at the tap and the reference, both against ground.
func (s *Sensor) Read(tap_V, reference_V float64) (Reading, error) {
	if !(reference_V > 0) || math.IsInf(reference_V, 0) || math.IsNaN(tap_V) {
		return Reading{}, fmt.Errorf("ntc: %g V of %g V: %w: check the wire to the reference and its channel in the rig file", tap_V, reference_V, ErrReference)
	}
	own, other := tap_V, reference_V-tap_V // across the thermistor and the fixed resistor
	if s.High {
		own, other = other, own
	}
	ohm := s.Fixed_Ohm * own / other
	switch {
	case other <= 0 || ohm > s.high_Ohm:
		return Reading{}, fmt.Errorf("ntc: %.4g V of %.4g V: %w (or colder than %g °C): check the probe's plug and wires", tap_V, reference_V, ErrOpen, s.Lowest_C)
	case ohm < s.low_Ohm:
		return Reading{}, fmt.Errorf("ntc: %.4g V of %.4g V: %w (or hotter than %g °C): check the probe's plug and wires for a short", tap_V, reference_V, ErrShorted, s.Highest_C)
	}
	return Reading{Celsius: s.Law.Kelvin(ohm) - kelvin, Ohm: ohm, Uncertainty: s.uncertainty(ohm, own, other)}, nil
}

// Celsius is the temperature alone; NaN when there is none.
func (s *Sensor) Celsius(tap_V, reference_V float64) float64 {
	r, err := s.Read(tap_V, reference_V)
	if err != nil {
		return math.NaN()
	}
	return r.Celsius
}

// uncertainty joins the tolerances (GUM 5.1.2). A relative change of R/R25
// moves T by the law's slope; a relative change of B by (25 °C − T)·T/25 °C,
// as 1/T − 1/25 °C goes with 1/B; an offset of the tap moves ln R by
// offset·reference/(own·other).
func (s *Sensor) uncertainty(ohm, own, other float64) float64 {
	t, k := s.Tolerance, s.Law.Kelvin(ohm)
	slope := s.Law.Slope(ohm)
	sum := 0.0
	for _, part := range [...]float64{
		slope * t.R25, slope * t.Fixed, slope * t.Offset * (own + other) / (own * other),
		k * (k/t25 - 1) * t.B, t.Celsius,
	} {
		sum += part * part / 3
	}
	return math.Sqrt(sum)
}
