package sim

import (
	"errors"
	"fmt"
	"time"

	"periph.io/x/conn/v3/physic"
)

// busBit is the time of one bit at 400 kHz.
const busBit = 2500 * time.Nanosecond

// ErrNack is what a transaction fails with when no chip acknowledges.
var ErrNack = errors.New("no acknowledge")

// Device is a register-level chip on the simulated bus. Both methods are
// called at the moment the chip acts on the bus.
type Device interface {
	Write(b []byte) error
	Read(b []byte) error
}

// Bus is a simulated I²C bus, at 400 kHz where nobody asks for another speed. A transaction takes the time of its
// bits: one for the start, nine for the address and for each byte, one for
// a repeated start, one for the stop. A chip takes a written register when
// its last byte is acknowledged, and hands out a register when its address
// is acknowledged for reading. Kernel and driver add nothing; Overhead adds
// what they take on a real board.
type Bus struct {
	// Faults: Err fails every transaction at the address; Hang is added to
	// the time that each one takes; Intercept sees each transaction before
	// the bus does and fails it by returning an error.
	Err       error
	Hang      time.Duration
	Intercept func(n int, addr uint16, w, r []byte) error
	Overhead  time.Duration

	w     *World
	bit   time.Duration
	chips [128]Device
	count int
}

// newBus is a bus without chips.
func newBus(w *World, speed_Hz float64) *Bus {
	b := &Bus{w: w, bit: busBit}
	if speed_Hz > 0 {
		b.bit = time.Duration(1e9 / speed_Hz)
	}
	return b
}

// String names the bus.
func (b *Bus) String() string { return "sim" }

// Count is the number of transactions so far.
func (b *Bus) Count() int { return b.count }

// Attach puts a chip at an address, 0 to 0x7F; nil takes it away.
func (b *Bus) Attach(addr uint16, d Device) { b.chips[addr&0x7F] = d }

// SetSpeed is refused: as on most boards, the speed is fixed at boot.
func (b *Bus) SetSpeed(physic.Frequency) error {
	return errors.New("sim: the bus speed is fixed at boot")
}

// Close does nothing.
func (b *Bus) Close() error { return nil }

// FailAfter fails all transactions with err after n more.
func (b *Bus) FailAfter(n int, err error) {
	last := b.count + n
	b.Intercept = func(n int, _ uint16, _, _ []byte) error {
		if n > last {
			return err
		}
		return nil
	}
}

// Tx writes w, then reads r.
func (b *Bus) Tx(addr uint16, w, r []byte) error {
	b.count++
	b.w.advance(b.w.now + b.Overhead + b.Hang)
	err := b.Err
	if b.Intercept != nil {
		if ierr := b.Intercept(b.count, addr, w, r); ierr != nil {
			err = ierr
		}
	}
	if err == nil && (addr > 0x7F || b.chips[addr] == nil) {
		err = fmt.Errorf("sim: address %#x: %w", addr, ErrNack)
	}
	if err != nil {
		b.bits(1 + 9 + 1)
		return err
	}
	chip := b.chips[addr]
	if len(w) > 0 || len(r) == 0 {
		b.bits(1 + 9 + 9*len(w))
		if err := chip.Write(w); err != nil {
			b.bits(1)
			return err
		}
	}
	if len(r) > 0 {
		b.bits(1 + 9)
		if err := chip.Read(r); err != nil {
			b.bits(1)
			return err
		}
	}
	b.bits(9*len(r) + 1)
	return nil
}

func (b *Bus) bits(n int) { b.w.advance(b.w.now + time.Duration(n)*b.bit) }
