package sim

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"time"
)

// ErrStuck is what a transaction fails with when a wire of the bus is held
// low: the controller gives up after its time.
var ErrStuck = errors.New("the bus is held low: timed out")

// busFaults are those of the bus that all converters share.
func busFaults() []armable {
	return []armable{
		{BenchFault: BenchFault{Name: "bus-nack", Side: sideBench,
			Line: "no chip on the bus acknowledges", Half: "for 50 ms; below 0.2 one transaction", Full: "for ever"},
			lasts: spell(50 * time.Millisecond),
			set: func(b *Bench, severity float64, _ *rand.Rand) func() {
				left := -1
				if severity < 0.2 {
					left = 1
				}
				return b.I2C.intercept(func(addr uint16, _, _ []byte) error {
					if left == 0 {
						return nil
					}
					left--
					return fmt.Errorf("sim: address %#x: %w", addr, ErrNack)
				})
			}},
		// A controller without a time of its own gets one second from the
		// kernel (i2c_register_adapter, from memory); others give up after the
		// 35 ms that SMBus allows a slave to hold the clock (SMBus 3.1, table 2).
		{BenchFault: BenchFault{Name: "bus-stuck", Side: sideBench,
			Line: "a wire of the bus is held low: every transaction fails once its time is over", Half: "after 35 ms", Full: "after 1 s"},
			set: func(b *Bench, severity float64, _ *rand.Rand) func() {
				timeout := time.Duration(between(severity, 35e6, 1e9))
				return b.I2C.intercept(func(uint16, []byte, []byte) error {
					b.World.advance(b.World.now + timeout)
					return fmt.Errorf("sim: %w", ErrStuck)
				})
			}},
		{BenchFault: BenchFault{Name: "bus-bit", Side: sideBench,
			Line: "a bit comes wrong in what is read from a chip", Half: "once", Full: "in one read of a thousand"},
			set: func(b *Bench, severity float64, rng *rand.Rand) func() {
				wait, left := rng.IntN(40), 1
				rate := 0.0
				if severity > 0.5 {
					rate, left = between(severity, 1e-5, 1e-3), -1
				}
				return b.eachChip(func(_ byte, r []byte) {
					if len(r) == 0 || left == 0 {
						return
					}
					if wait--; wait >= 0 || left < 0 && rng.Float64() >= rate {
						return
					}
					left--
					r[rng.IntN(len(r))] ^= 1 << rng.IntN(8)
				})
			}},
		{BenchFault: BenchFault{Name: "bus-slow", Side: sideBench,
			Line: "every transaction takes longer than its bits do", Half: "by 0.1 ms", Full: "by 2 ms"},
			set: func(b *Bench, severity float64, _ *rand.Rand) func() {
				more := time.Duration(between(severity, 100e3, 2e6))
				return b.I2C.intercept(func(uint16, []byte, []byte) error {
					b.World.advance(b.World.now + more)
					return nil
				})
			}},
		{BenchFault: BenchFault{Name: "bus-speed", Side: sideBench,
			Line: "the bus is clocked slower than the rig says", Half: "at half the speed", Full: "at a quarter"},
			set: func(b *Bench, severity float64, _ *rand.Rand) func() {
				more := between(severity, 2, 4) - 1
				return b.I2C.intercept(func(_ uint16, w, r []byte) error {
					bits := 1 + 9 + 9*len(w) + 1
					if len(r) > 0 {
						bits += 1 + 9 + 9*len(r)
					}
					b.World.advance(b.World.now + time.Duration(more*float64(bits)*float64(busBit)))
					return nil
				})
			}},
		{BenchFault: BenchFault{Name: "bus-hang", Side: sideBench,
			Line: "one transaction hangs before it comes to its end", Half: "for 0.3 s", Full: "for 5 s"},
			set: func(b *Bench, severity float64, _ *rand.Rand) func() {
				more := time.Duration(between(severity, 300e6, 5e9))
				return b.I2C.intercept(func(uint16, []byte, []byte) error {
					d := more
					more = 0
					b.World.advance(b.World.now + d)
					return nil
				})
			}},
	}
}

// intercept lets f see each transaction after what saw it before; undo takes
// f out again.
func (b *Bus) intercept(f func(addr uint16, w, r []byte) error) (undo func()) {
	was, gone := b.Intercept, false
	b.Intercept = func(n int, addr uint16, w, r []byte) error {
		if was != nil {
			if err := was(n, addr, w, r); err != nil {
				return err
			}
		}
		if gone {
			return nil
		}
		return f(addr, w, r)
	}
	return func() { gone = true }
}

// tapped is a chip whose answers are changed on their way.
type tapped struct {
	Device
	pointer byte // the register last asked for
	change  func(register byte, r []byte)
}

// Write takes note of the register.
func (d *tapped) Write(b []byte) error {
	if len(b) > 0 {
		d.pointer = b[0]
	}
	return d.Device.Write(b)
}

// Read changes the answer.
func (d *tapped) Read(r []byte) error {
	err := d.Device.Read(r)
	if err == nil && d.change != nil {
		d.change(d.pointer, r)
	}
	return err
}

// tap changes what a chip answers; undo lets it be.
func (b *Bench) tap(addr uint16, change func(register byte, r []byte)) (undo func()) {
	if b.I2C.chips[addr] == nil {
		return func() {}
	}
	d := &tapped{Device: b.I2C.chips[addr], change: change}
	if t, ok := d.Device.(*tapped); ok {
		d.pointer = t.pointer
	}
	b.I2C.Attach(addr, d)
	return func() { d.change = nil }
}

// eachChip taps every chip on the bus.
func (b *Bench) eachChip(change func(register byte, r []byte)) (undo func()) {
	var undos []func()
	for addr, chip := range b.I2C.chips {
		if chip != nil {
			undos = append(undos, b.tap(uint16(addr), change))
		}
	}
	return func() {
		for _, u := range undos {
			u()
		}
	}
}
