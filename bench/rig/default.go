package rig

import (
	"time"

	"periph.io/x/conn/v3/physic"
)

// Default is the simulated rig.
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
func Default() Description {
	divider := Divider{Top: 100 * physic.KiloOhm, Bottom: 10 * physic.KiloOhm, Tolerance: 0.001}
	return Description{
		Name: Sim, Title: "Simulated rig",
		// The supply of the simulated bench limits at 30 A; the fuse is beyond
		// it, as nothing burns here.
		Bench:    BenchLimits{SupplyLow_V: 0, SupplyHigh_V: 36, Fuse_A: 40, Current_A: 40, SupplyLimit_A: 30},
		Switches: []Contact{{Pin: "SWITCH"}},
		Stop:     &Input{Pin: "STOP", ActiveLow: true, Pull: "up"},
		LinePin:  LinePin{Pin: "LINE", LineDrive: LineDrive{OpenDrain: true, Inverted: true}},
		I2C:      &I2C{Bus: "1", Speed_Hz: 400e3},
		Current: CurrentInput{Chip: "ina226", Address: 0x40, Conversion: 332 * time.Microsecond,
			Shunt_Ohm: 0.002, ShuntTolerance: 0.005, Gain: 1},
		Voltage:     &VoltageChip{Chip: "ads1115", Address: 0x48},
		Supply:      &Sense{Channel: 0, Divider: divider},
		LineLevel:   &Sense{Channel: 1, Divider: divider},
		Temperature: &Probe{Chip: "ntc", Channel: 2, Reference: 3, NTC: Thermistor{R25: 10 * physic.KiloOhm, Fixed: 10 * physic.KiloOhm, Beta_K: 3380}},
	}
}
