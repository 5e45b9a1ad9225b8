package rig

import (
	"fmt"
	"math"
	"strings"
	"time"

	"periph.io/x/conn/v3/physic"

	"dutybench/bench/chip/ads1115"
	"dutybench/bench/chip/ina219"
	"dutybench/bench/chip/ina226"
)

// voltageRange is the range for the divided voltages and the reference: the
// highest that a supply of 3.3 V lets the chip use.
const voltageRange = ads1115.Range4096mV

// spiSteps are the codes of the SPI converters: 12 bits.
const spiSteps = 4096

// shunt is the shunt as chips want it.
func (c *CurrentInput) shunt() physic.ElectricResistance {
	return physic.ElectricResistance(math.Round(c.Shunt_Ohm * float64(physic.Ohm)))
}

// shuntRange is the INA219's narrowest range that holds the bench's highest
// current.
func (d *Description) shuntRange() ina219.Range {
	r := ina219.Range40mV
	for r < ina219.Range320mV && float64(r.Codes())*10e-6 < d.Bench.Current_A*d.Current.Shunt_Ohm {
		r++
	}
	return r
}

// Range_A is the highest current that can be told from a higher one.
func (d *Description) Range_A() float64 {
	c := &d.Current
	switch c.Chip {
	case "ina226":
		return 2.5e-6 / c.Shunt_Ohm * ina226.ShuntMax
	case "ina219":
		return 10e-6 / c.Shunt_Ohm * float64(d.shuntRange().Codes())
	}
	step := d.SPI.Reference_V / spiSteps
	span := step*(spiSteps-1-spiShort) - c.Zero_V
	if c.Reversed {
		span = c.Zero_V - step*spiShort
	}
	return span / (c.Gain * c.Shunt_Ohm)
}

// uniform is the standard uncertainty of a sum of errors, each within its
// limit either way (GUM 4.3.7).
func uniform(limits ...float64) float64 {
	sum := 0.0
	for _, l := range limits {
		sum += l * l / 3
	}
	return math.Sqrt(sum)
}

// Accuracy follows from the limits in the data sheets, each taken as the half
// width of a uniform distribution (GUM 4.3.7), so divided by √3:
//
//   - INA226 (SBOS547B): shunt gain ±0.1 %, offset ±10 µV.
//   - INA219 (SBOS448F, grade A at 25 °C): current ±0.5 %, offset ±100, 125,
//     150 or 200 µV from the range of 40 mV to that of 320 mV.
//   - MCP3204, MCP3208 (DS21298E): gain ±5 codes at full scale and offset ±3
//     codes (maxima from memory), nonlinearity ±2 codes (grade C).
//   - the shunt's tolerance, the amplifier's and the reference's.
//   - ADS1115 (SBAS444): gain ±0.15 %, offset ±3 codes, both stated for
//     ±2.048 V and taken for ±4.096 V too.
//   - the divider's resistors: each moves the ratio by Top/(Top+Bottom) of
//     its tolerance.
//   - the line's edges: an open drain rises through the unit's pull-up, 10 kΩ
//     with 300 pF of lead and input (chosen), 3 µs; a push-pull output is as
//     fast as its driver.
//   - the load switch: a power transistor behind a driver opens later than it
//     closes, by up to 1 µs (chosen, from common practice).
//   - the position: as the supply's voltage, behind its own divider; by PWM as
//     far as the time of an edge is known, see positionEdge.
//
// Drift with temperature is left out, and so is the amplifier's zero, which
// every test measures.
func (d *Description) Accuracy() Accuracy {
	c := &d.Current
	a := Accuracy{CurrentRange_A: d.Range_A()}
	var sheets []string
	switch c.Chip {
	case "ina226":
		a.CurrentGain = uniform(0.001, c.ShuntTolerance)
		a.CurrentOffset_A = uniform(10e-6 / c.Shunt_Ohm)
		a.CurrentStep_A = 2.5e-6 / c.Shunt_Ohm
		sheets = append(sheets, "SBOS547B")
	case "ina219":
		offset := [...]float64{100e-6, 125e-6, 150e-6, 200e-6}[d.shuntRange()&3]
		a.CurrentGain = uniform(0.005, c.ShuntTolerance)
		a.CurrentOffset_A = uniform(offset / c.Shunt_Ohm)
		a.CurrentStep_A = 10e-6 / c.Shunt_Ohm
		sheets = append(sheets, "SBOS448F")
	default:
		step := d.SPI.Reference_V / spiSteps / (c.Gain * c.Shunt_Ohm)
		a.CurrentGain = uniform(5.0/spiSteps, c.ShuntTolerance, c.GainTolerance, d.SPI.ReferenceTolerance)
		a.CurrentOffset_A = uniform(3*step, 2*step)
		a.CurrentStep_A = step
		sheets = append(sheets, "DS21298E")
	}
	var v Divider
	if d.Supply != nil {
		v = d.Supply.Divider
	}
	resistor := v.Tolerance * float64(v.Top) / float64(v.Top+v.Bottom)
	if d.Voltage != nil {
		a.VoltageStep_V = voltageRange.Step_V() * v.Ratio()
		a.VoltageGain = uniform(0.0015, resistor, resistor)
		a.VoltageOffset_V = uniform(3 * a.VoltageStep_V)
		sheets = append(sheets, "SBAS444E")
	} else if d.SPI != nil {
		a.VoltageStep_V = d.SPI.Reference_V / spiSteps * v.Ratio()
		a.VoltageGain = uniform(5.0/spiSteps, d.SPI.ReferenceTolerance, resistor, resistor)
		a.VoltageOffset_V = uniform(3*a.VoltageStep_V, 2*a.VoltageStep_V)
	}
	if d.LinePin.OpenDrain {
		a.Edge_s = uniform(3e-6)
	}
	if d.Load != nil && d.Load.HighestFrequency_Hz > 0 {
		a.LoadEdge_s = uniform(loadEdge_s)
	}
	switch p := d.Position; p.by() {
	case PositionByVoltage:
		v := p.Sense.Divider
		off := v.Tolerance * float64(v.Top) / float64(v.Top+v.Bottom)
		if d.Voltage != nil {
			a.PositionStep_V = voltageRange.Step_V() * v.Ratio()
			a.PositionGain, a.PositionOffset_V = uniform(0.0015, off, off), uniform(3*a.PositionStep_V)
		} else if d.SPI != nil {
			a.PositionStep_V = d.SPI.Reference_V / spiSteps * v.Ratio()
			a.PositionGain, a.PositionOffset_V = uniform(5.0/spiSteps, d.SPI.ReferenceTolerance, off, off), uniform(3*a.PositionStep_V, 2*a.PositionStep_V)
		}
	case PositionByPWM:
		a.PositionEdge_s = uniform(positionEdge.Seconds())
	}
	what := "shunt and dividers"
	sheet := "data sheet " + sheets[0]
	if len(sheets) > 1 {
		sheet = "data sheets " + strings.Join(sheets, " and ")
	}
	if isSPI(c.Chip) {
		what = "shunt, amplifier, reference and dividers"
	}
	a.ReferenceDocument = "limits of " + sheet + " and tolerances of " + what + ", taken as uniform; not calibrated"
	return a
}

// facts say for the record what the rig is made of.
func (d *Description) facts(interval time.Duration) []Fact {
	a, c := d.Accuracy(), &d.Current
	drive := "push-pull"
	if d.LinePin.OpenDrain {
		drive = "open drain"
	}
	if chip := d.LinePin.PWMChip; chip != "" {
		drive += fmt.Sprintf(", channel %d of %s", d.LinePin.Channel, chip)
	}
	chip := strings.ToUpper(c.Chip)
	var out []Fact
	add := func(key, format string, args ...any) { out = append(out, Fact{key, fmt.Sprintf(format, args...)}) }
	if isSPI(c.Chip) {
		add("current", "%s, channel %d, shunt %v ± %.2g %%, gain %g, %.4g A in steps of %.3g mA", chip, c.Channel, c.shunt(), 100*c.ShuntTolerance, c.Gain, a.CurrentRange_A, 1e3*a.CurrentStep_A)
	} else {
		add("current", "%s at %#x, shunt %v ± %.2g %%, ±%.4g A in steps of %.3g mA", chip, c.Address, c.shunt(), 100*c.ShuntTolerance, a.CurrentRange_A, 1e3*a.CurrentStep_A)
	}
	if s := d.Supply; s != nil && d.Voltage != nil {
		add("voltages", "%s at %#x, divider %v over %v, steps of %.3g mV", strings.ToUpper(d.Voltage.Chip), d.Voltage.Address, s.Divider.Top, s.Divider.Bottom, 1e3*a.VoltageStep_V)
	} else if s != nil {
		add("voltages", "%s, divider %v over %v, steps of %.3g mV", chip, s.Divider.Top, s.Divider.Bottom, 1e3*a.VoltageStep_V)
	}
	switch t := d.Temperature; {
	case t == nil:
	case t.Chip == "ntc":
		add("temperature", "thermistor %v, B %g K", t.NTC.R25, t.NTC.Beta_K)
	default:
		add("temperature", "%s %s", strings.ToUpper(t.Chip), t.ID)
	}
	if d.Flow != nil {
		add("flow", "%g pulses a litre", d.Flow.Pulses_per_l)
	}
	add("line", "%s", drive)
	for _, f := range d.loadFacts() {
		add(f.Key, "%s", f.Value)
	}
	if isSPI(c.Chip) {
		add("port", "%s", physic.Frequency(d.SPI.Speed_Hz*float64(physic.Hertz)))
		add("sampling", "%s a second, each at a moment", plain(1/interval.Seconds(), 4))
		add("other channels", "%s", d.othersWords(interval))
	} else {
		add("bus", "%s", physic.Frequency(d.I2C.Speed_Hz*float64(physic.Hertz)))
		add("sampling", "%s a second, each the mean over %v", plain(1/interval.Seconds(), 4), interval)
	}
	add("accuracy", "%s", a.ReferenceDocument)
	return out
}
