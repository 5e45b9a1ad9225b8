package ads1115

import (
	"errors"
	"fmt"
	"time"

	"periph.io/x/conn/v3/physic"
)

// Registers (SBAS444, register map).
const (
	regConversion = 0
	regConfig     = 1
	regLow        = 2
	regHigh       = 3

	bitStart     = 1 << 15 // OS: written 1 starts a single conversion; read 1 is idle
	bitSingle    = 1 << 8  // MODE
	compareOff   = 0x0003
	compareField = 0x001F
)

var registerNames = [4]string{"conversion", "config", "low threshold", "high threshold"}

// Mux chooses the input.
type Mux uint8

// The MUX codes.
const (
	Differ01 Mux = iota // AIN0 − AIN1
	Differ03
	Differ13
	Differ23
	Single0 // AIN0 against ground
	Single1
	Single2
	Single3
)

// Range is the full scale, plus and minus. Whatever it is, no input may go
// beyond the chip's supply.
type Range uint8

// The PGA codes. Codes 6 and 7 are the same as Range256mV.
const (
	Range6144mV Range = iota
	Range4096mV
	Range2048mV
	Range1024mV
	Range512mV
	Range256mV
)

// scales are full scales in volts. They are no periph units, as a step of the
// smallest range is no whole number of nanovolts.
var scales = [8]float64{6.144, 4.096, 2.048, 1.024, 0.512, 0.256, 0.256, 0.256}

// Step_V is one code in volts: full scale / 2^15.
func (r Range) Step_V() float64 { return scales[r&7] / (1 << 15) }

// FullScale is the voltage at which the code ends.
func (r Range) FullScale() physic.ElectricPotential {
	return physic.ElectricPotential(scales[r&7]*1e3+0.5) * physic.MilliVolt
}

// Rate is the data rate.
type Rate uint8

// The DR codes, in samples a second.
const (
	Rate8 Rate = iota
	Rate16
	Rate32
	Rate64
	Rate128
	Rate250
	Rate475
	Rate860
)

var rates = [8]int{8, 16, 32, 64, 128, 250, 475, 860}

// PerSecond is the nominal rate.
func (r Rate) PerSecond() int { return rates[r&7] }

// Typical is the time of one conversion at the nominal rate.
func (r Rate) Typical() time.Duration { return time.Second / time.Duration(rates[r&7]) }

// Max is the longest time of one conversion: the rate may be 10 % low
// ("data rate variation", electrical characteristics).
func (r Rate) Max() time.Duration {
	return time.Second*10/time.Duration(9*rates[r&7]) + 1
}

// wake is the time from power-down to the start of a conversion (SBAS444,
// single-shot mode: "approximately 25 µs"), doubled for the word.
const wake = 50 * time.Microsecond

// Config is what the config register holds but for the comparator.
type Config struct {
	Mux        Mux
	Range      Range
	Rate       Rate
	SingleShot bool
}

// ErrConfig marks a configuration that the chip does not have.
var ErrConfig = errors.New("no such setting")

// Word is the config register without the start bit, with the comparator off.
func (c Config) Word() (uint16, error) {
	if c.Mux > 7 || c.Range > 7 || c.Rate > 7 {
		return 0, fmt.Errorf("ads1115: configuration %+v: %w: each field is a code from 0 to 7", c, ErrConfig)
	}
	w := uint16(c.Mux)<<12 | uint16(c.Range)<<9 | uint16(c.Rate)<<5 | compareOff
	if c.SingleShot {
		w |= bitSingle
	}
	return w, nil
}
