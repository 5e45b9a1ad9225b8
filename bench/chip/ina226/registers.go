package ina226

import (
	"errors"
	"fmt"
	"time"
)

// Registers (SBOS547B, Table 7-1).
const (
	regConfig       = 0x00
	regShunt        = 0x01
	regBus          = 0x02
	regPower        = 0x03
	regCurrent      = 0x04
	regCalibration  = 0x05
	regMask         = 0x06
	regLimit        = 0x07
	regManufacturer = 0xFE
	regDie          = 0xFF
)

const (
	manufacturerID = 0x5449 // ASCII "TI"
	dieID          = 0x2260
	configReset    = 0x8000 // bit 15 of the configuration: reset
	configFixed    = 0x4000 // bits 14 to 12 read 100b

	maskReady    = 1 << 3  // CVRF
	maskOverflow = 1 << 2  // OVF
	maskAlerted  = 1 << 4  // AFF
	maskReadyPin = 1 << 10 // CNVR
	maskPolarity = 1 << 1  // APOL
	maskLatch    = 1 << 0  // LEN
)

var registerNames = map[byte]string{
	regConfig: "configuration", regShunt: "shunt voltage", regBus: "bus voltage",
	regPower: "power", regCurrent: "current", regCalibration: "calibration",
	regMask: "mask/enable", regLimit: "alert limit",
	regManufacturer: "manufacturer identity", regDie: "die identity",
}

// Averaging is the AVG field: how many conversions make a result.
type Averaging uint8

// The AVG codes.
const (
	Average1 Averaging = iota
	Average4
	Average16
	Average64
	Average128
	Average256
	Average512
	Average1024
)

var averages = [8]int{1, 4, 16, 64, 128, 256, 512, 1024}

// Count is the number of conversions averaged, 0 for a code out of range.
func (a Averaging) Count() int {
	if int(a) >= len(averages) {
		return 0
	}
	return averages[a]
}

// ConversionTime is the VBUSCT or VSHCT field.
type ConversionTime uint8

// The conversion time codes, named after their typical time.
const (
	Convert140us ConversionTime = iota
	Convert204us
	Convert332us
	Convert588us
	Convert1100us
	Convert2116us
	Convert4156us
	Convert8244us
)

// Typical and maximum times of the electrical characteristics. The 1.1 ms
// code is printed with two digits.
var (
	typicalTimes = [8]time.Duration{140, 204, 332, 588, 1100, 2116, 4156, 8244}
	maximumTimes = [8]time.Duration{154, 224, 365, 646, 1210, 2328, 4572, 9068}
)

// Typical is the typical conversion time.
func (c ConversionTime) Typical() time.Duration { return typicalTimes[c&7] * time.Microsecond }

// Max is the longest conversion time over all conditions.
func (c ConversionTime) Max() time.Duration { return maximumTimes[c&7] * time.Microsecond }

// Mode is the MODE field.
type Mode uint8

// The operating modes.
const (
	PowerDown       Mode = 0
	ShuntTriggered  Mode = 1
	BusTriggered    Mode = 2
	BothTriggered   Mode = 3
	PowerDown4      Mode = 4 // the second code for power-down
	ShuntContinuous Mode = 5
	BusContinuous   Mode = 6
	BothContinuous  Mode = 7
)

// Off says that the mode converts nothing.
func (m Mode) Off() bool { return m&3 == 0 }

// Triggered says that the mode converts once for each write of the
// configuration.
func (m Mode) Triggered() bool { return m < PowerDown4 && !m.Off() }

// Shunt says that the shunt voltage is converted.
func (m Mode) Shunt() bool { return m&1 != 0 }

// Bus says that the bus voltage is converted.
func (m Mode) Bus() bool { return m&2 != 0 }

// Config is the configuration register.
type Config struct {
	Averaging Averaging
	BusTime   ConversionTime
	ShuntTime ConversionTime
	Mode      Mode
}

// ErrConfig marks a configuration that the chip does not have.
var ErrConfig = errors.New("no such setting")

// Word is the register's contents.
func (c Config) Word() (uint16, error) {
	if c.Averaging > 7 || c.BusTime > 7 || c.ShuntTime > 7 || c.Mode > 7 {
		return 0, fmt.Errorf("ina226: configuration %+v: %w: each field is a code from 0 to 7", c, ErrConfig)
	}
	return configFixed | uint16(c.Averaging)<<9 | uint16(c.BusTime)<<6 | uint16(c.ShuntTime)<<3 | uint16(c.Mode), nil
}

// configOf decodes the register.
func configOf(w uint16) Config {
	return Config{
		Averaging: Averaging(w >> 9 & 7),
		BusTime:   ConversionTime(w >> 6 & 7),
		ShuntTime: ConversionTime(w >> 3 & 7),
		Mode:      Mode(w & 7),
	}
}

// Typical is the typical time from one result to the next: conversion times
// of what the mode converts, times the averages (SBOS547, "Averaging and
// conversion time considerations"). It is 0 in power-down.
func (c Config) Typical() time.Duration {
	return c.period(ConversionTime.Typical)
}

// Max is the longest time from one result to the next.
func (c Config) Max() time.Duration {
	return c.period(ConversionTime.Max)
}

func (c Config) period(of func(ConversionTime) time.Duration) time.Duration {
	var d time.Duration
	if c.Mode.Shunt() {
		d += of(c.ShuntTime)
	}
	if c.Mode.Bus() {
		d += of(c.BusTime)
	}
	return d * time.Duration(c.Averaging.Count())
}

// Alert chooses what the alert pin watches. The chip acts on one function
// only; of several bits it takes the highest, so they are not combined here.
type Alert uint16

// The alert functions, as bits of the mask/enable register.
const (
	AlertOff       Alert = 0
	AlertShuntOver Alert = 1 << 15 // SOL: shunt voltage above the limit
	AlertShuntLow  Alert = 1 << 14 // SUL: shunt voltage below the limit
	AlertBusOver   Alert = 1 << 13 // BOL
	AlertBusLow    Alert = 1 << 12 // BUL
	AlertPowerOver Alert = 1 << 11 // POL
)

// Flags are the read-only bits of the mask/enable register.
type Flags struct {
	Ready    bool // CVRF: a result has been completed since the last read of the register
	Alerted  bool // AFF: the alert function has been met
	Overflow bool // OVF: current and power registers may be wrong
}
