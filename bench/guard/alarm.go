package guard

import (
	"time"

	"dutybench/bench/clock"
)

// Alarm is what a clock offers when it can call back at an instant of its
// own time. A simulated clock calls from within the wait or transaction that
// passes the instant, on the rig's goroutine; f may set another alarm.
// A time that has passed is due at once: at the latest when the clock next
// moves.
type Alarm interface {
	At(t time.Duration, f func()) (cancel func())
}

// Watch is the alarm of a clock; nil when it has none, and the lease is then
// looked at with every sample only. The real clock gets a timer of this
// process; a hung process needs a second one, or a switch that falls off by
// itself.
func Watch(c clock.Clock) Alarm {
	switch c := c.(type) {
	case Alarm:
		return c
	case *clock.Real:
		return timers{c}
	}
	return nil
}

// timers sets alarms in real time.
type timers struct{ c *clock.Real }

func (t timers) At(at time.Duration, f func()) func() {
	timer := time.AfterFunc(at-t.c.Now(), f)
	return func() { timer.Stop() }
}

// arm sets the alarm for the end of the lease of one switch-on. One alarm is
// pending at a time: when it comes and the lease has been renewed since, it
// is set again for the new end, so that renewing costs nothing.
func (g *Guard) arm(grant int64, at time.Duration) {
	if g.alarm == nil {
		return
	}
	g.alarm.At(at, func() {
		if !g.on.Load() || g.grant.Load() != grant {
			return
		}
		if until := time.Duration(g.until.Load()); until > at {
			g.arm(grant, until)
			return
		}
		g.ran.Store(grant)
		// An error here is found by the next Check, which cuts again.
		_ = g.cut()
	})
}
