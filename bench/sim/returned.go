package sim

import (
	"time"

	"periph.io/x/conn/v3/gpio"
)

// Returner is a unit that reports on itself on a wire of its own: by the share
// of high level of a PWM. A share of 0 or 1 is a steady level.
type Returner interface {
	Return() (frequency_Hz, high float64)
}

// ReturnPin is the input on the unit's return wire. A unit that has none leaves
// it low, as an open collector without a pull-up.
type ReturnPin struct {
	Pin
	unit  Returner // nil: none
	phase float64  // of the period, 0 to 1
	high  float64  // share of the period that is under way
	hz    float64
	level bool
	hooks []func(at time.Duration, high bool)
}

// returnHigh_V is the level that counts as high, chosen: half of 5 V.
const returnHigh_V = 2.5

func newReturn(w *World) *ReturnPin {
	r := &ReturnPin{Pin: Pin{name: "RETURN", number: 6, w: w}}
	r.input = func() gpio.Level {
		w.settle(w.now)
		return gpio.Level(r.level)
	}
	w.returned = r
	return r
}

// OnReturn calls back for each edge of the unit's return signal, in the order
// of time, from within the wait or transaction that passes it. What is called
// may neither wait nor use a bus.
func (b *Bench) OnReturn(call func(at time.Duration, high bool)) {
	b.Return.w.settle(b.Return.w.now)
	b.Return.hooks = append(b.Return.hooks, call)
}

// plug looks whether the unit reports.
func (r *ReturnPin) plug(u Unit) {
	r.unit, _ = u.(Returner)
	r.phase = 0
}

// step moves the signal on over dt, which ends at the time given.
func (r *ReturnPin) step(end, dt time.Duration) {
	if r == nil || r.unit == nil || len(r.hooks) == 0 && r.edge == gpio.NoEdge {
		return
	}
	f, high := r.unit.Return()
	if f > 0 && f == r.hz && r.phase > 0 { // a period is not changed any more once it has begun
		high = r.high
	}
	r.hz, r.high = f, high
	begin := end - dt
	switch r.w.sensed.positionFault { // the wire of a position told by PWM
	case positionOpen: // the rig's pull-up
		f, high = 0, 1
	case positionShorted:
		f, high = 0, 1
		if r.w.plug_V < returnHigh_V {
			high = 0
		}
	}
	r.turn(begin, high > r.phase)
	if !(f > 0) {
		return
	}
	for left := dt.Seconds() * f; ; { // in periods
		next, to := 1.0, true // the edge that comes
		if r.phase < high {
			next, to = high, high >= 1
		}
		if r.phase+left < next {
			r.phase += left
			return
		}
		left -= next - r.phase
		if r.phase = next; next == 1 {
			_, high = r.unit.Return()
			r.phase, r.high, to = 0, high, high > 0
		}
		r.turn(end-time.Duration(left/f*1e9), to)
	}
}

// turn sets the level.
func (r *ReturnPin) turn(at time.Duration, high bool) {
	if high == r.level {
		return
	}
	r.level = high
	for _, call := range r.hooks {
		call(at, high)
	}
}
