package rig

import (
	"errors"
	"fmt"
	"syscall"
	"time"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/spi"

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

// Options say how a rig is opened.
type Options struct {
	// Switch is the supply switch where another process holds it; nil: its
	// pins are taken from the board.
	Switch guard.Switch
	// Stands says that the board's time stands still while nobody asks for a
	// sample, as a simulated one's does.
	Stands bool
	// Stated is the description whose chips, pins and buses are on the record,
	// where a simulated board has moved them; nil: the rig's own.
	Stated *Description
	// Facts come first on the record.
	Facts []Fact
	// Unit_A is the highest current that the unit in the socket may take for
	// long; the converter's alert is set to no more. 0: not known.
	Unit_A float64
}

// New opens a rig on a board. The supply is switched off before anything else,
// and the line released; when anything fails after that, both stay so, and
// what was opened is closed.
func New(name string, b Board, d Description, o Options) (_ *Rig, err error) {
	if err := d.Check(); err != nil {
		return nil, err
	}
	limits := d.Bench
	if name == Sim {
		limits = BenchLimits{SupplyLimit_A: limits.SupplyLimit_A} // nothing burns there
	}
	r := &Rig{Name: name, Clock: b.Clock(), Switch: o.Switch, Stands: o.Stands, Accuracy: d.Accuracy(), Limits: limits, Settle: d.Settle(),
		Integrating: !isSPI(d.Current.Chip)} // SBOS547B 7.3.1, SBOS448G: delta-sigma converters integrate over the conversion time
	if r.Switch == nil {
		pins, err := Contacts(b, &d)
		if err != nil {
			return nil, err
		}
		r.Switch = pins
	} else if err := r.Switch.Set(guard.NoPath, 0); err != nil {
		return nil, fmt.Errorf("rig %s: supply switch %s does not go off: %w: switch the supply off by hand", name, r.Switch, err)
	}
	r.InSeries = d.inSeries()
	if d.PreCharge != nil {
		r.PreCharge_Ohm = d.PreCharge.Resistor_Ohm
	}
	r.Pulse, r.LinePullUp_Ohm = d.PreCharge == nil && !o.Stands, d.LinePin.PullUp_Ohm
	if d.LineLevel != nil {
		r.LineLoad_Ohm = float64(d.LineLevel.Divider.Top+d.LineLevel.Divider.Bottom) / 1e9
	}
	// Both are let go before either's error ends it.
	var lineErr, loadErr error
	r.Load, loadErr = openLoad(b, &d)
	r.Line, lineErr = openLine(b, &d)
	if err := errors.Join(loadErr, lineErr); err != nil {
		return nil, err
	}
	r.Position, r.PositionBy = d.Position != nil, d.Position.by()
	if d.Stop != nil {
		if r.Stop, err = openStop(b, d.Stop); err != nil {
			return nil, fmt.Errorf("rig %s: stop input: %w", name, err)
		}
	}
	if d.AlertCuts && o.Unit_A > 0 {
		d.Bench.Current_A = min(d.Bench.Current_A, o.Unit_A)
	}
	s, release, rescued, err := openSampler(b, &d)
	if err != nil {
		return nil, fmt.Errorf("rig %s: %w", name, err)
	}
	r.Sampler, r.Rescued = s, rescued
	stated := &d
	if o.Stated != nil {
		stated = o.Stated
	}
	r.Facts = append(o.Facts, stated.facts(s.Interval())...)
	if d.AlertCuts {
		r.Facts = append(r.Facts, Fact{"alert", fmt.Sprintf("cuts above %.4g A only; not for a program that hangs", d.alert_A())})
	}
	line, load := r.Line, r.Load
	r.Close = func() error {
		var err error
		if load != nil {
			err = load.Open()
		}
		return errors.Join(err, s.Stop(), line.Release(), release())
	}
	return r, nil
}

// openLine takes what drives the signal wire, and releases it.
func openLine(b Board, d *Description) (*Line, error) {
	pin, err := linePin(b, &d.LinePin)
	if err != nil {
		return nil, fmt.Errorf("rig %s: line: %w", d.Name, err)
	}
	line := NewLine(pin, d.LinePin.LineDrive)
	if d.LinePin.Enable != "" {
		if line.enable, err = b.Pin(d.LinePin.Enable); err != nil {
			return nil, fmt.Errorf("rig %s: line's enable: %w", d.Name, err)
		}
	}
	return line, line.Release()
}

// releaseTime is how long ReleaseLine tries a line that another process still
// holds: one that was killed has let go long before (chosen).
const releaseTime = 200 * time.Millisecond

// ReleaseLine lets the signal wire of a board go and opens its load switch, for
// who cleans up after a process that can no longer do so. A pin that another
// process holds is tried again for 200 ms.
func ReleaseLine(b Board, d *Description) error {
	clk := b.Clock()
	for end := clk.Now() + releaseTime; ; clk.Sleep(10 * time.Millisecond) {
		_, loadErr := openLoad(b, d)
		_, err := openLine(b, d)
		if err = errors.Join(loadErr, err); !errors.Is(err, syscall.EBUSY) || clk.Now() >= end {
			return err
		}
	}
}
