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

// DefaultFast is the simulated rig for units that are judged by what is faster
// than that, that tell their position, or that the bench switches itself: an SPI
// converter at 20 kHz behind an amplifier of 50 and a filter, a load switch on
// the low side with the shunt in the unit's own loop, and a position input. The
// rate is two thirds of what the converter's clock allows at 3.3 V. The shunt is
// the one of 20, 10, 5 and 2 mohm whose range, 3.1 V at the converter, holds the
// peak current: of the smaller units a step of the converter is then 0.8 mA.
func DefaultFast(peak_A float64) Description {
	d := Default()
	divider := d.Supply.Divider
	d.I2C, d.Voltage = nil, nil
	d.Title = "Simulated rig, fast"
	const gain, room_V = 50, 3.1
	shunt := 0.002
	for _, ohm := range []float64{0.020, 0.010, 0.005} {
		if room_V/(gain*ohm) > 1.02*peak_A { // its tolerance and that of the zero
			shunt = ohm
			break
		}
	}
	d.Bench.Current_A = 0.98 * room_V / (gain * shunt) // where the amplifier ends
	d.SPI = &SPI{Port: "0", Speed_Hz: 1.2e6, Reference_V: 3.3, ReferenceTolerance: 0.001}
	d.Current = CurrentInput{Chip: "mcp3208", Channel: 0, Rate_Hz: 20e3, Shunt_Ohm: shunt, ShuntTolerance: 0.005,
		Gain: gain, GainTolerance: 0.005, Zero_V: 0.2, Bandwidth_Hz: 100e3, AntiAlias_Hz: 8e3}
	d.Supply = &Sense{Channel: 1, Divider: divider}
	d.LineLevel = &Sense{Channel: 2, Divider: divider}
	d.Temperature = &Probe{Chip: "ntc", Channel: 3, Reference: 4, NTC: d.Temperature.NTC}
	d.Position = &PositionInput{Sense: &Sense{Channel: 5, Divider: divider}}
	d.Load = &LoadSwitch{Pin: "LOAD", FreeWheel: "diode", Seen: true, Level: &Sense{Channel: 6, Divider: divider},
		LowestFrequency_Hz: LoadLowest_Hz, HighestFrequency_Hz: LoadHighest_Hz}
	return d
}
