package rig

import (
	"errors"
	"fmt"
	"time"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"

	"dutybench/bench/clock"
)

// How long a failed transaction is tried again. All of it is chosen: patience
// is a tenth of the lease that a run gives its guard, so that a bus that stays
// dead ends a test long before the supply is cut for silence; and most of the
// disturbances that end by themselves (a relay's spark, a plug that is touched)
// take less.
const (
	patience    = 10 * time.Millisecond
	pause       = 200 * time.Microsecond // between tries after the second
	reopenAfter = 3                      // failures in a row
)

// Steady is an I²C bus that tries a failed transaction again: at once, then
// with pauses, for no longer than 10 ms from its beginning. After three
// failures in a row it opens the bus anew, once. A transaction that itself took
// longer, such as one that the adapter gave up, is not repeated. Once a bus was
// given up each transaction is tried once only, until one succeeds, so that
// closing down takes no time.
//
// Trying again is safe for the converters of a rig: each of their writes sets
// a register, and twice is as once. A write that starts a conversion starts it
// afresh, and the drivers take the time from before the first try to after the
// last for its beginning. A read may clear a ready flag although it failed: the
// driver then waits for the next conversion, and its pace tells that one was
// lost. It is not for chips where a read takes something out, such as a queue.
//
// A byte that arrives wrong is no failure of the bus, and is not seen here.
type Steady struct {
	Failures int // transactions that failed, each try counted
	Rescued  int // transactions that succeeded after a failure
	Reopened int

	bus    i2c.BusCloser
	clk    clock.Clock
	reopen func() (i2c.BusCloser, error)
	dead   bool
}

// NewSteady wraps an open bus. reopen opens it again after it was closed; nil
// when it cannot be.
func NewSteady(bus i2c.BusCloser, clk clock.Clock, reopen func() (i2c.BusCloser, error)) *Steady {
	return &Steady{bus: bus, clk: clk, reopen: reopen}
}

// String names the bus.
func (s *Steady) String() string { return s.bus.String() }

// SetSpeed sets the bus's speed, where it can be set.
func (s *Steady) SetSpeed(f physic.Frequency) error { return s.bus.SetSpeed(f) }

// Close closes the bus.
func (s *Steady) Close() error { return s.bus.Close() }

// Tx writes w, then reads r. It does not allocate unless it fails for good.
func (s *Steady) Tx(addr uint16, w, r []byte) error {
	begun := s.clk.Now()
	err := s.bus.Tx(addr, w, r)
	if err == nil {
		s.dead = false
		return nil
	}
	s.Failures++
	if s.dead {
		return err
	}
	tries := 1
	for ; s.clk.Now()-begun < patience; tries++ {
		if tries == reopenAfter && s.reopen != nil {
			if oerr := s.open(); oerr != nil {
				err = errors.Join(err, oerr)
				break
			}
		}
		if tries > 1 {
			s.clk.Sleep(pause)
		}
		if err = s.bus.Tx(addr, w, r); err == nil {
			s.Rescued++
			return nil
		}
		s.Failures++
	}
	s.dead = true
	return fmt.Errorf("rig: bus %s: %w, in %d tries over %v", s.bus, err, tries, (s.clk.Now() - begun).Round(time.Microsecond))
}

func (s *Steady) open() error {
	_ = s.bus.Close() // it does not work anyway
	bus, err := s.reopen()
	if err != nil {
		return fmt.Errorf("open it again: %w", err)
	}
	s.bus = bus
	s.Reopened++
	return nil
}
