package ina226

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
// before the chip is looked after: an eighth, and the recovery from power-down
// (40 µs) with as much again.
func overdue(longest time.Duration) time.Duration { return longest/8 + 80*time.Microsecond }

// mostOverdue bounds how often in a row a conversion may be overdue while the
// chip still has its configuration. A look that fails on its way back clears
// the flag unseen, and where the bus tries again that costs a conversion and
// not the test; chosen, as several in a row are no chance.
const mostOverdue = 4

// mostRepeats bounds how often Next reads again because a conversion ended
// between its look at the flag and its read of the result.
const mostRepeats = 2

// Next waits for the next conversion and reads it. In a triggered mode it
// starts one first. It never returns a conversion twice: see the package
// comment. It sleeps on the clock for what is left of the conversion, then
// looks at the ready flag. It does not allocate.
func (d *Dev) Next(r *Reading) error {
	mode := d.config.Mode
	if mode.Off() {
		return fmt.Errorf("ina226 at %#x: next conversion: %w: configure a converting mode first", d.addr, ErrOff)
	}
	if mode.Triggered() {
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
	mask, err := d.await()
	if err != nil {
		return err
	}
	for repeat := 0; ; repeat++ {
		latched, err := d.results(r)
		if err != nil {
			return err
		}
		if mode.Triggered() || latched < d.track.next {
			d.finish(r, mask)
			return nil
		}
		// The following conversion may have ended in between: look again.
		more, lo, hi, err := d.poll(false)
		if err != nil {
			return err
		}
		if more&maskReady == 0 {
			d.track.notReady(lo)
			d.finish(r, mask)
			return nil
		}
		early := d.track.early
		d.track.ready(lo, hi)
		mask = more
		if repeat == mostRepeats {
			// Conversions end faster than the bus reads them. What was read
			// is of one of the last two, and new; the other is lost.
			d.track.early, d.track.unsure = early, true
			d.finish(r, mask)
			return nil
		}
	}
}

// Learn watches the ready flag of n conversions in a continuous mode, to learn
// the chip's own pace, which is up to a tenth off the typical one. Without it
// Next learns as it goes, and may lose one of the first conversions where the
// bus is hardly fast enough. The pace is kept through configurations of equal
// length.
func (d *Dev) Learn(n int) error {
	if m := d.config.Mode; m.Off() || m.Triggered() {
		return fmt.Errorf("ina226 at %#x: learn: %w or in a triggered mode: configure a continuous one", d.addr, ErrOff)
	}
	for range n {
		if _, err := d.await(); err != nil {
			return err
		}
		d.track.take()
	}
	return nil
}

// await sleeps and polls until the ready flag is seen.
func (d *Dev) await() (mask uint16, err error) {
	t := &d.track
	slept := false
	if wait := t.aim() - d.head[1] - d.clk.Now(); wait > 0 {
		d.clk.Sleep(wait)
		slept = true
	}
	since, times, again := t.late, 0, false
	for first := true; ; first = false {
		mask, lo, hi, err := d.poll(again)
		if err != nil {
			return 0, err
		}
		again = true
		if mask&maskReady != 0 {
			if first && slept {
				t.bias = max(t.bias-t.period/64, -t.period/4)
			}
			t.ready(lo, hi)
			return mask, nil
		}
		t.notReady(lo)
		if first {
			t.bias = min(t.bias+t.period/16, t.period/4)
		}
		if lo-since > t.longest+overdue(t.longest) {
			if times++; times == mostOverdue {
				return 0, d.late(lo - t.late)
			}
			if got, err := d.ReadConfig(); err != nil {
				return 0, err
			} else if got != d.config {
				return 0, d.late(lo - t.late)
			}
			since, again = lo, false
		}
		d.clk.Sleep(t.period / 64)
	}
}

func (d *Dev) late(by time.Duration) error {
	return fmt.Errorf("ina226 at %#x: %w: none ended for %v, where the longest takes %v: the chip may have been reset by its supply; check that and open the rig again",
		d.addr, ErrNotReady, by, d.track.longest)
}

// poll looks at the ready flag, which clears it. The chip did so between lo
// and hi. again says that the register was the last one read, so that its
// pointer need not be sent.
func (d *Dev) poll(again bool) (mask uint16, lo, hi time.Duration, err error) {
	begun, head := d.clk.Now(), d.head[1]
	if again {
		head = d.head[0]
		mask, err = d.again(regMask)
	} else {
		mask, err = d.read(regMask)
	}
	return mask, begun + head, d.clk.Now() - d.tail, err
}

// results reads what the mode converts; latched is the latest time at which
// the chip can have handed out the last of it.
func (d *Dev) results(r *Reading) (latched time.Duration, err error) {
	if d.config.Mode.Shunt() {
		v, err := d.read(regShunt)
		if err != nil {
			return 0, err
		}
		r.Shunt = int16(v)
		r.Saturated = r.Shunt == ShuntMax || r.Shunt == ShuntMin
	} else {
		r.Shunt, r.Saturated = 0, false
	}
	r.Bus = 0
	if d.config.Mode.Bus() {
		if r.Bus, err = d.read(regBus); err != nil {
			return 0, err
		}
	}
	return d.clk.Now() - d.tail, nil
}

func (d *Dev) finish(r *Reading, mask uint16) {
	t := &d.track
	r.Overflow = mask&maskOverflow != 0
	r.Lost = t.take()
	r.Early, r.Late = t.early, t.late
	r.Middle = t.end - t.period/2
}

// Period is the time from one result to the next, as learned so far.
func (d *Dev) Period() time.Duration { return d.track.period }
