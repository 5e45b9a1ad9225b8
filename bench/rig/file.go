package rig

import (
	"math"
	"time"

	"periph.io/x/conn/v3/physic"

	"dutybench/profiles/strict"
)

// FileFormat is the version of rig files that this program reads.
const FileFormat = 1

// file is a rig file as it stands in TOML; strict reads its tags.
type file struct {
	Format int    `toml:"format" min:"1"`
	Name   string `toml:"name"`
	Title  string `toml:"title,omitempty"`

	Bench       fileBench      `toml:"bench"`
	Switches    []fileContact  `toml:"switch"`
	PreCharge   *filePreCharge `toml:"pre_charge,omitempty"`
	Heartbeat   *fileHeartbeat `toml:"heartbeat,omitempty"`
	Stop        *fileInput     `toml:"stop,omitempty"`
	Line        fileLine       `toml:"line"`
	I2C         *fileI2C       `toml:"i2c,omitempty"`
	SPI         *fileSPI       `toml:"spi,omitempty"`
	Current     fileCurrent    `toml:"current"`
	Voltage     *fileVoltage   `toml:"voltage,omitempty"`
	Supply      fileSense      `toml:"supply"`
	LineLevel   *fileSense     `toml:"line_level,omitempty"`
	Temperature *fileProbe     `toml:"temperature,omitempty"`
	Flow        *fileFlow      `toml:"flow,omitempty"`
	Load        *fileLoad      `toml:"load,omitempty"`
	Position    *filePosition  `toml:"position,omitempty"`
	Return      *fileInput     `toml:"return,omitempty"`
	Listen      *fileListen    `toml:"listen,omitempty"`
}

type fileBench struct {
	Supply  strict.VoltRange `toml:"supply"`
	Fuse    strict.Ampere    `toml:"fuse" above:"0" max:"200"`
	Current strict.Ampere    `toml:"current" above:"0" max:"200"`
	Limit   strict.Ampere    `toml:"supply_limit,omitempty" above:"0" max:"1000"`
}

type fileContact struct {
	Pin    string         `toml:"pin"`
	Active string         `toml:"active,omitempty" oneof:"high|low"`
	Type   string         `toml:"type" oneof:"transistor|relay"`
	Settle strict.Seconds `toml:"settle,omitempty" min:"0" max:"1"`
}

type filePreCharge struct {
	Pin      string         `toml:"pin"`
	Active   string         `toml:"active,omitempty" oneof:"high|low"`
	Type     string         `toml:"type" oneof:"transistor|relay"`
	Settle   strict.Seconds `toml:"settle,omitempty" min:"0" max:"1"`
	Resistor strict.Ohm     `toml:"resistor" above:"0" max:"10000"`
}

type fileHeartbeat struct {
	Pin       string         `toml:"pin"`
	Frequency strict.Hertz   `toml:"frequency" min:"10" max:"1000"`
	Hold      strict.Seconds `toml:"hold" above:"0" max:"1"`
	// PullIn to guard.LongestPullIn.
	PullIn *strict.Seconds `toml:"pull_in,omitempty" min:"0" max:"0.5"`
}

type fileInput struct {
	Pin    string `toml:"pin"`
	Active string `toml:"active,omitempty" oneof:"high|low"`
	Pull   string `toml:"pull,omitempty" oneof:"up|down|none"`
}

type fileLine struct {
	Pin      string      `toml:"pin,omitempty"`
	PWMChip  string      `toml:"pwm_chip,omitempty"`
	Channel  int         `toml:"channel,omitempty" min:"0" max:"63"`
	Enable   string      `toml:"enable,omitempty"`
	Drive    string      `toml:"drive,omitempty" oneof:"open-drain|push-pull"`
	Inverted *bool       `toml:"inverted,omitempty"`
	Series   *strict.Ohm `toml:"series,omitempty" min:"0" max:"100000"`
	High     strict.Volt `toml:"high,omitempty" min:"0" max:"60"`
	PullUp   strict.Ohm  `toml:"pull_up,omitempty" min:"0" max:"10000000"`
}

type fileI2C struct {
	Bus   string       `toml:"bus"`
	Speed strict.Hertz `toml:"speed" min:"10000"`
}

type fileSPI struct {
	Port      string            `toml:"port"`
	Speed     strict.ClockHertz `toml:"speed" min:"10000"`
	Reference strict.Volt       `toml:"reference" above:"0" max:"6"`
	Tolerance strict.Share      `toml:"reference_tolerance" min:"0" max:"0.2"`
}

type fileCurrent struct {
	Chip          string         `toml:"chip" oneof:"ina226|ina219|mcp3204|mcp3208"`
	Address       int            `toml:"address,omitempty" min:"0" max:"127"`
	Conversion    strict.Seconds `toml:"conversion,omitempty" above:"0" max:"1"`
	AlertCuts     bool           `toml:"alert_cuts,omitempty"`
	Channel       int            `toml:"channel,omitempty" min:"0" max:"7"`
	Rate          strict.Hertz   `toml:"rate,omitempty" above:"0" max:"100000"`
	Shunt         strict.Ohm     `toml:"shunt" above:"0" max:"10"`
	Tolerance     strict.Share   `toml:"shunt_tolerance" min:"0" max:"0.2"`
	Side          string         `toml:"side" oneof:"high|low"`
	Reversed      bool           `toml:"reversed,omitempty"`
	Gain          float64        `toml:"gain,omitempty" above:"0" max:"10000"`
	GainTolerance strict.Share   `toml:"gain_tolerance,omitempty" min:"0" max:"0.2"`
	Zero          strict.Volt    `toml:"zero,omitempty" min:"0" max:"6"`
	Bandwidth     strict.Hertz   `toml:"bandwidth,omitempty" min:"0"`
	AntiAlias     strict.Hertz   `toml:"anti_alias,omitempty" min:"0"`
}

type fileVoltage struct {
	Chip    string `toml:"chip" oneof:"ads1115"`
	Address int    `toml:"address" min:"0" max:"127"`
}

type fileSense struct {
	Channel   int          `toml:"channel" min:"0" max:"7"`
	Minus     *int         `toml:"minus,omitempty" min:"0" max:"7"`
	Top       strict.Ohm   `toml:"top" min:"0" max:"100000000"`
	Bottom    strict.Ohm   `toml:"bottom" above:"0" max:"100000000"`
	Tolerance strict.Share `toml:"tolerance" min:"0" max:"0.2"`
}

type fileProbe struct {
	Chip      string        `toml:"chip" oneof:"ntc|ds18b20"`
	ID        string        `toml:"id,omitempty"`
	Channel   *int          `toml:"channel,omitempty" min:"0" max:"7"`
	Reference *int          `toml:"reference,omitempty" min:"0" max:"7"`
	R25       strict.Ohm    `toml:"r25,omitempty" above:"0" max:"10000000"`
	Fixed     strict.Ohm    `toml:"fixed,omitempty" above:"0" max:"10000000"`
	Beta      strict.Kelvin `toml:"beta,omitempty" above:"0" max:"20000"`
}

type fileFlow struct {
	Pin    string          `toml:"pin"`
	Active string          `toml:"active,omitempty" oneof:"high|low"`
	Pull   string          `toml:"pull,omitempty" oneof:"up|down|none"`
	Pulses strict.PerLitre `toml:"pulses" above:"0" max:"1000000"`
}

type fileListen struct {
	Pin    string     `toml:"pin,omitempty"`
	Active string     `toml:"active,omitempty" oneof:"high|low"`
	Level  *fileSense `toml:"level,omitempty"`
}

// asRigFile is what is read here, for messages.
var asRigFile = strict.Format{Package: "rig", Thing: "rig file"}

// ParseFile reads a rig file, strictly: every key must be known, every value
// carry its unit and lie in its range, and the parts agree. source is the
// path, for messages. The error is a *strict.Error, which lists every problem
// with line and column.
func ParseFile(data []byte, source string) (Description, error) {
	var f file
	if err := asRigFile.Decode(data, source, &f); err != nil {
		return Description{}, err
	}
	return f.description(), nil
}

// Check holds the parts of a file against each other, for strict.
func (f *file) Check(bad func(path []any, format string, args ...any)) {
	if f.Name == Sim {
		bad(key("name"), "name is %q, which is the built-in simulated rig's: choose another, such as \"bench-1\"", f.Name)
	}
	if f.Format > FileFormat {
		bad(key("format"), "format is %d: this program reads format %d; a newer one is needed for this file", f.Format, FileFormat)
	}
	if l := f.Line; l.Pin != "" && l.PWMChip != "" {
		bad(key("line"), "the line has both pin and pwm_chip: leave one of them out")
	} else if l.Pin == "" && l.PWMChip == "" {
		bad(key("line"), "the line needs either pin, such as \"GPIO18\", or pwm_chip with channel, such as \"fe20c000.pwm\"")
	}
	if f.LineLevel != nil && f.LineLevel.Minus != nil {
		bad(key("line_level", "minus"), "only the supply has a sense wire for its minus: leave minus out")
	}
	if f.Listen != nil && f.Listen.Level != nil && f.Listen.Level.Minus != nil {
		bad(key("listen", "level", "minus"), "only the supply has a sense wire for its minus: leave minus out")
	}
	if f.Line.Channel != 0 && f.Line.PWMChip == "" {
		bad(key("line", "channel"), "channel belongs to pwm_chip: name that, or leave channel out")
	}
	spi := isSPI(f.Current.Chip)
	for _, c := range []struct {
		name     string
		given    bool
		belongs  bool // to this chip
		required bool
		example  string
	}{
		{"address", f.Current.Address != 0, !spi, true, "0x40"},
		{"conversion", f.Current.Conversion != 0, !spi, true, "\"588 us\""},
		{"alert_cuts", f.Current.AlertCuts, f.Current.Chip == "ina226", false, ""},
		{"channel", f.Current.Channel != 0, spi, false, ""},
		{"rate", f.Current.Rate != 0, spi, true, "\"20 kHz\""},
		{"gain", f.Current.Gain != 0, spi, true, "20.0"},
		{"gain_tolerance", f.Current.GainTolerance != 0, spi, false, ""},
		{"zero", f.Current.Zero != 0, spi, false, ""},
	} {
		if c.given && !c.belongs {
			bad(key("current", c.name), "%s does not go with chip %q: leave it out", c.name, f.Current.Chip)
		} else if c.required && c.belongs && !c.given {
			bad(key("current"), "[current] lacks the key %s, which chip %q needs: add %s = %s", c.name, f.Current.Chip, c.name, c.example)
		}
	}
	if t := f.Temperature; t != nil {
		ntc := t.Channel != nil || t.Reference != nil || t.R25 != 0 || t.Fixed != 0 || t.Beta != 0
		switch {
		case t.Chip == "ds18b20" && ntc:
			bad(key("temperature"), "channel, reference, r25, fixed and beta are of an \"ntc\", not of a \"ds18b20\": leave them out")
		case t.Chip == "ntc" && t.ID != "":
			bad(key("temperature", "id"), "id is of a \"ds18b20\", not of an \"ntc\": leave it out")
		case t.Chip == "ntc" && (t.Channel == nil || t.R25 == 0 || t.Fixed == 0 || t.Beta == 0):
			bad(key("temperature"), "an \"ntc\" needs channel, r25, fixed and beta: add them, such as channel = 2, r25 = \"10 kohm\", fixed = \"10 kohm\", beta = \"3380 K\"")
		case t.Chip == "ntc" && t.Reference == nil && !spi:
			bad(key("temperature"), "an \"ntc\" on %q needs reference, the channel that reads the voltage across thermistor and fixed resistor: add it, such as reference = 3", "ads1115")
		}
	}
	f.checkLoad(bad)
	d := f.description()
	d.agree(bad)
}

// key is a place in the file.
func key(p ...any) []any { return p }

// PullIn is how long a heartbeat's relay takes to close where the file does not
// say: 50 ms, chosen. Small relays close within 20 ms (common practice, no
// source); their pulse detector's capacitor takes some more.
const PullIn = 50 * time.Millisecond

// isSPI says that a current converter is on SPI.
func isSPI(chip string) bool { return chip == "mcp3204" || chip == "mcp3208" }

// Series_Ohm is the resistor between driver and plug where the file does not
// say: 100 Ω, chosen. It holds a shorted wire of 15 V to 0.15 A, and lifts the
// low level of a line with a pull-up of 1 kΩ by a tenth of the supply, of one
// with 10 kΩ by a hundredth.
const Series_Ohm = 100

func (f *file) description() Description {
	c := f.Current
	d := Description{
		Name: f.Name, Title: f.Title,
		Bench: BenchLimits{SupplyLow_V: f.Bench.Supply.Low_V, SupplyHigh_V: f.Bench.Supply.High_V,
			Fuse_A: float64(f.Bench.Fuse), Current_A: float64(f.Bench.Current), SupplyLimit_A: float64(f.Bench.Limit)},
		AlertCuts: c.AlertCuts,
		Stop:      f.Stop.input("high", "up"), // a broken wire reads pressed
		LinePin: LinePin{Pin: f.Line.Pin, PWMChip: f.Line.PWMChip, Channel: f.Line.Channel, Enable: f.Line.Enable,
			LineDrive:  LineDrive{OpenDrain: f.Line.Drive != "push-pull", Inverted: f.Line.Drive != "push-pull"},
			Series_Ohm: Series_Ohm, High_V: float64(f.Line.High), PullUp_Ohm: float64(f.Line.PullUp)},
		Current: CurrentInput{Chip: c.Chip, Address: uint16(c.Address), Channel: c.Channel, Conversion: c.Conversion.Duration(), Rate_Hz: float64(c.Rate),
			Shunt_Ohm: float64(c.Shunt), ShuntTolerance: float64(c.Tolerance), LowSide: c.Side == "low", Reversed: c.Reversed,
			Gain: c.Gain, GainTolerance: float64(c.GainTolerance), Zero_V: float64(c.Zero),
			Bandwidth_Hz: float64(c.Bandwidth), AntiAlias_Hz: float64(c.AntiAlias)},
		Supply:    f.Supply.sense(),
		LineLevel: f.LineLevel.sense(),
		Return:    f.Return.input("high", "up"), // the pin follows the wire, but behind an optocoupler
	}
	if d.Current.Gain == 0 {
		d.Current.Gain = 1
	}
	if f.Line.Inverted != nil {
		d.LinePin.Inverted = *f.Line.Inverted
	}
	if f.Line.Series != nil {
		d.LinePin.Series_Ohm = float64(*f.Line.Series)
	}
	for _, s := range f.Switches {
		d.Switches = append(d.Switches, s.contact())
	}
	if p := f.PreCharge; p != nil {
		d.PreCharge = &PreCharge{fileContact{p.Pin, p.Active, p.Type, p.Settle}.contact(), float64(p.Resistor)}
	}
	if h := f.Heartbeat; h != nil {
		d.Heartbeat = &Heartbeat{Pin: h.Pin, Frequency_Hz: float64(h.Frequency), Hold: h.Hold.Duration(), PullIn: PullIn}
		if h.PullIn != nil {
			d.Heartbeat.PullIn = h.PullIn.Duration()
		}
	}
	if f.I2C != nil {
		d.I2C = &I2C{Bus: f.I2C.Bus, Speed_Hz: float64(f.I2C.Speed)}
	}
	if f.SPI != nil {
		d.SPI = &SPI{Port: f.SPI.Port, Speed_Hz: float64(f.SPI.Speed), Reference_V: float64(f.SPI.Reference), ReferenceTolerance: float64(f.SPI.Tolerance)}
	}
	if f.Voltage != nil {
		d.Voltage = &VoltageChip{Chip: f.Voltage.Chip, Address: uint16(f.Voltage.Address)}
	}
	if t := f.Temperature; t != nil {
		p := &Probe{Chip: t.Chip, ID: t.ID, Reference: OwnReference}
		if t.Channel != nil {
			p.Channel = *t.Channel
		}
		if t.Reference != nil {
			p.Reference = *t.Reference
		}
		p.NTC = Thermistor{R25: resistance(t.R25), Fixed: resistance(t.Fixed), Beta_K: float64(t.Beta)}
		d.Temperature = p
	}
	if x := f.Flow; x != nil {
		d.Flow = &FlowMeter{Input: *(&fileInput{x.Pin, x.Active, x.Pull}).input("low", "up"), Pulses_per_l: float64(x.Pulses)}
	}
	d.Load, d.Position = f.Load.load(), f.Position.position()
	if l := f.Listen; l != nil {
		d.Listen = &Listen{Pin: l.Pin, ActiveLow: l.Active == "low", Sense: l.Level.sense()}
	}
	return d
}

func (c fileContact) contact() Contact {
	settle := c.Settle.Duration()
	if settle == 0 {
		// Chosen: beyond what small relays take to close and stop bouncing,
		// about 10 ms; a transistor's gate is charged in microseconds.
		settle = time.Millisecond
		if c.Type == "relay" {
			settle = 20 * time.Millisecond
		}
	}
	return Contact{Pin: c.Pin, ActiveLow: c.Active == "low", Relay: c.Type == "relay", Settle: settle}
}

// input fills in what the file leaves out.
func (i *fileInput) input(active, pull string) *Input {
	if i == nil {
		return nil
	}
	if i.Active != "" {
		active = i.Active
	}
	if i.Pull != "" {
		pull = i.Pull
	}
	return &Input{Pin: i.Pin, ActiveLow: active == "low", Pull: pull}
}

func (s *fileSense) sense() *Sense {
	if s == nil {
		return nil
	}
	return &Sense{Channel: s.Channel, Minus: s.Minus, Divider: Divider{Top: resistance(s.Top), Bottom: resistance(s.Bottom), Tolerance: float64(s.Tolerance)}}
}

// resistance is to the nearest nanoohm, as periph counts.
func resistance(x strict.Ohm) physic.ElectricResistance {
	return physic.ElectricResistance(math.Round(float64(x) * float64(physic.Ohm)))
}
