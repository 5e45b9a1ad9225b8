package rig

import (
	"periph.io/x/conn/v3/physic"

	"dutybench/bench/chip/ntc"
)

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

// sensor is the thermistor with its fixed resistor as a sensor.
func (t Thermistor) sensor() (*ntc.Sensor, error) {
	return ntc.New(ntc.Sensor{Law: ntc.Beta{R25_Ohm: float64(t.R25) / 1e9, B_K: t.Beta_K}, Fixed_Ohm: float64(t.Fixed) / 1e9})
}
