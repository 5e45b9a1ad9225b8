package rig

import (
	"fmt"
	"math"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/physic"
)

// LineDrive says what lies between the pin and the signal wire.
type LineDrive struct {
	// OpenDrain: a transistor pulls the line low or lets it go; high is then
	// what a pull-up makes of it. Else a buffer or the pin itself drives it
	// both ways.
	OpenDrain bool
	// Inverted: the pin high means the line low.
	Inverted bool
}

// Ends of what a line's PWM may be asked for.
const (
	LowestFrequency_Hz  = 1
	HighestFrequency_Hz = 100_000
)

// Line drives the unit's signal wire. Its arguments are about the wire, not
// about the pin: high is high at the unit. One goroutine owns it.
type Line struct {
	pin    gpio.PinIO
	drive  LineDrive
	enable gpio.PinOut // of a buffer behind the pin, high: it drives; nil: none
	what   string      // for messages
}

// NewLine takes a pin and says how it drives the wire. It does not touch it.
func NewLine(pin gpio.PinIO, d LineDrive) *Line { return &Line{pin: pin, drive: d, what: "line"} }

// Feeds says that the line drives the wire high by itself, so that it could
// feed a unit without supply through its signal pin.
func (l *Line) Feeds() bool { return !l.drive.OpenDrain }

// Drive puts PWM on the wire: high for lineDuty_pct of each period, 0 to 100,
// at freq. The ends are steady levels, as most drivers make them anyway. With
// an open-drain line the high part is released.
func (l *Line) Drive(lineDuty_pct float64, freq physic.Frequency) error {
	if !(lineDuty_pct >= 0 && lineDuty_pct <= 100) {
		return fmt.Errorf("rig: %s duty of %g %%: it must be from 0 to 100", l.what, lineDuty_pct)
	}
	// periph's drivers do not check: a frequency of 0 panics in some.
	if freq < LowestFrequency_Hz*physic.Hertz || freq > HighestFrequency_Hz*physic.Hertz {
		return fmt.Errorf("rig: %s frequency of %v: it must be from %d to %d Hz", l.what, freq, LowestFrequency_Hz, HighestFrequency_Hz)
	}
	switch lineDuty_pct {
	case 0:
		return l.HoldLow()
	case 100:
		return l.HoldHigh()
	}
	if l.drive.Inverted {
		lineDuty_pct = 100 - lineDuty_pct
	}
	duty := gpio.Duty(math.Round(lineDuty_pct / 100 * float64(gpio.DutyMax)))
	duty = min(max(duty, 1), gpio.DutyMax-1)
	if err := l.pin.PWM(duty, freq); err != nil {
		return fmt.Errorf("rig: %s pin %s: PWM at %v: %w: check that the pin has PWM and that this program may use it", l.what, l.pin, freq, err)
	}
	return l.let(gpio.High)
}

// let enables or disables the buffer, where there is one.
func (l *Line) let(level gpio.Level) error {
	if l.enable == nil {
		return nil
	}
	if err := l.enable.Out(level); err != nil {
		return fmt.Errorf("rig: line's enable pin %s: %w: check that no other program holds the pin", l.enable, err)
	}
	return nil
}

// HoldLow holds the wire low.
func (l *Line) HoldLow() error {
	return l.out(gpio.Level(l.drive.Inverted), "low")
}

// HoldHigh holds the wire high; an open-drain line is released, as it cannot.
func (l *Line) HoldHigh() error {
	return l.out(gpio.Level(!l.drive.Inverted), "high")
}

// Release lets the wire go: nobody drives it but a pull-up. Stopping the pin
// would not do, as that need not change its level.
func (l *Line) Release() error {
	if l.drive.OpenDrain {
		return l.out(gpio.Level(!l.drive.Inverted), "released")
	}
	if l.enable != nil {
		return l.let(gpio.Low)
	}
	if err := l.pin.In(gpio.Float, gpio.NoEdge); err != nil {
		return fmt.Errorf("rig: %s pin %s: release: %w: check that no other program holds the pin", l.what, l.pin, err)
	}
	return nil
}

func (l *Line) out(level gpio.Level, what string) error {
	if err := l.pin.Out(level); err != nil {
		return fmt.Errorf("rig: %s pin %s: hold %s: %w: check that no other program holds the pin", l.what, l.pin, what, err)
	}
	return l.let(gpio.High)
}
