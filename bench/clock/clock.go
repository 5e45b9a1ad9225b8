// Package clock is the rig's time: monotonic, starting at zero when the rig
// is opened. A real rig keeps real time; a simulated bus advances its own
// clock by the time that each transaction and wait would take, so that a
// minute's test runs in milliseconds and repeats exactly.
package clock

import "time"

// Clock tells the rig's time and waits in it. One goroutine owns a rig and
// its clock; implementations need not be safe for concurrent use.
type Clock interface {
	// Now is the time since the rig was opened. It never runs back.
	Now() time.Duration
	// Sleep returns when Now has grown by at least d. d <= 0 returns at once.
	Sleep(d time.Duration)
}

// Real is the monotonic time of this machine.
type Real struct{ start time.Time }

// NewReal starts a clock at zero.
func NewReal() *Real { return &Real{start: time.Now()} }

// Now is the monotonic time since NewReal; a jump of the wall clock does not
// show in it.
func (r *Real) Now() time.Duration { return time.Since(r.start) }

// Sleep waits in real time.
func (r *Real) Sleep(d time.Duration) {
	if d > 0 {
		time.Sleep(d)
	}
}
