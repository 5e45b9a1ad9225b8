// Package guard watches and cuts the supply. The only way to have supply is
// a lease on the guard, renewed with every sample; when it is not renewed,
// or any rule is met, the supply goes off first and the command idle after.
//
// The switch's pin is written and never read back: on kernel-driven lines,
// reading an output turns it into a pulled-up input, which could close the
// switch. That the supply is off is shown by the current, which the run
// measures after every opening.
package guard

import (
	"errors"
	"fmt"
	"sync/atomic"
	"time"

	"dutybench/bench/clock"
)

// ErrTripped says that the supply was cut and stays off: a guard that has
// tripped gives no further lease.
var ErrTripped = errors.New("guard: tripped, the supply stays off")

// ErrSignalled says that the guard process was told to end by a signal, as by
// Ctrl-C: somebody wants the test to end, and nothing is wrong.
var ErrSignalled = errors.New("guard: told to end")

// ErrLate says that one of the two processes did not get its turn in time:
// nothing is wrong with the pins.
var ErrLate = errors.New("guard: the computer was too busy")

// LateNext is what to do then.
const LateNext = "The computer was too busy: end other programs, see the rig's fact \"priority\" on the record, then run the test again. If it comes again with nothing else running, look whether somebody stopped a process of dutybench."

// busy is an error that is one of time.
type busy struct{ error }

func (b busy) Is(target error) bool { return target == ErrLate }
func (b busy) Unwrap() error        { return b.error }

// Guard owns the supply switch of one test. All its methods belong to the
// one goroutine that owns the rig; only the lease's alarm may run beside it.
type Guard struct {
	sw     Switch
	clock  clock.Clock
	idle   func() error
	limits Limits
	trips  *Trips
	alarm  Alarm
	trip   *Trip
	off    time.Duration // rig time of the last opening
	ever   bool          // the supply has been on

	// Shared with the alarm.
	on    atomic.Bool
	until atomic.Int64 // end of the lease, rig time in ns
	grant atomic.Int64 // counts switch-ons, so that an old alarm knows itself
	ran   atomic.Int64 // the grant whose lease has run out
}

// New takes the switch and opens it. idle makes the command idle and is
// called after the supply is off, whenever it goes off for a trip; nil when
// there is no command.
func New(sw Switch, c clock.Clock, idle func() error, l Limits) (*Guard, error) {
	if err := l.Check(); err != nil {
		return nil, err
	}
	if sw == nil {
		return nil, errors.New("guard: the rig has no supply switch; without one nothing may be tested")
	}
	g := &Guard{sw: sw, clock: c, idle: idle, limits: l, trips: NewTrips(l), alarm: Watch(c)}
	if err := g.Open(); err != nil {
		return nil, err
	}
	return g, nil
}

// Follow takes over what the unit has borne under the guard before it, in the
// same rig time: its heat, and its running time without water.
func (g *Guard) Follow(before *Guard) { g.trips.follow(before.trips) }

// Close closes the main contacts: supply on, for one lease. It is refused
// after a trip.
func (g *Guard) Close() error { return g.CloseOnly(g.sw.Paths() &^ PreCharge) }

// Paths are the contacts that the switch has.
func (g *Guard) Paths() Path { return g.sw.Paths() }

// CloseOnly closes these contacts and opens the others, for one lease: for
// limited energy through the pre-charge contact, and to show that one contact
// alone lets nothing through. It is refused after a trip.
func (g *Guard) CloseOnly(p Path) error {
	if g.trip != nil {
		return fmt.Errorf("%w: %s", ErrTripped, g.trip.Reason)
	}
	begun, wait := g.clock.Now(), pullIn(g.sw)
	g.trips.Closed(begun)
	g.ever = true
	until := begun + wait + g.limits.Silence
	g.until.Store(int64(until))
	n := g.grant.Add(1)
	g.on.Store(true)
	g.arm(n, until)
	if err := g.sw.Set(p, g.limits.Silence); err != nil {
		next := "; check the rig's pins"
		if errors.Is(err, ErrLate) {
			next = ""
		}
		return errors.Join(fmt.Errorf("guard: the supply switch does not close: %w%s", err, next), g.Open())
	}
	if g.ran.Load() == n {
		// The lease ran out while the switch was closing.
		g.Check()
		return fmt.Errorf("%w: %s", ErrTripped, g.trip.Reason)
	}
	// The lease and the supply's time begin now, not before a relay's pull-in.
	// A contact that was slow has closed at any time since it was told to.
	now := g.clock.Now()
	g.trips.Closed(min(now, begun+wait))
	g.until.Store(int64(now + g.limits.Silence))
	return nil
}

// Open opens the switch: supply off. It may be called at any time and tries
// three times; an error means that the supply may still be on.
func (g *Guard) Open() error {
	was := g.on.Load()
	err := g.cut()
	g.trips.Opened()
	if was {
		g.off = g.clock.Now()
	}
	return err
}

// cut opens all contacts.
func (g *Guard) cut() error {
	var err error
	for range 3 {
		if err = g.sw.Set(NoPath, 0); err == nil {
			g.on.Store(false)
			return nil
		}
	}
	return fmt.Errorf("guard: the supply switch does not open: %w; switch the supply off by hand", err)
}

// On says whether the switch was last told to be closed.
func (g *Guard) On() bool { return g.on.Load() }

// LastOff is the rig time at which the supply last went off; ever is false
// when it has not been on.
func (g *Guard) LastOff() (at time.Duration, ever bool) { return g.off, g.ever }

// Dry is the running time so far.
func (g *Guard) Dry() time.Duration { return g.trips.Dry() }

// Tripped is the trip, nil when there was none.
func (g *Guard) Tripped() *Trip { return g.trip }

// Hold takes the next sample. While no rule is met it renews the lease until
// one Silence after the sample; else the supply is off when it returns the
// trip. A sample without a current renews nothing. A switch that nobody holds
// any more is a trip.
func (g *Guard) Hold(s Sample) *Trip {
	if trip := g.Check(); trip != nil {
		return trip
	}
	if trip := g.trips.Sample(s); trip != nil {
		return g.Trip(trip)
	}
	if s.Current_A == s.Current_A { // not NaN
		held := time.Duration(g.until.Load())
		if err := g.Renew(s.At + g.limits.Silence); err != nil {
			trip := lostTrip(err, g.clock.Now())
			trip.Off = min(trip.Met, held) // at the end of the lease at the latest
			return g.Trip(trip)
		}
	}
	return nil
}

// lostTrip is the trip of a switch that nobody holds closed any more.
func lostTrip(err error, now time.Duration) *Trip {
	if errors.Is(err, ErrSignalled) {
		return &Trip{Rule: Cancelled, Met: now,
			Reason: "The test was cancelled: the process that holds the supply switch was told to end, and has opened it.",
			Next:   "Run it again when the bench is ready."}
	}
	next := "Make sure that the supply is off, then run the test again."
	if errors.Is(err, ErrLate) {
		next = LateNext
	}
	return &Trip{Rule: Lost, Met: now, Reason: "Nobody holds the supply switch closed any more: " + err.Error() + ".", Next: next}
}

// Renew extends the lease to a rig time, at most one Silence from now. It
// never shortens it. It does nothing while the supply is off.
func (g *Guard) Renew(until time.Duration) error {
	now := g.clock.Now()
	until = min(until, now+g.limits.Silence)
	if int64(until) <= g.until.Load() || !g.on.Load() {
		return nil
	}
	g.until.Store(int64(until))
	return g.sw.Renew(until - now)
}

// Check gives the trip when the guard has tripped or its lease has run out,
// else nil.
func (g *Guard) Check() *Trip {
	if g.trip != nil {
		return g.trip
	}
	until := time.Duration(g.until.Load())
	if n := g.grant.Load(); n > 0 && g.ran.Load() == n && g.trips.on {
		return g.Trip(silent(until, g.limits.Silence))
	}
	if g.on.Load() && g.clock.Now() > until {
		return g.Trip(silent(until, g.limits.Silence))
	}
	return nil
}

// Trip cuts the supply, makes the command idle after, and keeps the trip. A
// second trip changes nothing but makes sure again that the supply is off.
func (g *Guard) Trip(t *Trip) *Trip {
	err := g.cut()
	g.trips.Opened()
	if g.trip != nil {
		return g.trip
	}
	if n := g.grant.Load(); t.Off == 0 && n > 0 && g.ran.Load() == n {
		t.Off = time.Duration(g.until.Load()) // the alarm opened the switch then
	}
	if t.Off == 0 {
		t.Off = g.clock.Now()
	}
	g.off = t.Off
	g.trip = t
	if err != nil {
		t.Next = "The supply switch did not open: switch the supply off by hand. " + t.Next
	}
	if g.idle != nil {
		if ierr := g.idle(); ierr != nil {
			t.Reason += " The command could not be made idle (" + ierr.Error() + ")."
		}
	}
	return t
}
