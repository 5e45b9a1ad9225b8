package rig

import (
	"errors"
	"fmt"
	"time"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/physic"

	"dutybench/bench/guard"
)

// inverted is a pin whose low level means on: it reads and writes the other
// way round.
type inverted struct{ gpio.PinIO }

func (p inverted) Out(l gpio.Level) error { return p.PinIO.Out(!l) }
func (p inverted) Read() gpio.Level       { return !p.PinIO.Read() }
func (p inverted) PWM(d gpio.Duty, f physic.Frequency) error {
	return p.PinIO.PWM(gpio.DutyMax-d, f)
}

// Contacts are the pins of the supply switch on a board, high for closed
// whatever their wiring. All are opened before it returns.
func Contacts(b Board, d *Description) (*guard.Pins, error) {
	list := d.Switches
	if d.PreCharge != nil {
		list = append(list[:len(list):len(list)], d.PreCharge.Contact)
	}
	pins := make([]gpio.PinOut, len(list))
	var errs error
	for i, c := range list {
		p, err := b.Pin(c.Pin)
		if err != nil {
			errs = errors.Join(errs, fmt.Errorf("rig %s: supply switch: %w", d.Name, err))
			continue
		}
		if c.ActiveLow {
			p = inverted{p}
		}
		if err := p.Out(gpio.Low); err != nil {
			errs = errors.Join(errs, fmt.Errorf("rig %s: supply switch %s does not go off: %w: switch the supply off by hand", d.Name, p, err))
		}
		pins[i] = p
	}
	if errs != nil {
		return nil, errs
	}
	var first, second, preCharge gpio.PinOut
	if d.PreCharge != nil {
		preCharge, pins = pins[len(pins)-1], pins[:len(pins)-1]
	}
	first = pins[0]
	if len(pins) > 1 {
		second = pins[1]
	}
	return guard.NewPins(first, second, preCharge), nil
}

// guardedInputs is a board that can tell a read that failed from a low level.
// A nil read without an error: not of this pin.
type guardedInputs interface {
	GuardedInput(name string, pull gpio.Pull) (read func() (gpio.Level, error), err error)
}

// guarded is an input that is high when pressed, turned over: low, and so
// pressed, when it cannot be read.
type guarded struct {
	gpio.PinIO
	read func() (gpio.Level, error)
}

func (p guarded) Read() gpio.Level {
	l, err := p.read()
	return gpio.Level(err == nil && !bool(l))
}

// openStop takes the stop input, low for pressed whatever its wiring. A failed
// read is low with periph, and so pressed, where nothing is turned over; where
// it is, the board is asked for an input that tells.
func openStop(b Board, in *Input) (gpio.PinIO, error) {
	if g, ok := b.(guardedInputs); ok && !in.ActiveLow {
		p, err := b.Pin(in.Pin)
		if err != nil {
			return nil, err
		}
		pull, err := in.pull()
		if err != nil {
			return nil, err
		}
		read, err := g.GuardedInput(in.Pin, pull)
		if err != nil {
			return nil, fmt.Errorf("rig: input %s: %w: check that no other program holds the pin", in.Pin, err)
		}
		if read != nil {
			return guarded{p, read}, nil
		}
	}
	p, err := OpenInput(b, in, gpio.NoEdge)
	if err != nil || in.ActiveLow {
		return p, err
	}
	return inverted{p}, nil
}

// pull is the input's pull resistor.
func (in *Input) pull() (gpio.Pull, error) {
	pull, ok := map[string]gpio.Pull{"up": gpio.PullUp, "down": gpio.PullDown, "none": gpio.Float}[in.Pull]
	if !ok {
		return pull, fmt.Errorf("rig: input %s: pull %q is not up, down or none: correct the rig's description", in.Pin, in.Pull)
	}
	return pull, nil
}

// Settle is how long the slowest of the contacts takes to close or open.
func (d *Description) Settle() time.Duration {
	var t time.Duration
	for _, c := range d.Switches {
		t = max(t, c.Settle)
	}
	if d.PreCharge != nil {
		t = max(t, d.PreCharge.Settle)
	}
	return t
}

// OpenInput takes a digital input of a board, as it is wired: nothing is
// inverted.
func OpenInput(b Board, in *Input, edge gpio.Edge) (gpio.PinIO, error) {
	p, err := b.Pin(in.Pin)
	if err != nil {
		return nil, err
	}
	pull, err := in.pull()
	if err != nil {
		return nil, err
	}
	if err := p.In(pull, edge); err != nil {
		return nil, fmt.Errorf("rig: input %s: %w: check that no other program holds the pin", p, err)
	}
	return p, nil
}
