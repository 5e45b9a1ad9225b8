package rig

import (
	"fmt"
	"math"
	"time"

	"periph.io/x/conn/v3/physic"

	"dutybench/bench/chip/ads1115"
	"dutybench/bench/chip/ina226"
)

// Wiring describes a rig: which pins and chips it has and what lies around
// them.
type Wiring struct {
	Bus                         string           // name of the I²C bus
	BusSpeed                    physic.Frequency // as set at boot
	SwitchPin, LinePin, StopPin string           // StopPin may be empty
	Line                        LineDrive

	INA226         uint16 // address
	Shunt          physic.ElectricResistance
	ShuntTolerance float64 // relative, at most
	Conversion     ina226.ConversionTime

	ADS1115 uint16 // address
	// Inputs: the supply at the plug and the line, each behind the divider;
	// the thermistor to ground, with the fixed resistor to the reference.
	SupplyInput, LineInput, ThermistorInput, ReferenceInput ads1115.Mux
	Divider                                                 Divider
	Thermistor                                              Thermistor
}

// Divider is a voltage divider to ground.
type Divider struct {
	Top, Bottom physic.ElectricResistance
	Tolerance   float64 // of each resistor, relative, at most
}

// Ratio is input over output.
func (d Divider) Ratio() float64 { return float64(d.Top+d.Bottom) / float64(d.Bottom) }

// Thermistor follows R = R25·exp(B·(1/T − 1/298.15 K)) (beta law).
type Thermistor struct {
	R25, Fixed physic.ElectricResistance
	Beta_K     float64
}

// Celsius is the temperature for the voltages across the thermistor and
// across it and the fixed resistor; NaN when they cannot be.
func (t Thermistor) Celsius(v, reference float64) float64 {
	if !(v > 0 && v < reference) {
		return math.NaN()
	}
	ratio := v / (reference - v) * float64(t.Fixed) / float64(t.R25)
	return 1/(1/298.15+math.Log(ratio)/t.Beta_K) - 273.15
}

// DefaultWiring is that of the simulated rig.
//
// Its conversion time follows from the bus. At 400 kHz a bit takes 2.5 µs. To
// read a register with its pointer takes 48 bits (start, address, pointer,
// start, address, two bytes, stop), 120 µs; to look at the ready flag again
// takes 29 bits, 72.5 µs; to write a register 38 bits, 95 µs. A sample needs
// the flag and the shunt register, 240 µs, and the converter of the voltages
// one transaction every few samples. 332 µs is the shortest conversion into
// which that fits: 3,012 samples a second with the bus busy for three quarters
// of the time and more. The next shorter, 204 µs, would lose every other conversion.
// A real board adds some 50 µs a transaction and needs 588 µs.
func DefaultWiring() Wiring {
	return Wiring{
		Bus: "1", BusSpeed: 400 * physic.KiloHertz,
		SwitchPin: "SWITCH", LinePin: "LINE", StopPin: "STOP",
		Line:   LineDrive{OpenDrain: true, Inverted: true},
		INA226: ina226.DefaultAddress, Shunt: 2 * physic.MilliOhm, ShuntTolerance: 0.005,
		Conversion:  ina226.Convert332us,
		ADS1115:     ads1115.DefaultAddress,
		SupplyInput: ads1115.Single0, LineInput: ads1115.Single1,
		ThermistorInput: ads1115.Single2, ReferenceInput: ads1115.Single3,
		Divider:    Divider{Top: 100 * physic.KiloOhm, Bottom: 10 * physic.KiloOhm, Tolerance: 0.001},
		Thermistor: Thermistor{R25: 10 * physic.KiloOhm, Fixed: 10 * physic.KiloOhm, Beta_K: 3380},
	}
}

// Check refuses a description that cannot be.
func (w *Wiring) Check() error {
	switch {
	case w.SwitchPin == "" || w.LinePin == "":
		return fmt.Errorf("rig: the description names no pin for the supply switch or the line: add it")
	case w.SwitchPin == w.LinePin || w.SwitchPin == w.StopPin || w.LinePin == w.StopPin:
		return fmt.Errorf("rig: supply switch, line and stop input share a pin (%s, %s, %s): give each its own", w.SwitchPin, w.LinePin, w.StopPin)
	case w.Shunt <= 0 || !(w.ShuntTolerance >= 0 && w.ShuntTolerance < 1):
		return fmt.Errorf("rig: shunt of %v with tolerance %g: state its resistance and a tolerance from 0 to 1", w.Shunt, w.ShuntTolerance)
	case w.Conversion > ina226.Convert8244us:
		return fmt.Errorf("rig: conversion time code %d: choose 0 to 7", w.Conversion)
	case w.Divider.Bottom <= 0 || w.Divider.Top < 0 || !(w.Divider.Tolerance >= 0 && w.Divider.Tolerance < 1):
		return fmt.Errorf("rig: divider of %v over %v with tolerance %g: state its resistances and a tolerance from 0 to 1", w.Divider.Top, w.Divider.Bottom, w.Divider.Tolerance)
	case w.Thermistor.R25 <= 0 || w.Thermistor.Fixed <= 0 || !(w.Thermistor.Beta_K > 0):
		return fmt.Errorf("rig: thermistor of %v, %g K with %v: all must be above zero", w.Thermistor.R25, w.Thermistor.Beta_K, w.Thermistor.Fixed)
	}
	return nil
}

// voltageRange is the range for the divided voltages and the reference: the
// highest that a supply of 3.3 V lets the chip use.
const voltageRange = ads1115.Range4096mV

// Accuracy follows from the limits in the data sheets, each taken as the half
// width of a uniform distribution (GUM 4.3.7), so divided by √3:
//
//   - INA226 (SBOS547B): shunt gain ±0.1 %, offset ±10 µV.
//   - the shunt's tolerance.
//   - ADS1115 (SBAS444): gain ±0.15 %, offset ±3 codes, both stated for
//     ±2.048 V and taken for ±4.096 V too.
//   - the divider's resistors: each moves the ratio by Top/(Top+Bottom) of
//     its tolerance.
//   - the line's edges: an open drain rises through the unit's pull-up, 10 kΩ
//     with 300 pF of lead and input (chosen), 3 µs; a push-pull output is as
//     fast as its driver.
//
// Drift with temperature is left out.
func (w *Wiring) Accuracy() Accuracy {
	uniform := func(limits ...float64) float64 {
		sum := 0.0
		for _, l := range limits {
			sum += l * l / 3
		}
		return math.Sqrt(sum)
	}
	shunt := float64(w.Shunt) / 1e9
	resistor := w.Divider.Tolerance * float64(w.Divider.Top) / float64(w.Divider.Top+w.Divider.Bottom)
	edge := 0.0
	if w.Line.OpenDrain {
		edge = uniform(3e-6)
	}
	step := voltageRange.Step_V() * w.Divider.Ratio()
	return Accuracy{
		CurrentGain:       uniform(0.001, w.ShuntTolerance),
		CurrentOffset_A:   uniform(10e-6 / shunt),
		CurrentStep_A:     2.5e-6 / shunt,
		CurrentRange_A:    2.5e-6 / shunt * ina226.ShuntMax,
		VoltageGain:       uniform(0.0015, resistor, resistor),
		VoltageOffset_V:   uniform(3 * step),
		VoltageStep_V:     step,
		Edge_s:            edge,
		ReferenceDocument: "limits of data sheets SBOS547B and SBAS444E and tolerances of shunt and dividers, taken as uniform; not calibrated",
	}
}

func (w *Wiring) facts(interval time.Duration) []Fact {
	a := w.Accuracy()
	drive := "push-pull"
	if w.Line.OpenDrain {
		drive = "open drain"
	}
	return []Fact{
		{"current", fmt.Sprintf("INA226 at %#x, shunt %v ± %.2g %%, ±%.4g A in steps of %.3g mA", w.INA226, w.Shunt, 100*w.ShuntTolerance, a.CurrentRange_A, 1e3*a.CurrentStep_A)},
		{"voltages", fmt.Sprintf("ADS1115 at %#x, divider %v over %v, steps of %.3g mV", w.ADS1115, w.Divider.Top, w.Divider.Bottom, 1e3*a.VoltageStep_V)},
		{"temperature", fmt.Sprintf("thermistor %v, B %g K", w.Thermistor.R25, w.Thermistor.Beta_K)},
		{"line", drive},
		{"bus", w.BusSpeed.String()},
		{"sampling", fmt.Sprintf("%.4g a second, each the mean over %v", 1/interval.Seconds(), interval)},
		{"accuracy", a.ReferenceDocument},
	}
}
