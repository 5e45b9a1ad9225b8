package guard

import (
	"fmt"
	"time"

	"periph.io/x/conn/v3/gpio"
)

const (
	// LongestLease is the longest lease that the guard process gives. Chosen:
	// with it the supply is off half a second after the last sign of life, well
	// within a second.
	LongestLease = 500 * time.Millisecond

	// beat is how often the guard process says that it is alive, and tries
	// again to open a contact that did not.
	beat = 20 * time.Millisecond

	noTime = int64(1<<63 - 1)
)

// Contacts are the pins that the guard process holds.
type Contacts struct {
	Switch Switch
	// Heartbeat, when not nil, is toggled every Half while contacts are closed
	// under a lease, for a relay that falls off when the pulses stop.
	Heartbeat gpio.PinOut
	Half      time.Duration
}

// server is the guard process without its pipes: what it does with orders and
// with time. Times are since boot, in ns. It does not allocate while all is
// well.
//
// It latches: once it has opened by itself, for whatever reason, it closes
// nothing more. The test has failed by then, and the next one starts a new
// guard. It stays to hold the contacts open for as long as the main process
// lives, because a line that a process lets go may float.
type server struct {
	c    Contacts
	mark *Marker // nil: none
	now  func() int64
	send func(*report)

	closed    Path
	grant     uint64 // seq of the set under which contacts are closed
	seq       uint64 // of the last order
	until     int64  // end of the lease
	latched   why
	because   string
	stuck     bool // the contacts could not be opened: tried again with every beat
	nextBeat  int64
	nextPulse int64
	level     gpio.Level
	out       report // sent, and used again
}

// start opens everything, and is the first thing that a guard process does
// with its contacts.
func (s *server) start() error {
	now := s.now()
	s.nextBeat, s.nextPulse = now, noTime
	return s.release()
}

// release opens the contacts, the heartbeat after them.
func (s *server) release() error {
	err := s.c.Switch.Set(NoPath, 0)
	for i := 0; i < 2 && err != nil; i++ {
		err = s.c.Switch.Set(NoPath, 0)
	}
	s.stuck = err != nil
	s.closed, s.until, s.nextPulse = NoPath, 0, noTime
	if s.c.Heartbeat != nil && s.level == gpio.High {
		s.level = gpio.Low
		_ = s.c.Heartbeat.Out(gpio.Low) // a still pin is enough, whatever its level
	}
	if err == nil && s.mark != nil {
		// An entry that stays is told at the next start, and that is all.
		_ = s.mark.Off()
	}
	return err
}

// latch opens first, and says why after.
func (s *server) latch(w why, because string) {
	err := s.release()
	if s.latched != whyNot {
		return
	}
	if err != nil {
		because += fmt.Sprintf("; and a contact does not open (%v): switch the supply off by hand", err)
	}
	s.latched, s.because = w, because
	s.say(report{kind: reportOpened, why: w, text: because})
}

func (s *server) say(r report) {
	r.at = s.now()
	s.out = r
	s.send(&s.out)
}

// tick does what is due and gives the time at which it wants to be called
// again at the latest.
func (s *server) tick() (next int64) {
	now := s.now()
	if s.closed != NoPath && now >= s.until {
		s.latch(whySilence, fmt.Sprintf("the main process has not renewed the lease, which ended %.0f ms ago", float64(now-s.until)/1e6))
	}
	if s.closed != NoPath && now >= s.nextPulse {
		s.level = !s.level
		if err := s.c.Heartbeat.Out(s.level); err != nil {
			s.level = gpio.High // not known: driven low with the rest
			s.latch(whyContacts, fmt.Sprintf("the heartbeat %s cannot be driven: %v", s.c.Heartbeat, err))
		} else if s.nextPulse += int64(s.c.Half); s.nextPulse <= now {
			s.nextPulse = now + int64(s.c.Half) // late: no burst to catch up
		}
	}
	if now >= s.nextBeat {
		s.nextBeat = now + int64(beat)
		if s.stuck {
			_ = s.release()
		}
		s.say(report{kind: reportAlive, why: s.latched, path: s.closed})
	}
	next = min(s.nextBeat, s.nextPulse)
	if s.closed != NoPath {
		next = min(next, s.until)
	}
	return next
}

// take carries out one order. It gives false when it was the last one.
func (s *server) take(o order) bool {
	if o.seq <= s.seq {
		s.latch(whyBadFrame, "the main process's messages came out of order")
		return true
	}
	s.seq = o.seq
	switch o.kind {
	case orderSet:
		if refusal := s.set(o); refusal != "" {
			s.say(report{kind: reportRefused, why: s.latched, seq: o.seq, text: refusal})
		} else {
			s.say(report{kind: reportDone, path: s.closed, seq: o.seq})
		}
	case orderRenew:
		if s.closed != NoPath && o.grant == s.grant {
			s.until = max(s.until, min(o.until, s.now()+int64(LongestLease)))
		}
	case orderBye:
		if err := s.release(); err != nil {
			s.say(report{kind: reportRefused, seq: o.seq, text: err.Error()})
		} else {
			s.say(report{kind: reportDone, seq: o.seq})
		}
		return false
	}
	return true
}

// set gives the contacts their places, and says in words why it did not.
// Everything is open then.
func (s *server) set(o order) (refusal string) {
	now := s.now()
	if o.path != NoPath {
		switch {
		case s.latched != whyNot:
			refusal = "it has opened and stays open: " + s.because
		case o.until <= now:
			refusal = fmt.Sprintf("the order is %.0f ms too old", float64(now-o.until)/1e6)
		case o.until-now > int64(LongestLease):
			refusal = fmt.Sprintf("the lease is longer than %v", LongestLease)
		case o.path&^s.c.Switch.Paths() != 0:
			refusal = fmt.Sprintf("the switch has no %s contact", o.path&^s.c.Switch.Paths())
		}
	}
	if o.path == NoPath || refusal != "" {
		if err := s.release(); err != nil {
			return "a contact does not open: " + err.Error()
		}
		return refusal
	}
	if s.mark != nil {
		if err := s.mark.On(); err != nil {
			_ = s.release()
			return "it cannot note that the supply goes on: " + err.Error()
		}
	}
	if err := s.c.Switch.Set(o.path, 0); err != nil {
		_ = s.release()
		return "a contact does not do as told: " + err.Error()
	}
	s.closed, s.grant, s.until = o.path, o.seq, o.until
	if s.c.Heartbeat != nil && s.nextPulse == noTime {
		s.nextPulse = now
	}
	return ""
}
