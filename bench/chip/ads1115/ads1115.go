package ads1115

import (
	"errors"
	"fmt"
	"math"
	"time"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"

	"dutybench/bench/clock"
)

// DefaultAddress is the bus address with ADDR at ground; 0x49 at the supply,
// 0x4A at SDA, 0x4B at SCL.
const DefaultAddress = 0x48

var (
	// ErrNotReady marks a conversion that did not come, or was asked for too
	// early.
	ErrNotReady = errors.New("no conversion in time")
	// ErrIdle marks a read while no conversion was started.
	ErrIdle = errors.New("no conversion was started")
	// ErrReadBack marks a chip that does not keep what was written.
	ErrReadBack = errors.New("the register reads otherwise")
)

// Reading is one result.
type Reading struct {
	Middle time.Duration // clock time at about the middle of the conversion
	Code   int16
	Volt   float64 // at the input
	// Clipped says that the code stands at an end of the range: the input is
	// at least this far out.
	Clipped bool
}

// Dev is one ADS1115.
type Dev struct {
	bus     i2c.Bus
	clk     clock.Clock
	addr    uint16
	config  Config
	compare uint16
	running bool          // a conversion was started and not fetched, or mode is continuous
	begun   time.Duration // when the present settings were written
	due     time.Duration // from then on the result is of the present settings and new
	busy    time.Duration // until then a conversion may run
	pointed bool          // the chip's pointer stands at the conversion register
	slowest float64       // how long a conversion takes at most, over typical; 0 before Learn
	around  time.Duration // least time of a read before and after the chip hands out the result
	w       [3]byte
	r       [2]byte
}

// New finds the chip at the address, and leaves it in power-down. It has no
// identity register: New checks that the config register keeps what is
// written.
func New(bus i2c.Bus, clk clock.Clock, address uint16) (*Dev, error) {
	if address < 0x48 || address > 0x4B {
		return nil, fmt.Errorf("ads1115: address %#x is not one of 0x48 to 0x4B: correct the rig's description", address)
	}
	d := &Dev{bus: bus, clk: clk, addr: address, compare: compareOff}
	// Two different words, so that a bus stuck at a level is seen.
	for _, c := range []Config{
		{Mux: Differ23, Range: Range1024mV, Rate: Rate16, SingleShot: true},
		{Mux: Single0, Range: Range4096mV, Rate: Rate860, SingleShot: true},
	} {
		if err := d.Configure(c); err != nil {
			return nil, err
		}
	}
	return d, nil
}

// String names the chip.
func (d *Dev) String() string { return fmt.Sprintf("ADS1115 at %#x", d.addr) }

// Config is the configuration in force.
func (d *Dev) Config() Config { return d.config }

// Configure writes the configuration and reads it back. A continuous mode
// begins to convert; single-shot waits for Start. Single-shot is power-down.
func (d *Dev) Configure(c Config) error {
	w, err := d.set(c, 0)
	if err != nil {
		return err
	}
	got, err := d.read(regConfig)
	if err != nil {
		return err
	}
	if got&^bitStart != w {
		return fmt.Errorf("ads1115 at %#x: config %#04x after writing %#04x: %w: check address, wiring, bus speed and the chip's supply",
			d.addr, got&^bitStart, w, ErrReadBack)
	}
	return nil
}

// Off ends conversions: power-down after the one that runs.
func (d *Dev) Off() error {
	c := d.config
	c.SingleShot = true
	return d.Configure(c)
}

// set writes the config register and works out when a result is due.
func (d *Dev) set(c Config, start uint16) (uint16, error) {
	w, err := c.Word()
	if err != nil {
		return 0, err
	}
	w = w&^compareField | d.compare
	was, converting := d.config, d.running && !d.config.SingleShot
	if err := d.write(regConfig, w|start); err != nil {
		return 0, err
	}
	now := d.clk.Now()
	d.config, d.begun = c, now
	d.running = start != 0 || !c.SingleShot
	if converting {
		// One conversion of the old settings still runs to its end.
		d.busy = now + d.longest(was.Rate)
	}
	if d.running {
		d.due = max(now, d.busy) + wake + d.longest(c.Rate)
		d.busy = d.due
	}
	return w, nil
}

// Start begins one single-shot conversion of an input and returns at once; see
// Due and Fetch. It is refused while another may run, as the chip would finish
// that one instead.
func (d *Dev) Start(mux Mux, rng Range, rate Rate) error {
	if d.running && !d.config.SingleShot {
		return fmt.Errorf("ads1115 at %#x: start: %w in continuous mode: call Off first", d.addr, ErrConfig)
	}
	if now := d.clk.Now(); now < d.busy {
		return fmt.Errorf("ads1115 at %#x: start: %w: another conversion may run for %v; wait until then", d.addr, ErrNotReady, d.busy-now)
	}
	_, err := d.set(Config{Mux: mux, Range: rng, Rate: rate, SingleShot: true}, bitStart)
	return err
}

// Due is the clock time from which Fetch has a new result of the present
// settings, and whether one is on its way.
func (d *Dev) Due() (at time.Duration, running bool) { return d.due, d.running }

// Fetch reads the result that is due. It refuses before that time rather than
// return an old one.
func (d *Dev) Fetch(r *Reading) error {
	now := d.clk.Now()
	switch {
	case !d.running:
		return fmt.Errorf("ads1115 at %#x: fetch: %w: call Start or configure the continuous mode", d.addr, ErrIdle)
	case now < d.due:
		return fmt.Errorf("ads1115 at %#x: fetch: %w: due in %v", d.addr, ErrNotReady, d.due-now)
	}
	return d.fetch(r)
}

func (d *Dev) fetch(r *Reading) error {
	v, err := d.result()
	if err != nil {
		return err
	}
	now := d.clk.Now()
	typical := d.config.Rate.Typical()
	if d.config.SingleShot {
		d.running, d.busy = false, now
		r.Middle = min(d.begun+wake/2+typical/2, now)
	} else {
		// The last result ended within a conversion of now.
		r.Middle = max(now-typical, d.begun)
		// A conversion that ends after the result was handed out is new, if it
		// ends before the next is.
		d.due = max(now, now-d.around+d.longest(d.config.Rate))
	}
	r.Code = int16(v)
	r.Volt = float64(r.Code) * d.config.Range.Step_V()
	r.Clipped = r.Code == math.MaxInt16 || r.Code == math.MinInt16
	return nil
}

// Next waits for a new result in continuous mode and reads it: one that
// ended after the last reading and is of the present settings throughout.
func (d *Dev) Next(r *Reading) error {
	if d.config.SingleShot {
		return fmt.Errorf("ads1115 at %#x: next: %w: configure the continuous mode, or use Measure", d.addr, ErrIdle)
	}
	d.clk.Sleep(d.due - d.clk.Now())
	return d.Fetch(r)
}

// Idle reads the OS bit: true when no conversion runs. It has a meaning in
// single-shot mode.
func (d *Dev) Idle() (bool, error) {
	w, err := d.read(regConfig)
	return w&bitStart != 0, err
}

// Busy is the clock time until which a conversion may run; Start is refused
// before.
func (d *Dev) Busy() time.Duration { return d.busy }

// Measure converts one input in single-shot mode and waits for it: as long as
// learned, else it sleeps the shortest time and then polls the idle bit. It
// ends a continuous mode.
func (d *Dev) Measure(mux Mux, rng Range, rate Rate, r *Reading) error {
	if d.running && !d.config.SingleShot {
		if err := d.Off(); err != nil {
			return err
		}
	}
	d.clk.Sleep(d.busy - d.clk.Now())
	if err := d.Start(mux, rng, rate); err != nil {
		return err
	}
	if d.slowest > 0 {
		d.clk.Sleep(d.due - d.clk.Now())
		return d.fetch(r)
	}
	d.clk.Sleep(rate.Typical() * 10 / 11)
	for {
		idle, err := d.Idle()
		if err != nil {
			return err
		}
		if idle {
			return d.fetch(r)
		}
		if now := d.clk.Now(); now > d.due+rate.Max() {
			return fmt.Errorf("ads1115 at %#x: %w: still busy %v after the start: check the chip's supply and open the rig again", d.addr, ErrNotReady, now-d.begun)
		}
		d.clk.Sleep(rate.Typical() / 32)
	}
}

// SetBusSpeed states the fastest that the bus runs. It narrows the time at
// which the chip can have handed out a result to a part of the transaction, so
// that a continuous mode loses less of its time.
func (d *Dev) SetBusSpeed(f physic.Frequency) error {
	if f <= 0 {
		return fmt.Errorf("ads1115 at %#x: bus speed of %v: give it above zero", d.addr, f)
	}
	// Start, address and acknowledge before; two bytes after.
	d.around = 28 * f.Period()
	return nil
}

// longest is how long a conversion takes at most: as learned, or the tenth
// above typical of the data sheet.
func (d *Dev) longest(r Rate) time.Duration {
	if d.slowest == 0 {
		return r.Max()
	}
	return min(r.Max(), time.Duration(float64(r.Typical())*d.slowest))
}

// Learn times n single conversions by the idle bit, to learn the chip's own
// pace, which is up to a tenth off the typical one but steady: a conversion
// takes less than from before its start until the chip was seen idle. 1 % is
// added (chosen, for the oscillator's wander). Without it every result is
// waited for as long as the slowest chip needs. It takes about 35 ms for each,
// and ends a continuous mode.
func (d *Dev) Learn(n int) error {
	const rate = Rate32 // slow, so that the start and a look are a small part
	least := rate.Max()
	var r Reading
	for range n {
		if err := d.Measure(Single0, Range4096mV, Rate860, &r); err != nil { // nothing runs after it
			return err
		}
		before := d.clk.Now()
		if err := d.Start(Single0, Range4096mV, rate); err != nil {
			return err
		}
		d.clk.Sleep(rate.Typical() * 85 / 100)
		for idle := false; !idle; {
			var err error
			if idle, err = d.Idle(); err != nil {
				return err
			}
			if now := d.clk.Now(); now > before+2*rate.Max() {
				return fmt.Errorf("ads1115 at %#x: %w: still busy %v after the start: check the chip's supply and open the rig again", d.addr, ErrNotReady, now-before)
			}
		}
		least = min(least, d.clk.Now()-before)
		if err := d.fetch(&r); err != nil {
			return err
		}
	}
	d.slowest = max(0.9, float64(least)/float64(rate.Typical())) * 1.01
	return nil
}

// Compare is the comparator on the ALERT/RDY pin.
type Compare struct {
	Window     bool // COMP_MODE: outside of low to high, instead of above high with hysteresis to low
	ActiveHigh bool // COMP_POL
	Latch      bool // COMP_LAT
	After      int  // COMP_QUE: conversions in a row, 1, 2 or 4; 0 switches it off
	Low, High  int16
}

// SetCompare writes thresholds and comparator bits. They hold for all
// conversions started from then on.
func (d *Dev) SetCompare(c Compare) error {
	queue, ok := map[int]uint16{0: 3, 1: 0, 2: 1, 4: 2}[c.After]
	if !ok {
		return fmt.Errorf("ads1115 at %#x: comparator after %d conversions: %w: 0 (off), 1, 2 or 4", d.addr, c.After, ErrConfig)
	}
	if c.After > 0 && c.Low >= c.High {
		return fmt.Errorf("ads1115 at %#x: comparator from %d to %d: %w: low must be below high", d.addr, c.Low, c.High, ErrConfig)
	}
	return d.comparator(queue, c)
}

// ReadyPin turns the ALERT/RDY pin into a conversion ready signal: the high
// threshold's top bit set and the low one's clear.
func (d *Dev) ReadyPin(activeHigh bool) error {
	return d.comparator(0, Compare{ActiveHigh: activeHigh, Low: 0, High: math.MinInt16})
}

func (d *Dev) comparator(queue uint16, c Compare) error {
	if err := d.write(regLow, uint16(c.Low)); err != nil {
		return err
	}
	if err := d.write(regHigh, uint16(c.High)); err != nil {
		return err
	}
	w := queue
	for bit, on := range map[uint16]bool{1 << 4: c.Window, 1 << 3: c.ActiveHigh, 1 << 2: c.Latch} {
		if on {
			w |= bit
		}
	}
	d.compare = w
	return d.Configure(d.config)
}

// Thresholds reads the comparator's limits.
func (d *Dev) Thresholds() (low, high int16, err error) {
	l, err := d.read(regLow)
	if err != nil {
		return 0, 0, err
	}
	h, err := d.read(regHigh)
	return int16(l), int16(h), err
}

// result reads the conversion register; the pointer is sent only when it
// stands elsewhere. A chip that was reset points at it too.
func (d *Dev) result() (uint16, error) {
	if !d.pointed {
		return d.read(regConversion)
	}
	return d.tx(regConversion, nil)
}

func (d *Dev) read(reg byte) (uint16, error) {
	d.w[0] = reg
	return d.tx(reg, d.w[:1])
}

func (d *Dev) tx(reg byte, w []byte) (uint16, error) {
	d.pointed = false
	if err := d.bus.Tx(d.addr, w, d.r[:]); err != nil {
		return 0, d.fault("read", reg, err)
	}
	d.pointed = reg == regConversion
	return uint16(d.r[0])<<8 | uint16(d.r[1]), nil
}

func (d *Dev) write(reg byte, v uint16) error {
	d.pointed = false
	d.w = [3]byte{reg, byte(v >> 8), byte(v)}
	if err := d.bus.Tx(d.addr, d.w[:], nil); err != nil {
		return d.fault("write", reg, err)
	}
	return nil
}

func (d *Dev) fault(what string, reg byte, err error) error {
	return fmt.Errorf("ads1115: %s %s register (%#02x) at address %#x: %w: check wiring, supply and pull-ups of the bus, and the address strap",
		what, registerNames[reg&3], reg, d.addr, err)
}
