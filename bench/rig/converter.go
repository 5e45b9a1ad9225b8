package rig

import (
	"errors"
	"fmt"
	"time"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"

	"dutybench/bench/chip/ina219"
	"dutybench/bench/chip/ina226"
	"dutybench/bench/clock"
	"dutybench/bench/pwm"
)

// reading is one of the current.
type reading struct {
	middle    time.Duration
	current_A float64
	clipped   bool
	lost      int
}

// converter reads the current at its own pace, which is the sampler's.
type converter interface {
	Start() error
	// Next waits for the next conversion. It does not allocate.
	Next(r *reading) error
	Off() error
	Interval() time.Duration
}

// openConverter finds the chip on the bus, learns its pace, and leaves it off.
func openConverter(bus i2c.Bus, clk clock.Clock, d *Description) (converter, error) {
	speed := physic.Frequency(d.I2C.Speed_Hz * float64(physic.Hertz))
	sign := 1.0
	if d.Current.Reversed {
		sign = -1
	}
	var c converter
	var err error
	if d.Current.Chip == "ina219" {
		c, err = openINA219(bus, clk, d, speed, sign)
	} else {
		c, err = openINA226(bus, clk, d, speed, sign)
	}
	if err != nil {
		return nil, fmt.Errorf("current converter: %w", err)
	}
	return c, nil
}

// alert_A is where the converter's alert cuts.
func (d *Description) alert_A() float64 { return min(d.Bench.Current_A, d.Range_A()*0.999) }

type converter226 struct {
	dev     *ina226.Dev
	sign    float64
	config  ina226.Config
	reading ina226.Reading
}

func openINA226(bus i2c.Bus, clk clock.Clock, d *Description, speed physic.Frequency, sign float64) (converter, error) {
	c := &converter226{sign: sign, config: ina226.Config{Mode: ina226.ShuntContinuous}}
	for c.config.ShuntTime.Typical() != d.Current.Conversion {
		c.config.ShuntTime++
	}
	var err error
	if c.dev, err = ina226.New(bus, clk, ina226.Opts{Address: d.Current.Address, Shunt: d.Current.shunt(), BusSpeed: speed, Config: c.config}); err != nil {
		return nil, err
	}
	if d.AlertCuts {
		// What the alert is wired to has to latch: the ready flag is in the
		// same register, and reading it releases the alert.
		if _, err := c.dev.SetOverCurrent(d.alert_A()); err != nil {
			return nil, err
		}
	}
	return c, errors.Join(c.dev.Learn(64), c.dev.Off())
}

func (c *converter226) Start() error            { return c.dev.Configure(c.config) }
func (c *converter226) Off() error              { return c.dev.Off() }
func (c *converter226) Interval() time.Duration { return c.config.ShuntTime.Typical() }

func (c *converter226) Next(r *reading) error {
	if err := c.dev.Next(&c.reading); err != nil {
		return err
	}
	*r = reading{c.reading.Middle, c.sign * c.dev.ShuntCurrent_A(c.reading.Shunt), c.reading.Saturated, c.reading.Lost}
	return nil
}

type converter219 struct {
	dev     *ina219.Dev
	sign    float64
	config  ina219.Config
	reading ina219.Reading
}

func openINA219(bus i2c.Bus, clk clock.Clock, d *Description, speed physic.Frequency, sign float64) (converter, error) {
	c := &converter219{sign: sign, config: ina219.Config{Bus32V: true, Range: d.shuntRange(), Mode: ina219.ShuntContinuous}}
	for c.config.ShuntTime.Typical() != d.Current.Conversion {
		c.config.ShuntTime++
	}
	var err error
	if c.dev, err = ina219.New(bus, clk, ina219.Opts{Address: d.Current.Address, Shunt: d.Current.shunt(), BusSpeed: speed, Config: c.config}); err != nil {
		return nil, err
	}
	return c, errors.Join(c.dev.Learn(64), c.dev.Off())
}

func (c *converter219) Start() error            { return c.dev.Configure(c.config) }
func (c *converter219) Off() error              { return c.dev.Off() }
func (c *converter219) Interval() time.Duration { return c.config.ShuntTime.Typical() }

func (c *converter219) Next(r *reading) error {
	if err := c.dev.Next(&c.reading); err != nil {
		return err
	}
	*r = reading{c.reading.Middle, c.sign * c.dev.ShuntCurrent_A(c.reading.Shunt), c.reading.Saturated, c.reading.Lost}
	return nil
}

// linePin is what drives the signal wire: a pin of the board, or a channel of
// the kernel's PWM.
func linePin(b Board, l *LinePin) (gpio.PinIO, error) {
	if l.PWMChip != "" {
		return pwm.Open(b.Tree(), b.Clock(), l.PWMChip, l.Channel)
	}
	if p, ok := b.(interface {
		PWMPin(name string) (gpio.PinIO, error)
	}); ok {
		return p.PWMPin(l.Pin) // a board on which not every pin has PWM
	}
	return b.Pin(l.Pin)
}
