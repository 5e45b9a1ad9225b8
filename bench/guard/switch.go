package guard

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"periph.io/x/conn/v3/gpio"
)

// Path is a set of contacts in the supply's way to the unit.
type Path uint8

// The contacts a rig may have. One or two main contacts lie in series;
// beside them a pre-charge contact with a resistor, which lets little through.
const (
	First Path = 1 << iota
	Second
	PreCharge

	NoPath Path = 0
)

// String names the contacts, such as "first and second".
func (p Path) String() string {
	var names []string
	for i, name := range []string{"first", "second", "pre-charge"} {
		if p&(1<<i) != 0 {
			names = append(names, name)
		}
	}
	if len(names) == 0 {
		return "none"
	}
	return strings.Join(names, " and ")
}

// Switch is the supply switch, as the guard that owns it works it. In
// simulation it is pins; on hardware a second process holds them.
type Switch interface {
	// Paths are the contacts that there are; First always is.
	Paths() Path
	// Set closes these contacts and opens all others, those that open first.
	// What is closed holds for the lease and opens by itself after it, where a
	// second process holds the pins. Set(NoPath, 0) opens all; it tries
	// whatever went before, and an error means that the supply may be on.
	Set(p Path, lease time.Duration) error
	// Renew makes the lease end so long from now. It neither blocks nor
	// allocates. An error means that nobody holds the switch any more, and
	// that it has been opened as far as this process can.
	Renew(lease time.Duration) error
	String() string
}

// relayed is a switch behind a heartbeat's relay: a Set that closes takes up
// to so long, as the relay closes first.
type relayed interface{ PullIn() time.Duration }

// Stiller is a switch behind a heartbeat's relay whose pulses can be stopped,
// with the contacts closed, to see that the relay falls off. After most the
// contacts open.
type Stiller interface {
	Still(most time.Duration) error
}

// pullIn is that of a switch; 0 without a relay.
func pullIn(s Switch) time.Duration {
	if r, ok := s.(relayed); ok {
		return r.PullIn()
	}
	return 0
}

// Pins is a switch of pins that this process holds itself: for simulated
// time, and inside the guard's own process. High is closed.
type Pins struct {
	first, second, preCharge gpio.PinOut
}

// NewPins takes the pins: the first main contact, and the second one and the
// pre-charge contact where there are any. It touches none of them.
func NewPins(first, second, preCharge gpio.PinOut) *Pins { return &Pins{first, second, preCharge} }

// pin is that of one contact; nil when there is none.
func (s *Pins) pin(p Path) gpio.PinOut {
	switch p {
	case First:
		return s.first
	case Second:
		return s.second
	}
	return s.preCharge
}

// Paths are the contacts that have a pin.
func (s *Pins) Paths() Path {
	p := First
	if s.second != nil {
		p |= Second
	}
	if s.preCharge != nil {
		p |= PreCharge
	}
	return p
}

// Set opens first and closes after. When a contact does not open, none is
// closed; when one does not close, all are opened again.
func (s *Pins) Set(p Path, _ time.Duration) error {
	if p&^s.Paths() != 0 {
		return fmt.Errorf("guard: the switch has no %s contact; its contacts are %s", p&^s.Paths(), s.Paths())
	}
	if err := s.put(s.Paths()&^p, gpio.Low); err != nil {
		return err
	}
	if err := s.put(p, gpio.High); err != nil {
		return errors.Join(err, s.put(s.Paths(), gpio.Low))
	}
	return nil
}

// put gives every contact of a set its level, whatever becomes of the others.
func (s *Pins) put(p Path, l gpio.Level) error {
	var err error
	for _, one := range [...]Path{First, Second, PreCharge} {
		if p&one != 0 {
			err = errors.Join(err, s.pin(one).Out(l))
		}
	}
	return err
}

// Renew has nothing to do: the guard in this process keeps the lease.
func (s *Pins) Renew(time.Duration) error { return nil }

// String names the pins.
func (s *Pins) String() string {
	var names []string
	for _, pin := range []gpio.PinOut{s.first, s.second, s.preCharge} {
		if pin != nil {
			names = append(names, pin.Name())
		}
	}
	return strings.Join(names, ", ")
}
