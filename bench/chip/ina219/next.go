package ina219

import (
	"fmt"
	"time"
)

// Reading is one result of the converter.
type Reading struct {
	Middle time.Duration // clock time at the middle of the conversion, as estimated
	Early  time.Duration // the conversion ended after this
	Late   time.Duration // and not after this
	Shunt  int16         // code, when the mode converts the shunt voltage
	Bus    uint16        // code, when the mode converts the bus voltage
	// Saturated says that the shunt code stands at an end of its range: the
	// true voltage is at least this.
	Saturated bool
	// Overflow says that the current and power registers may be wrong.
	Overflow bool
	// Lost counts the conversions that ended since the last reading and were
	// not read. It is 0 for the first after Configure.
	Lost int
}

// overdue is what a conversion may take beyond the longest of the data sheet
// before the chip is taken to have stopped, or to have been reset: an eighth,
// and the recovery from power-down (40 µs) with as much again. A look does not
// clear the flag here, so one that fails on its way back costs no conversion.
func overdue(longest time.Duration) time.Duration { return longest/8 + 80*time.Microsecond }

// mostTorn bounds how many conversions in a row Next lets go because their two
// results were not read soon enough to be surely of one: chosen, as a thread
// that was held up once or twice is, while a bus that is too slow always is.
const mostTorn = 16

// Next waits for the next conversion and reads it. In a triggered mode it
// starts one first. It never returns a conversion twice, nor results of two:
// see the package comment. It sleeps on the clock for what is left of the
// conversion, then looks at the ready flag. It does not allocate.
func (d *Dev) Next(r *Reading) error {
	mode := d.config.Mode
	if mode.Off() {
		return fmt.Errorf("ina219 at %#x: next conversion: %w: configure a converting mode first", d.addr, ErrOff)
	}
	if mode.Triggered() {
		// The flag was cleared with the last result, and nothing has run since.
		w, err := d.config.Word()
		if err != nil {
			return err
		}
		begun := d.clk.Now()
		if err := d.write(regConfig, w); err != nil {
			return err
		}
		d.track.start(begun, d.clk.Now(), d.config)
	}
	for range mostTorn {
		whole, err := d.next(r)
		if err != nil || whole {
			return err
		}
	}
	return fmt.Errorf("ina219 at %#x: %w: the bus reads them in no less than %v: choose longer conversions, one of the two voltages, or a faster bus",
		d.addr, ErrTorn, d.track.whole)
}

// next waits for a conversion, reads it, and clears the flag; whole is false
// when its results may be of two conversions.
func (d *Dev) next(r *Reading) (whole bool, err error) {
	t, mode := &d.track, d.config.Mode
	bus, lo, hi, err := d.await()
	if err != nil {
		return false, err
	}
	r.Shunt, r.Bus, r.Saturated = 0, 0, false
	r.Overflow = bus&busOverflow != 0
	from, to := lo, hi // of the last result
	if mode.Bus() {
		r.Bus = bus >> busShift
	}
	if mode.Shunt() {
		from = d.clk.Now() + d.head[1]
		v, err := d.read(regShunt)
		if err != nil {
			return false, err
		}
		to = d.clk.Now() - d.tail
		end := d.config.Range.Codes()
		r.Shunt = int16(v)
		r.Saturated = r.Shunt >= end || r.Shunt <= -end
	}
	if mode.Triggered() {
		from, to = lo, hi // nothing else runs
	}
	t.ready(lo, hi, from, to)
	whole = mode.Triggered() || !mode.Bus() || !mode.Shunt() || to < t.early+t.whole
	cleared := d.clk.Now() + d.head[1]
	if _, err := d.read(regPower); err != nil {
		return false, err
	}
	t.cleared(cleared, d.clk.Now()-d.tail)
	if t.astray = !whole; !whole {
		return false, nil
	}
	r.Lost = t.take()
	r.Early, r.Late = t.early, t.late
	r.Middle = t.end - t.period/2
	return true, nil
}

// Learn reads n conversions in a continuous mode, to learn the chip's own
// pace, which is up to a tenth off the typical one. The pace is kept through
// configurations of equal length.
func (d *Dev) Learn(n int) error {
	if m := d.config.Mode; m.Off() || m.Triggered() {
		return fmt.Errorf("ina219 at %#x: learn: %w or in a triggered mode: configure a continuous one", d.addr, ErrOff)
	}
	var r Reading
	for range n {
		if err := d.Next(&r); err != nil {
			return err
		}
	}
	return nil
}

// await sleeps and looks until the ready flag is seen, between lo and hi.
func (d *Dev) await() (bus uint16, lo, hi time.Duration, err error) {
	t := &d.track
	at, predicted := t.aim()
	if wait := at - d.head[1] - d.clk.Now(); wait > 0 {
		d.clk.Sleep(wait)
	} else {
		predicted = false
	}
	for first := true; ; first = false {
		bus, lo, hi, err = d.look(!first)
		if err != nil {
			return 0, 0, 0, err
		}
		if bus&busReady != 0 {
			if first && predicted {
				t.bias = max(t.bias-t.period/64, -t.period/4)
			}
			return bus, lo, hi, nil
		}
		t.notReady(lo)
		if first && predicted {
			t.bias = min(t.bias+t.period/16, t.period/4)
		}
		if late := lo - t.since; late > t.longest+overdue(t.longest) {
			return 0, 0, 0, fmt.Errorf("ina219 at %#x: %w: none ended for %v, where the longest takes %v: the chip may have been reset by its supply; check that and open the rig again",
				d.addr, ErrNotReady, late, t.longest)
		}
		d.clk.Sleep(t.period / 64)
	}
}

// look reads the bus voltage register with its flags; the chip handed it out
// between lo and hi. again says that it was the last register read.
func (d *Dev) look(again bool) (bus uint16, lo, hi time.Duration, err error) {
	begun, head := d.clk.Now(), d.head[1]
	if again {
		head = d.head[0]
		bus, err = d.again(regBus)
	} else {
		bus, err = d.read(regBus)
	}
	return bus, begun + head, d.clk.Now() - d.tail, err
}

// Period is the time from one result to the next, as learned so far.
func (d *Dev) Period() time.Duration { return d.track.period }
