package rig

import (
	"errors"
	"fmt"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/spi"

	"dutybench/bench/chip/ads1115"
	"dutybench/bench/chip/ina226"
	"dutybench/bench/clock"
	"dutybench/bench/guard"
	"dutybench/bench/sysfs"
)

// Sim is the name of the simulated rig.
const Sim = "sim"

// Board is what a rig is wired to: who implements periph's interfaces.
type Board interface {
	Clock() clock.Clock
	Bus(name string) (i2c.BusCloser, error)
	Port(name string) (spi.PortCloser, error)
	Pin(name string) (gpio.PinIO, error)
	// Tree is the kernel's tree of files, for its PWM and its temperature
	// sensors.
	Tree() sysfs.Tree
}

// ErrUnknown marks a rig that this program cannot open.
var ErrUnknown = errors.New("no such rig")

// Open opens the rig of that name on a board: "sim", with a simulated bench
// as the board. Other names are refused until there are rig files.
func Open(name string, b Board, w Wiring) (*Rig, error) {
	if name != Sim {
		return nil, fmt.Errorf("rig: %q: %w: this version drives the simulated rig only (%s): use --rig %s", name, ErrUnknown, Machine(), Sim)
	}
	r, err := New(name, b, w)
	if err != nil {
		return nil, err
	}
	r.Stands = true
	return r, nil
}

// New wires a rig. The supply is switched off before anything else, and the
// line released; when a chip does not answer, both stay so.
func New(name string, b Board, w Wiring) (*Rig, error) {
	if err := w.Check(); err != nil {
		return nil, err
	}
	sw, err := b.Pin(w.SwitchPin)
	if err != nil {
		return nil, fmt.Errorf("rig %s: supply switch: %w: check the description's pins", name, err)
	}
	if err := sw.Out(gpio.Low); err != nil {
		return nil, fmt.Errorf("rig %s: supply switch %s does not go off: %w: switch the supply off by hand", name, sw, err)
	}
	linePin, err := b.Pin(w.LinePin)
	if err != nil {
		return nil, fmt.Errorf("rig %s: line: %w: check the description's pins", name, err)
	}
	line := NewLine(linePin, w.Line)
	if err := line.Release(); err != nil {
		return nil, err
	}
	r := &Rig{Name: name, Clock: b.Clock(), Switch: guard.NewPins(sw, nil, nil), Line: line, Accuracy: w.Accuracy(),
		Integrating: true /* INA226: SBOS547B, 7.3.1, a delta-sigma converter integrates over the conversion time */}
	if w.StopPin != "" {
		if r.Stop, err = b.Pin(w.StopPin); err != nil {
			return nil, fmt.Errorf("rig %s: stop input: %w: check the description's pins", name, err)
		}
		if err := r.Stop.In(gpio.PullUp, gpio.NoEdge); err != nil {
			return nil, fmt.Errorf("rig %s: stop input %s: %w: check that no other program holds the pin", name, r.Stop, err)
		}
	}
	bus, err := b.Bus(w.Bus)
	if err != nil {
		return nil, fmt.Errorf("rig %s: bus: %w: check the description", name, err)
	}
	s, err := newSampler(bus, r.Clock, w)
	if err != nil {
		return nil, errors.Join(err, bus.Close())
	}
	r.Sampler = s
	r.Facts = w.facts(s.Interval())
	r.Close = func() error {
		return errors.Join(s.Stop(), line.Release(), bus.Close())
	}
	return r, nil
}

func newSampler(bus i2c.Bus, clk clock.Clock, w Wiring) (*sampler, error) {
	ina, err := ina226.New(bus, clk, ina226.Opts{Address: w.INA226, Shunt: w.Shunt, BusSpeed: w.BusSpeed,
		Config: ina226.Config{ShuntTime: w.Conversion, Mode: ina226.ShuntContinuous}})
	if err == nil {
		err = errors.Join(ina.Learn(64), ina.Off())
	}
	if err != nil {
		return nil, fmt.Errorf("rig: current converter: %w", err)
	}
	adc, err := ads1115.New(bus, clk, w.ADS1115)
	if err != nil {
		return nil, fmt.Errorf("rig: voltage converter: %w", err)
	}
	return &sampler{clk: clk, ina: ina, adc: adc, wiring: w, interval: w.Conversion.Typical()}, nil
}
