package rig

import "time"

// Description is a rig as its file states it. Values are in SI units; a
// pointer that is nil says that the rig has no such part.
type Description struct {
	Name  string // on records and reports
	Title string

	Bench     BenchLimits
	Switches  []Contact  // one, or two in series; the supply is on when all are closed
	PreCharge *PreCharge // beside the switches, past them
	// What cuts the supply without this program; Attended is needed without any.
	Heartbeat *Heartbeat
	AlertCuts bool // the current converter's alert output opens the switch
	Stop      *Input

	LinePin LinePin
	Load    *LoadSwitch // switches a unit without a board
	I2C     *I2C
	SPI     *SPI

	Current     CurrentInput
	Voltage     *VoltageChip // nil: supply and line come from the current converter's chip
	Supply      *Sense       // at the unit's plug, four-wire
	LineLevel   *Sense       // mean level of the line at the plug
	Temperature *Probe
	Flow        *FlowMeter
	Position    *PositionInput
	Return      *Input // the unit's return signal on its own wire
	Listen      *Listen
}

// CutOff says that something cuts the supply when this program is dead. The
// alert alone does so only while too much current flows; see CutOffWords.
func (d *Description) CutOff() bool { return d.Heartbeat != nil || d.AlertCuts }

// BenchLimits are what the bench bears, whatever a profile allows.
type BenchLimits struct {
	SupplyLow_V, SupplyHigh_V float64
	Fuse_A                    float64
	Current_A                 float64 // the highest it may be used for
	SupplyLimit_A             float64 // where the supply limits its current; 0 not known
}

// Contact is one switch in the supply's way.
type Contact struct {
	Pin       string
	ActiveLow bool
	Relay     bool          // else a transistor
	Settle    time.Duration // until it has closed or opened
}

// PreCharge is a contact with a resistor in the supply's way.
type PreCharge struct {
	Contact
	Resistor_Ohm float64
}

// Heartbeat is an output that toggles while the lease holds; a relay falls off
// when it stays still for longer than Hold. PullIn is how long the relay takes
// to close after the first pulse, with its bounce; the contacts close after it.
type Heartbeat struct {
	Pin          string
	Frequency_Hz float64
	Hold, PullIn time.Duration
}

// Input is a digital input.
type Input struct {
	Pin       string
	ActiveLow bool
	Pull      string // "up", "down" or "none"
}

// LinePin is what drives the signal wire: a pin of the board, or a channel of
// the kernel's PWM.
type LinePin struct {
	Pin     string
	PWMChip string // device of the kernel's PWM, such as "fe20c000.pwm"; empty: Pin
	Channel int
	Enable  string // pin that lets a push-pull buffer drive; empty: none
	LineDrive
	Series_Ohm float64
	High_V     float64 // of a push-pull driver
	PullUp_Ohm float64 // the rig's own, to the supply at the plug; 0: none
}

// I2C is the bus of the I²C chips.
type I2C struct {
	Bus      string
	Speed_Hz float64 // as set at boot
}

// SPI is the port of the SPI converter.
type SPI struct {
	Port        string
	Speed_Hz    float64
	Reference_V float64 // of the converter
	// ReferenceTolerance is relative, at most.
	ReferenceTolerance float64
}

// CurrentInput is what reads the supply current.
type CurrentInput struct {
	Chip           string // "ina226", "ina219", "mcp3204", "mcp3208"
	Address        uint16
	Channel        int
	Conversion     time.Duration // of an I²C chip, as its data sheet lists it
	Rate_Hz        float64       // of an SPI converter, samples of the current a second
	Shunt_Ohm      float64
	ShuntTolerance float64 // relative, at most
	LowSide        bool
	Reversed       bool    // the shunt's wires are crossed
	Gain           float64 // of the amplifier before the converter; 1: none
	GainTolerance  float64
	Zero_V         float64 // at the converter when no current flows
	Bandwidth_Hz   float64 // of the amplifier; 0 not known
	AntiAlias_Hz   float64 // corner of the filter before the converter; 0: none
}

// VoltageChip reads the sense wires.
type VoltageChip struct {
	Chip    string // "ads1115", or the SPI converter's name for channels of that
	Address uint16
}

// Sense is a sense wire behind a divider.
type Sense struct {
	Channel int
	// Minus is the channel of a second wire, from the plug's minus behind a
	// divider of the same ratio: the chip then reads the difference, and what
	// the minus lead drops does not count. Nil: against the chip's ground.
	Minus   *int
	Divider Divider
}

// Probe reads the temperature.
type Probe struct {
	Chip      string // "ds18b20" or "ntc"
	ID        string // of the DS18B20, such as "28-0123456789ab"; empty: the only one
	Channel   int    // of the NTC, and of its reference
	Reference int    // or OwnReference
	NTC       Thermistor
}

// OwnReference as the channel of a thermistor's reference says that the
// converter's own reference feeds it.
const OwnReference = -1

// FlowMeter gives pulses.
type FlowMeter struct {
	Input
	Pulses_per_l float64
}

// Listen is the input for listening on a signal wire: edges on a pin, levels
// on a channel of the voltage converter.
type Listen struct {
	Pin       string // edges, behind the comparator or optocoupler; empty: none
	ActiveLow bool   // the pin is high when the wire is low, as behind an optocoupler
	Sense     *Sense // level; nil: none
}
