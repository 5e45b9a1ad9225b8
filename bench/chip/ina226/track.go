package ina226

import "time"

// tracker knows when conversions end, from looks at the ready flag. A look
// that finds it clear says that none has ended before; one that finds it set
// says that one has. The chip's own period is learned from a long run of
// them, as its oscillator is up to a tenth off the typical figure but steady.
type tracker struct {
	shortest, longest time.Duration // of the period, by data sheet
	period            time.Duration // best estimate
	least             time.Duration // what the period is at least
	early, late, end  time.Duration // bounds and estimate of the end of the last conversion
	next              time.Duration // the following one ends after this
	bias              time.Duration // added to the predicted end to choose the first look
	sure              time.Duration // the end of the last conversion returned of which that is known well
	returned, told    int           // conversions returned and told as lost since then
	unsure            bool          // the look was held up for so long that the last end may be one of several
	first             bool          // none was returned yet
	typical           time.Duration // what period and least were learned for
	// A run of conversions from which the period is learned.
	runEarly, runLate time.Duration
	runCount          int
}

// longestRun bounds a run, so that a slow drift is followed.
const longestRun = 4096

// start takes note of a configuration written from begun to done: the first
// conversion starts with it. What was learned is kept for a configuration of the same
// length.
func (t *tracker) start(begun, done time.Duration, c Config) {
	typical := c.Typical()
	if typical == 0 {
		return // power-down
	}
	period, least := t.period, t.least
	if typical != t.typical {
		period, least = typical, 0
	}
	// The data sheet states a maximum of a tenth above typical and no
	// minimum; a tenth below is taken for it.
	shortest := typical - typical/10
	least = max(least, shortest)
	*t = tracker{
		shortest: shortest, longest: c.Max(), period: period, least: least, typical: typical,
		early: begun, late: done, end: done, next: begun + least,
		first: true, runCount: -1,
	}
}

// aim is the time at which the flag should first be looked at.
func (t *tracker) aim() time.Duration {
	if t.first {
		return t.next
	}
	return max(t.next, t.end+t.period+t.bias)
}

// notReady notes that the flag was clear at a time not before at.
func (t *tracker) notReady(at time.Duration) {
	t.next = max(t.next, at)
}

// ready notes that the flag was found set at a time between lo and hi.
func (t *tracker) ready(lo, hi time.Duration) {
	// The last conversion to end did so within a period of the look.
	early := max(t.next, lo-t.longest)
	t.early, t.late = min(early, hi), hi
	t.unsure = t.late-t.early > t.longest+t.period/8 // the look itself was held up
	t.next = t.early + t.least
	// Where in between: by the period since the last.
	middle := (t.early + t.late) / 2
	if t.first && !t.unsure {
		t.end = middle
		return
	}
	n := max(1, (middle-t.end+t.period/2)/t.period)
	if t.unsure {
		// Bounds as wide as that say less than the pace does: it was the last
		// to end before the look.
		n = max(0, (t.late-t.end)/t.period)
	}
	t.end = min(max(t.end+n*t.period, t.early), t.late)
}

// take is called for each conversion returned; it returns how many were lost
// since the last. Where the end is not sure that is counted by the pace alone;
// the next sure one puts it right, from one sure end to the next. One counted
// too many comes off the next losses.
func (t *tracker) take() (lost int) {
	if t.first {
		t.first, t.sure, t.returned, t.told = false, t.end, 0, 0
		t.learn(1)
		return 0
	}
	t.returned++
	passed := int((t.end - t.sure + t.period/2) / t.period)
	if lost = max(0, passed-t.returned-t.told); lost > 0 {
		t.told += lost
	}
	t.learn(passed)
	if !t.unsure {
		t.sure, t.told, t.returned = t.end, t.returned+t.told-passed, 0
	}
	return lost
}

// learn narrows the period by one more conversion. After a long gap, or after
// a look that was held up, the count cannot be trusted, and a new run begins.
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
	least -= least / 100 // chosen, for the oscillator's wander within a run
	if t.runCount < 256 {
		least = max(least, t.least) // a short run does not widen what is known
	}
	t.least = max(least, t.shortest)
}
