package ina219

import (
	"errors"
	"fmt"
	"time"

	"periph.io/x/conn/v3/physic"
)

// Registers (SBOS448F, Table 4).
const (
	regConfig      = 0x00
	regShunt       = 0x01
	regBus         = 0x02
	regPower       = 0x03
	regCurrent     = 0x04
	regCalibration = 0x05
)

const (
	resetCommand = 0x8000 // bit 15 of the configuration: reset
	resetConfig  = 0x399F // the configuration after a reset
	busReady     = 1 << 1 // CNVR, in the bus voltage register
	busOverflow  = 1 << 0 // OVF
	busShift     = 3      // the bus voltage lies above the flags
)

var registerNames = [6]string{"configuration", "shunt voltage", "bus voltage", "power", "current", "calibration"}

// Range is the PGA field: how far the shunt input goes.
type Range uint8

// The PG codes.
const (
	Range40mV Range = iota
	Range80mV
	Range160mV
	Range320mV
)

// Codes is the shunt code at the end of the range: 4,000 for 40 mV.
func (r Range) Codes() int16 { return 4000 << (r & 3) }

// RangeFor is the smallest range that holds a shunt voltage; ok is false when
// none does.
func RangeFor(v physic.ElectricPotential) (r Range, ok bool) {
	for r = range Range320mV + 1 {
		if physic.ElectricPotential(r.Codes())*ShuntStep >= v {
			return r, true
		}
	}
	return Range320mV, false
}

// Convert is the BADC or SADC field: resolution, or how many 12-bit
// conversions make a result.
type Convert uint8

// The codes of BADC and SADC (SBOS448F, Table 6). Codes 4 to 7 repeat 0 to 3.
const (
	Convert9bit  Convert = 0
	Convert10bit Convert = 1
	Convert11bit Convert = 2
	Convert12bit Convert = 3
	Average1     Convert = 8 // as Convert12bit
	Average2     Convert = 9
	Average4     Convert = 10
	Average8     Convert = 11
	Average16    Convert = 12
	Average32    Convert = 13
	Average64    Convert = 14
	Average128   Convert = 15
)

// Typical times are those of Table 6. It gives maxima for single conversions
// only; a tenth more is taken for averages, as those come to (586/532).
var (
	convertTypical = [4]time.Duration{84, 148, 276, 532}
	convertMaximum = [4]time.Duration{93, 163, 304, 586}
	averageTypical = [8]time.Duration{532, 1060, 2130, 4260, 8510, 17020, 34050, 68100}
)

// Typical is the typical time to a result.
func (c Convert) Typical() time.Duration {
	if c&8 == 0 {
		return convertTypical[c&3] * time.Microsecond
	}
	return averageTypical[c&7] * time.Microsecond
}

// Max is the longest time to a result.
func (c Convert) Max() time.Duration {
	switch {
	case c&8 == 0:
		return convertMaximum[c&3] * time.Microsecond
	case c == Average1:
		return Convert12bit.Max()
	}
	return c.Typical() + c.Typical()/10 + c.Typical()/500
}

// Mode is the MODE field.
type Mode uint8

// The operating modes.
const (
	PowerDown       Mode = 0
	ShuntTriggered  Mode = 1
	BusTriggered    Mode = 2
	BothTriggered   Mode = 3
	ADCOff          Mode = 4
	ShuntContinuous Mode = 5
	BusContinuous   Mode = 6
	BothContinuous  Mode = 7
)

// Off says that the mode converts nothing.
func (m Mode) Off() bool { return m&3 == 0 }

// Triggered says that the mode converts once for each write of the
// configuration.
func (m Mode) Triggered() bool { return m < ADCOff && !m.Off() }

// Shunt says that the shunt voltage is converted.
func (m Mode) Shunt() bool { return m&1 != 0 }

// Bus says that the bus voltage is converted.
func (m Mode) Bus() bool { return m&2 != 0 }

// Config is the configuration register.
type Config struct {
	Bus32V    bool // BRNG: the bus input goes to 32 V, of which the pin stands 26; else to 16 V
	Range     Range
	BusTime   Convert
	ShuntTime Convert
	Mode      Mode
}

// ErrConfig marks a configuration that the chip does not have.
var ErrConfig = errors.New("no such setting")

// Word is the register's contents.
func (c Config) Word() (uint16, error) {
	if c.Range > 3 || c.BusTime > 15 || c.ShuntTime > 15 || c.Mode > 7 {
		return 0, fmt.Errorf("ina219: configuration %+v: %w: the range is a code from 0 to 3, a conversion one from 0 to 15, the mode one from 0 to 7", c, ErrConfig)
	}
	w := uint16(c.Range)<<11 | uint16(c.BusTime)<<7 | uint16(c.ShuntTime)<<3 | uint16(c.Mode)
	if c.Bus32V {
		w |= 1 << 13
	}
	return w, nil
}

// configOf decodes the register.
func configOf(w uint16) Config {
	return Config{
		Bus32V:    w&(1<<13) != 0,
		Range:     Range(w >> 11 & 3),
		BusTime:   Convert(w >> 7 & 15),
		ShuntTime: Convert(w >> 3 & 15),
		Mode:      Mode(w & 7),
	}
}

// Typical is the typical time from one result to the next: the times of what
// the mode converts. It is 0 in power-down.
func (c Config) Typical() time.Duration { return c.period(Convert.Typical) }

// Max is the longest time from one result to the next.
func (c Config) Max() time.Duration { return c.period(Convert.Max) }

func (c Config) period(of func(Convert) time.Duration) time.Duration {
	var d time.Duration
	if c.Mode.Shunt() {
		d += of(c.ShuntTime)
	}
	if c.Mode.Bus() {
		d += of(c.BusTime)
	}
	return d
}
