package ntc

import (
	"fmt"
	"math"
)

// kelvin is 0 °C, and t25 25 °C.
const (
	kelvin = 273.15
	t25    = 298.15
)

// Law is a thermistor's relation of resistance and temperature.
type Law interface {
	// Kelvin is the temperature at a resistance above zero, in ohms.
	Kelvin(ohm float64) float64
	// Slope is dT/d(ln R) there, in kelvin: by how much a relative change of
	// the resistance moves the temperature. It is below zero.
	Slope(ohm float64) float64
	// Middle is the law's resistance of reference, in ohms.
	Middle() float64
	// Check refuses constants that cannot be.
	Check() error
}

// Beta is the beta law.
type Beta struct {
	R25_Ohm float64 // at 25 °C
	B_K     float64
}

// Kelvin implements Law.
func (b Beta) Kelvin(ohm float64) float64 { return 1 / (1/t25 + math.Log(ohm/b.R25_Ohm)/b.B_K) }

// Slope implements Law.
func (b Beta) Slope(ohm float64) float64 {
	t := b.Kelvin(ohm)
	return -t * t / b.B_K
}

// Middle implements Law.
func (b Beta) Middle() float64 { return b.R25_Ohm }

// Check implements Law.
func (b Beta) Check() error {
	if !(b.R25_Ohm > 0 && b.B_K > 0) || math.IsInf(b.R25_Ohm, 0) || math.IsInf(b.B_K, 0) {
		return fmt.Errorf("ntc: thermistor of %g Ω with B of %g K: both must be above zero: take them from its data sheet", b.R25_Ohm, b.B_K)
	}
	return nil
}

// Terms is the four-term law.
type Terms struct {
	R25_Ohm    float64 // what x is relative to
	A, B, C, D float64 // in 1/K
}

func (l Terms) x(ohm float64) float64 { return math.Log(ohm / l.R25_Ohm) }

// Kelvin implements Law.
func (l Terms) Kelvin(ohm float64) float64 {
	x := l.x(ohm)
	return 1 / (l.A + x*(l.B+x*(l.C+x*l.D)))
}

// Slope implements Law.
func (l Terms) Slope(ohm float64) float64 {
	x, t := l.x(ohm), l.Kelvin(ohm)
	return -t * t * (l.B + x*(2*l.C+3*x*l.D))
}

// Middle implements Law.
func (l Terms) Middle() float64 {
	// Where x is relative to 1 Ω, 25 °C is far from there.
	ohm := l.R25_Ohm
	for range 60 {
		off := l.Kelvin(ohm) - t25
		if math.Abs(off) < 1e-6 {
			break
		}
		ohm *= math.Exp(min(max(-off/l.Slope(ohm), -2), 2))
	}
	return ohm
}

// Check implements Law.
func (l Terms) Check() error {
	if !(l.R25_Ohm > 0) || math.IsInf(l.R25_Ohm, 0) {
		return fmt.Errorf("ntc: thermistor of %g Ω: it must be above zero", l.R25_Ohm)
	}
	m := l.Middle()
	if k := l.Kelvin(m); !(math.Abs(k-t25) < 0.01 && m > 1 && m < 1e8) {
		return fmt.Errorf("ntc: terms %g, %g, %g, %g for %g Ω give 25 °C at no resistance from 1 Ω to 100 MΩ: check each against the data sheet, its sign and its power of ten", l.A, l.B, l.C, l.D, l.R25_Ohm)
	}
	return nil
}

// Ohm is the resistance at a temperature in °C: the nearest to the law's
// middle, within a factor of 10⁴ of it; NaN when there is none.
func Ohm(l Law, celsius float64) float64 {
	want := celsius + kelvin
	low := math.Log(l.Middle())
	step := 0.05
	if want > l.Kelvin(math.Exp(low)) {
		step = -step
	}
	far := low + math.Copysign(math.Log(1e4), step)
	beyond := func(x float64) bool {
		k := l.Kelvin(math.Exp(x))
		return step > 0 && k <= want || step < 0 && k >= want
	}
	high := low
	for !beyond(high) {
		if low, high = high, high+step; math.Abs(far-high) < math.Abs(step) || !(l.Kelvin(math.Exp(high)) > 0) {
			return math.NaN()
		}
	}
	for range 60 {
		if mid := (low + high) / 2; beyond(mid) {
			high = mid
		} else {
			low = mid
		}
	}
	return math.Exp((low + high) / 2)
}
