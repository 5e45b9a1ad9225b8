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
	taken             time.Duration // the end of the last conversion that was returned
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
		early: begun, late: done, end: begun, next: begun + least,
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
	t.next = t.early + t.least
	// Where in between: by the period since the last.
	middle := (t.early + t.late) / 2
	if t.first {
		t.end = middle
		return
	}
	n := (middle - t.end + t.period/2) / t.period
	t.end = min(max(t.end+max(n, 1)*t.period, t.early), t.late)
}

// take is called for each conversion returned; it returns how many were lost
// since the last.
func (t *tracker) take() (lost int) {
	passed := 1
	if !t.first {
		passed = max(1, int((t.end-t.taken+t.period/2)/t.period))
	}
	t.first = false
	t.taken = t.end
	t.learn(passed)
	return passed - 1
}

// learn narrows the period by one more conversion. After a long gap the count
// cannot be trusted, and a new run begins.
func (t *tracker) learn(passed int) {
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
	if least > most {
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
