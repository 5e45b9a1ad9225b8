package sim

import (
	"fmt"
	"time"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/physic"
)

// The pins of the contacts in the supply's way.
const (
	SwitchName    = "SWITCH"
	SecondName    = "SWITCH2"
	PreChargeName = "PRECHARGE"
	HeartbeatName = "HEARTBEAT"
)

// SwitchPin is one contact in the supply's way: high closes it. An input
// leaves it open, as its gate has a pull-down. With a line behind it its level
// is the file's, whoever drives that.
type SwitchPin struct {
	Pin
	fault SwitchFault
	line  *LinePin
	relay *relay
}

// SwitchFault is what is wrong with a contact.
type SwitchFault int

// The faults of a contact.
const (
	SwitchWhole      SwitchFault = iota
	SwitchWelded                 // conducts whatever the pin says
	SwitchNotClosing             // never conducts
)

// RelayPullIn is how long the heartbeat's relay takes to close after the first
// pulse: chosen, at the slow end of what small relays with a pulse detector
// take (common practice, no source).
const RelayPullIn = 20 * time.Millisecond

// relay closes RelayPullIn after its pulses begin and falls off when they stop:
// it holds for so long after each change of level.
type relay struct {
	hold    time.Duration
	ever    bool
	first   time.Duration // change of the series under way, on the clock of now
	last    time.Duration // change
	looked  time.Duration // when the line was last looked at
	level   gpio.Level
	changes uint64
	now     func() time.Duration
}

// contacts is what lies between the supply and the shunt, in this order: the
// heartbeat's relay, the first contact, the second one. Beside the last of the
// main contacts lies the pre-charge contact with its resistor: with two in
// series it needs the first closed too, so that no single contact, welded,
// lets anything through.
type contacts struct {
	first, second, preCharge, heartbeat *SwitchPin // nil: none, but for first
	preCharge_Ohm                       float64
	// live says that what conducts may change between two calls of pins.
	live bool
}

// state is whether they conduct, and what resistance they add.
func (c *contacts) state() (on bool, ohm float64) {
	switch {
	case c.heartbeat != nil && !c.heartbeat.conducts():
		return false, 0
	case c.second != nil && !c.first.conducts():
		return false, 0
	}
	last := c.first
	if c.second != nil {
		last = c.second
	}
	switch {
	case last.conducts():
		return true, 0
	case c.preCharge != nil && c.preCharge.conducts():
		return true, c.preCharge_Ohm
	}
	return false, 0
}

// newContacts builds the contacts that the options ask for.
func newContacts(w *World, o Options) contacts {
	c := contacts{first: newSwitch(w, SwitchName, 1), preCharge_Ohm: o.PreCharge_Ohm, live: o.Lines != nil || o.Heartbeat > 0}
	if o.Second {
		c.second = newSwitch(w, SecondName, 5)
	}
	if o.PreCharge_Ohm > 0 {
		c.preCharge = newSwitch(w, PreChargeName, 6)
	}
	if o.Heartbeat > 0 {
		c.heartbeat = newSwitch(w, HeartbeatName, 7)
		c.heartbeat.relay = &relay{hold: o.Heartbeat, now: func() time.Duration { return w.stepped }}
	}
	if o.Lines == nil {
		return c
	}
	// The others that drive the lines keep real time.
	start := time.Now()
	for _, s := range c.all() {
		s.line, s.Err = o.Lines.Pin(s.name)
		if s.relay != nil && s.line != nil {
			s.relay.changes = s.line.Changes()
			s.relay.now = func() time.Duration { return time.Since(start) }
		}
	}
	return c
}

// all are the contacts that there are.
func (c *contacts) all() (out []*SwitchPin) {
	for _, s := range []*SwitchPin{c.first, c.second, c.preCharge, c.heartbeat} {
		if s != nil {
			out = append(out, s)
		}
	}
	return out
}

func newSwitch(w *World, name string, number int) *SwitchPin {
	s := &SwitchPin{Pin: Pin{name: name, number: number, w: w}}
	s.drive = func(_ *Pin, duty gpio.Duty, _ physic.Frequency) error {
		if duty != 0 {
			return fmt.Errorf("sim: pin %s has no PWM", s.name)
		}
		if s.line != nil {
			if err := s.line.Out(gpio.Level(s.output) && s.level); err != nil {
				return err
			}
		}
		if s.relay != nil && s.line == nil {
			s.relay.see(gpio.Level(s.output) && s.level)
		}
		w.switchOver()
		return nil
	}
	return s
}

// SetFault changes what is wrong with the contact.
func (s *SwitchPin) SetFault(f SwitchFault) {
	s.w.settle(s.w.now)
	s.fault = f
	s.w.switchOver()
}

// conducts says whether current can flow through this contact.
func (s *SwitchPin) conducts() bool {
	switch {
	case s.fault == SwitchWelded:
		return true
	case s.fault == SwitchNotClosing:
		return false
	case s.relay != nil && s.line != nil:
		s.relay.look(s.line.Changes())
		return s.relay.holds()
	case s.relay != nil:
		return s.relay.holds()
	case s.line != nil:
		return bool(s.line.Read())
	}
	return s.output && bool(s.level)
}

func (r *relay) see(l gpio.Level) {
	if l != r.level {
		r.level = l
		now := r.now()
		r.pulse(now, now)
	}
}

// look takes the count of changes of a line that another process drives. Where
// there were several since the last look, they began right after it: the bench
// does not look while it waits for that process.
func (r *relay) look(changes uint64) {
	now := r.now()
	switch n := changes - r.changes; {
	case n == 1:
		r.pulse(now, now)
	case n > 1:
		r.pulse(r.looked, now)
	}
	r.changes, r.looked = changes, now
}

// pulse is one change or several, from one time to another.
func (r *relay) pulse(from, to time.Duration) {
	if !r.ever || from-r.last >= r.hold {
		r.first = from
	}
	r.ever, r.last = true, to
}

func (r *relay) holds() bool {
	now := r.now()
	return r.ever && now-r.last < r.hold && now-r.first >= RelayPullIn
}

// switchOver works out whether current can flow, after a contact may have
// moved.
func (w *World) switchOver() {
	w.on, w.preCharge_Ohm = w.contacts.state()
	w.changed()
}
