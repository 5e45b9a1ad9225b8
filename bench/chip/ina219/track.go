package ina219

import "time"

// tracker knows when conversions end, from looks at the ready flag and from
// the times at which it was cleared. The chip's own period is learned from a
// long run of them, as its oscillator is up to a tenth off the typical figure
// but steady.
type tracker struct {
	shortest, longest time.Duration // of the period, by data sheet
	whole             time.Duration // a pair read within this after the end is of one conversion
	typical           time.Duration // what the period was learned for
	period            time.Duration // best estimate
	early, late, end  time.Duration // bounds and estimate of the end of the last conversion read
	next              time.Duration // what raises the flag next ends after this
	since             time.Duration // the flag can have been cleared, or the conversion begun, no later
	bias              time.Duration // added to the predicted end to choose the first look
	taken             time.Duration // the end of the last conversion that was returned
	owed              int           // conversions counted as lost that were not
	first             bool          // none was returned yet
	unsure            bool          // another may have ended before the result was read
	astray            bool          // the last result came too late to be whole: look from the first moment on
	// A run of conversions from which the period is learned.
	runEarly, runLate time.Duration
	runCount          int
}

// wake is the recovery from power-down ("40 µs"), before the first conversion.
const wake = 40 * time.Microsecond

// longestRun bounds a run, so that a slow drift is followed.
const longestRun = 4096

// start takes note of a configuration written from begun to done: the first
// conversion starts with it. The period is kept for a configuration of equal
// length.
func (t *tracker) start(begun, done time.Duration, c Config) {
	typical := c.Typical()
	period := t.period
	if typical != t.typical {
		period = typical
	}
	// The data sheet states a maximum of a tenth above typical and no
	// minimum; a tenth below is taken for it.
	shortest := typical - typical/10
	part := typical
	if c.Mode.Shunt() && c.Mode.Bus() {
		part = min(c.ShuntTime.Typical(), c.BusTime.Typical())
	}
	*t = tracker{
		shortest: shortest, longest: c.Max(), whole: part - part/10, typical: typical, period: period,
		early: begun, late: done, end: done + wake, next: begun + shortest, since: done,
		first: true, runCount: -1,
	}
}

// aim is the time at which the flag should first be looked at: when the next
// conversion should end, so that mostly one look is enough; or from the first
// moment at which it can, where the last one's end is not known well.
func (t *tracker) aim() (at time.Duration, predicted bool) {
	if t.first || t.astray || t.late-t.early > t.whole/4 {
		return t.next, false
	}
	return max(t.next, t.end+t.period+t.bias), true
}

// notReady notes that the flag was clear, or was cleared, at a time not before
// at: what raises it ends later.
func (t *tracker) notReady(at time.Duration) { t.next = max(t.next, at) }

// cleared notes that the flag was cleared at a time between lo and hi. A
// conversion that ended before that does not raise it any more.
func (t *tracker) cleared(lo, hi time.Duration) {
	t.notReady(lo)
	t.since = hi
}

// ready notes that the flag was found set at a time between lo and hi, and
// that the result was read between from and to.
func (t *tracker) ready(lo, hi, from, to time.Duration) {
	early, late := max(t.next, lo-t.longest), hi
	early = min(early, hi)
	if t.unsure = to > early+t.shortest; t.unsure {
		// Another may have ended before the result was read.
		early, late = min(max(early, from-t.longest), to), to
	}
	t.early, t.late = early, late
	t.next = early + t.shortest
	middle := (early + late) / 2
	// Where in between: by whole periods since the last, to the middle of
	// narrow bounds; of wide ones the last that ended before the result was
	// read.
	n := (middle - t.end + t.period/2) / t.period
	if late-early > t.period/2 {
		n = (late - t.end) / t.period
	}
	t.end = min(max(t.end+max(n, 0)*t.period, early), late)
}

// take is called for each conversion returned; it returns how many were lost
// since the last. One counted too many, as bounds were wide, is owed and comes
// off the next losses.
func (t *tracker) take() (lost int) {
	passed := 1
	if !t.first {
		passed = int((t.end - t.taken + t.period/2) / t.period)
	}
	t.first = false
	t.taken = t.end
	t.learn(passed)
	t.owed -= passed - 1
	if t.owed < 0 {
		lost, t.owed = -t.owed, 0
	}
	return lost
}

// learn narrows the period by one more conversion. After a long gap, or
// where another may have ended before the result was read, the count cannot be
// trusted, and a new run begins.
func (t *tracker) learn(passed int) {
	if t.unsure || passed < 1 {
		t.runCount = -1
		return
	}
	if t.runCount < 0 || t.runCount > longestRun || passed > 8 {
		t.runEarly, t.runLate, t.runCount = t.early, t.late, 0
		return
	}
	t.runCount += passed
	if t.runCount < 16 {
		return
	}
	n := time.Duration(t.runCount)
	least, most := (t.early-t.runLate)/n, (t.late-t.runEarly)/n
	least, most = max(least, t.shortest), min(most, t.longest)
	if least > most { // counted wrongly
		t.runCount = -1
		return
	}
	if t.period < least || t.period > most || t.runCount >= 64 {
		t.period = (least + most) / 2
	}
}
