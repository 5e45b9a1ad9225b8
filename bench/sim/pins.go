package sim

import (
	"fmt"
	"time"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/physic"
)

// Pin is a simulated pin of the board. It starts as an input.
type Pin struct {
	// Err, when set, is what In, Out and PWM fail with; they then change
	// nothing.
	Err error

	name   string
	number int
	w      *World
	output bool
	level  gpio.Level
	pull   gpio.Pull
	edge   gpio.Edge
	input  func() gpio.Level // what an input reads
	drive  func(p *Pin, duty gpio.Duty, f physic.Frequency) error
}

// String names the pin.
func (p *Pin) String() string { return p.name }

// Name names the pin.
func (p *Pin) Name() string { return p.name }

// Number is the pin's number.
func (p *Pin) Number() int { return p.number }

// Function is deprecated in periph and required by it.
func (p *Pin) Function() string {
	if p.output {
		return "Out/" + p.level.String()
	}
	return "In/" + p.Read().String()
}

// Halt does not change a level, as on a real board.
func (p *Pin) Halt() error { return nil }

// In makes the pin an input.
func (p *Pin) In(pull gpio.Pull, edge gpio.Edge) error {
	if p.Err != nil {
		return p.Err
	}
	p.w.settle(p.w.now)
	p.output, p.pull, p.edge = false, pull, edge
	return p.apply(0, 0)
}

// Read is the level at the pin.
func (p *Pin) Read() gpio.Level {
	if p.output {
		return p.level
	}
	if p.input != nil {
		return p.input()
	}
	return p.pull == gpio.PullUp
}

// WaitForEdge moves the time until the pin's level has changed the way In
// asked for, or the timeout is over. A negative timeout returns at once, as
// on kernel-driven lines.
func (p *Pin) WaitForEdge(timeout time.Duration) bool {
	const look = 100 * time.Microsecond
	was := p.Read()
	for end := p.w.now + timeout; p.w.now < end; {
		p.w.advance(min(p.w.now+look, end))
		is := p.Read()
		if is != was && (p.edge == gpio.BothEdges || p.edge == gpio.RisingEdge && is == gpio.High || p.edge == gpio.FallingEdge && is == gpio.Low) {
			return true
		}
		was = is
	}
	return false
}

// Pull is what In asked for.
func (p *Pin) Pull() gpio.Pull { return p.pull }

// DefaultPull is floating.
func (p *Pin) DefaultPull() gpio.Pull { return gpio.Float }

// Out drives the pin.
func (p *Pin) Out(l gpio.Level) error {
	if p.Err != nil {
		return p.Err
	}
	p.w.settle(p.w.now)
	p.output, p.level = true, l
	return p.apply(0, 0)
}

// PWM drives the line's pin; others have none. Full and no duty are levels,
// as in periph's drivers.
func (p *Pin) PWM(duty gpio.Duty, f physic.Frequency) error {
	switch {
	case p.Err != nil:
		return p.Err
	case p.drive == nil:
		return fmt.Errorf("sim: pin %s has no PWM", p.name)
	case !duty.Valid():
		return fmt.Errorf("sim: pin %s: PWM duty %d is outside 0 to %d", p.name, duty, gpio.DutyMax)
	case f <= 0:
		return fmt.Errorf("sim: pin %s: PWM frequency %v is not above zero", p.name, f)
	case duty == 0:
		return p.Out(gpio.Low)
	case duty == gpio.DutyMax:
		return p.Out(gpio.High)
	}
	p.w.settle(p.w.now)
	p.output = true
	return p.apply(duty, f)
}

func (p *Pin) apply(duty gpio.Duty, f physic.Frequency) error {
	if p.drive == nil {
		return nil
	}
	return p.drive(p, duty, f)
}

// StopPin is the stop input: a button from the pin to ground, with a pull-up.
type StopPin struct {
	Pin
	// Pressed: a button that closes pulls the input low, one that opens lets it
	// go high.
	Pressed bool
}

// newStop makes a button that closes when it is pressed, or opens.
func newStop(w *World, opens bool) *StopPin {
	s := &StopPin{Pin: Pin{name: "STOP", number: 2, w: w}}
	s.input = func() gpio.Level { return gpio.Level(s.Pressed == opens) }
	return s
}

// newLine is the pin that drives the signal wire.
func newLine(w *World) *Pin {
	p := &Pin{name: "LINE", number: 3, w: w}
	p.input = func() gpio.Level { return gpio.Low }
	p.drive = func(p *Pin, duty gpio.Duty, f physic.Frequency) error {
		s := &w.wire
		s.driven, s.level, s.pwm = p.output, bool(p.level), duty != 0
		if s.pwm {
			s.high = float64(duty) / float64(gpio.DutyMax)
			s.freq_Hz = float64(f) / float64(physic.Hertz)
			s.since, s.highs = w.now, 0
		}
		w.changed()
		return nil
	}
	return p
}

// SetWireFault changes what is wrong with the signal wire.
func (w *World) SetWireFault(f WireFault) {
	w.settle(w.now)
	w.Wire.Fault = f
	w.changed()
}
