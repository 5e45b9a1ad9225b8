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

	// LongestStill is the longest that contacts stay closed without pulses, to
	// see the heartbeat's relay fall off: the longest that it may hold, 1 s, and
	// 200 ms to see it (chosen).
	LongestStill = 1200 * time.Millisecond

	// LongestPullIn is the longest that a heartbeat's relay may take to close.
	// Chosen: ten times what common ones take.
	LongestPullIn = 500 * time.Millisecond

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
	// PullIn is how long that relay takes to close after the first pulse, with
	// its bounce: it closes without a load, and the contacts after it.
	PullIn time.Duration
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
	waiting   order  // a set that waits for the heartbeat's relay to pull in; kind 0: none
	due       int64  // when the relay is in, and that one carried out
	still     int64  // when contacts without pulses are opened; noTime: they have pulses
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
	farewell  bool   // the main process has said goodbye
}

// start opens everything, and is the first thing that a guard process does
// with its contacts.
func (s *server) start() error {
	now := s.now()
	s.nextBeat = now
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
	s.waiting, s.still = order{}, noTime
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
	if now >= s.still {
		_ = s.release() // tried again with every beat
	}
	if now >= s.nextPulse {
		s.level = !s.level
		if err := s.c.Heartbeat.Out(s.level); err != nil {
			s.level = gpio.High // not known: driven low with the rest
			s.latch(whyContacts, fmt.Sprintf("the heartbeat %s cannot be driven: %v", s.c.Heartbeat, err))
		} else if s.nextPulse += int64(s.c.Half); s.nextPulse <= now {
			s.nextPulse = now + int64(s.c.Half) // late: no burst to catch up
		}
	}
	if s.waiting.kind != 0 && now >= s.due {
		s.carryOut()
	}
	if now >= s.nextBeat {
		s.nextBeat = now + int64(beat)
		if s.stuck {
			_ = s.release()
		}
		s.say(report{kind: reportAlive, why: s.latched, path: s.closed})
	}
	next = min(s.nextBeat, s.nextPulse, s.still)
	if s.closed != NoPath {
		next = min(next, s.until)
	}
	if s.waiting.kind != 0 {
		next = min(next, s.due)
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
		if refusal := s.set(o); refusal != "" || s.waiting.kind == 0 {
			s.answer(o.seq, refusal)
		}
	case orderStill:
		s.answer(o.seq, s.stopPulses(o))
	case orderRenew:
		if s.closed != NoPath && o.grant == s.grant {
			s.until = max(s.until, min(o.until, s.now()+int64(LongestLease)))
		}
	case orderBye:
		s.farewell = true
		if err := s.release(); err != nil {
			s.say(report{kind: reportRefused, seq: o.seq, text: err.Error()})
		} else {
			s.say(report{kind: reportDone, seq: o.seq})
		}
		return false
	}
	return true
}

// answer says that an order is carried out, or why not.
func (s *server) answer(seq uint64, refusal string) {
	if refusal != "" {
		s.say(report{kind: reportRefused, why: s.latched, seq: seq, text: refusal})
		return
	}
	s.say(report{kind: reportDone, path: s.closed, seq: seq})
}

// set gives the contacts their places, and says in words why it did not.
// Everything is open then. Where the heartbeat's relay has to pull in first the
// pulses begin, and the order waits.
func (s *server) set(o order) (refusal string) {
	now := s.now()
	s.waiting = order{} // nobody waits for it any more
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
	if s.c.Heartbeat != nil && s.nextPulse == noTime { // the relay is open or about to be
		if err := s.c.Switch.Set(NoPath, 0); err != nil {
			_ = s.release()
			return "a contact does not open: " + err.Error()
		}
		s.closed, s.still = NoPath, noTime
		s.nextPulse, s.due = now, now+int64(s.c.PullIn)
	}
	if now >= s.due {
		return s.put(o)
	}
	s.waiting = o
	// The lease begins when the contacts are due to close. When they close
	// late, it is so much shorter.
	s.waiting.until += s.due - now
	return ""
}

// carryOut closes the contacts behind a relay that has pulled in.
func (s *server) carryOut() {
	o := s.waiting
	s.waiting = order{}
	if late := s.now() - o.until; late >= 0 {
		_ = s.release()
		s.answer(o.seq, fmt.Sprintf("the lease ended %.0f ms ago, before the heartbeat's relay was in", float64(late)/1e6))
		return
	}
	s.answer(o.seq, s.put(o))
}

// put moves the contacts, or opens all.
func (s *server) put(o order) (refusal string) {
	if err := s.c.Switch.Set(o.path, 0); err != nil {
		_ = s.release()
		return "a contact does not do as told: " + err.Error()
	}
	s.closed, s.grant, s.until = o.path, o.seq, o.until
	return ""
}

// stopPulses keeps what is closed without pulses, up to the order's time, so
// that the relay can be seen to fall off. The lease goes on as ever.
func (s *server) stopPulses(o order) (refusal string) {
	now := s.now()
	switch {
	case s.c.Heartbeat == nil:
		return "there is no heartbeat to stop"
	case s.closed == NoPath:
		return "no contact is closed"
	case o.until <= now || o.until-now > int64(LongestStill):
		return fmt.Sprintf("the heartbeat stops for up to %v, not for %.0f ms", LongestStill, float64(o.until-now)/1e6)
	}
	s.nextPulse, s.still = noTime, o.until
	return ""
}
