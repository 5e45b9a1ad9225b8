package sim

import (
	"math"
	"slices"
	"time"
)

// longestStep is the longest step a unit is asked to take.
const longestStep = 100 * time.Microsecond

// never is later than anything.
const never = time.Duration(math.MaxInt64)

// part is what does something at times of its own: a converter at the ends of
// its conversions.
type part interface {
	due() time.Duration
	tick() // at due
}

// World is the simulated time, the supply, the signal wire and the unit in
// the socket. Its time moves only by the clock's Sleep and by the time that
// transactions take. The unit is stepped no further than somebody looks:
// to the ends of conversions, to changes of switch or wire, and in between
// in steps of at most 100 µs. Charge and volt-seconds are added up step by
// step, so that a converter's mean over its conversion is exact.
type World struct {
	// Supply and Wire may be changed between two steps.
	Supply Supply
	Wire   Wire
	Driver Driver // of a two-wire unit

	now, stepped time.Duration
	next         time.Duration // the earliest due time of parts and events
	parts        []part
	events       []event
	eventCount   int

	unit      Unit
	on        bool // the contacts conduct
	contacts  contacts
	current_A float64
	plug_V    float64
	sense_V   float64 // line level behind the rig's filter
	probe_V   float64 // temperature divider

	// Integrals from time zero to stepped.
	charge_As, plug_Vs, sense_Vs, probe_Vs float64

	front      *front // before an SPI converter; nil without one
	probe      func(celsius float64) float64
	probeCount int
	wire       wireState
	load       loadState
	sensed     sensed
	returned   *ReturnPin
	signal     *Signal // that the bench listens to, in the place of its line; or nil
	// preCharge_Ohm is the resistance of a pre-charge path that alone conducts.
	preCharge_Ohm float64
	flow          *FlowPin
}

type event struct {
	at time.Duration
	id int
	f  func()
}

func newWorld() *World {
	w := &World{next: never, unit: Unplugged{}}
	w.plugIn()
	return w
}

// Plug puts a unit in the socket; nil leaves it empty.
func (w *World) Plug(u Unit) {
	w.settle(w.now)
	if u == nil {
		u = Unplugged{}
	}
	w.unit = u
	w.plugIn()
}

func (w *World) plugIn() {
	w.current_A, w.plug_V = 0, 0
	w.probeCount = 0
	if w.flow != nil {
		w.flow.plug(w.unit)
	}
	if w.returned != nil {
		w.returned.plug(w.unit)
	}
	w.wire.update(w)
}

// Unit is what is in the socket.
func (w *World) Unit() Unit { return w.unit }

// Current_A is the mean current of the last step.
func (w *World) Current_A() float64 { return w.current_A }

// Plug_V is the voltage at the unit's plug after the last step.
func (w *World) Plug_V() float64 { return w.plug_V }

// Energised says that the switch conducts, whatever its pin says.
func (w *World) Energised() bool { return w.on }

// Charge_As is the charge through the shunt since time zero, in ampere
// seconds.
func (w *World) Charge_As() float64 {
	w.settle(w.now)
	return w.charge_As
}

// Line is what the unit feels on its signal wire.
func (w *World) Line() Line { return w.wire.line }

// advance moves time to t; parts and events act at their times on the way.
func (w *World) advance(t time.Duration) {
	for w.next <= t {
		w.now = max(w.now, w.next)
		w.settle(w.now)
		w.act()
	}
	w.now = max(w.now, t)
}

// act runs what is due by now.
func (w *World) act() {
	for _, p := range w.parts {
		for p.due() <= w.now {
			p.tick()
		}
	}
	for len(w.events) > 0 && w.events[0].at <= w.now {
		e := w.events[0]
		w.events = slices.Delete(w.events, 0, 1)
		e.f()
	}
	w.plan()
}

// plan finds the next due time; to be called when one has changed.
func (w *World) plan() {
	w.next = never
	for _, p := range w.parts {
		w.next = min(w.next, p.due())
	}
	if len(w.events) > 0 {
		w.next = min(w.next, w.events[0].at)
	}
}

// At calls f when the time reaches t, from within the wait or transaction
// that passes it; a time that has passed is due when time next moves. f may
// use pins and set other events, but not wait and not use the bus.
func (w *World) At(t time.Duration, f func()) (cancel func()) {
	w.eventCount++
	e := event{at: t, id: w.eventCount, f: f}
	i, _ := slices.BinarySearchFunc(w.events, t, func(e event, t time.Duration) int {
		if e.at <= t {
			return -1
		}
		return 1
	})
	w.events = slices.Insert(w.events, i, e)
	w.next = min(w.next, t)
	return func() {
		w.events = slices.DeleteFunc(w.events, func(o event) bool { return o.id == e.id })
		w.plan()
	}
}

// settle steps the unit to time t, which is not after now.
func (w *World) settle(t time.Duration) {
	if w.load.pwm { // no step crosses an edge of the switch
		for e := w.load.edge(w.stepped); e < t; e = w.load.edge(e) {
			w.steps(e)
		}
	}
	w.steps(t)
}

// steps steps the unit to time t.
func (w *World) steps(t time.Duration) {
	span := t - w.stepped
	if span <= 0 {
		return
	}
	n := (span + longestStep - 1) / longestStep
	for ; n > 0; n-- {
		w.step((t - w.stepped) / n)
	}
}

func (w *World) step(dt time.Duration) {
	dt_s := float64(dt) * 1e-9
	before := w.plug_V
	if w.contacts.live {
		w.on, w.preCharge_Ohm = w.contacts.state()
	}
	src := w.Supply.source(w.on, w.plug_V, w.stepped)
	src.Ohm += w.preCharge_Ohm
	w.current_A, w.plug_V = w.unit.Step(dt, src, w.wire.line)
	w.stepped += dt
	w.charge_As += w.current_A * dt_s
	if w.front != nil {
		if s, ok := w.unit.(*switched); ok {
			w.front.ramp(w.current_A, s.end_A, dt_s)
		} else {
			w.front.step(w.current_A, dt_s)
		}
	}
	w.plug_Vs += (before + w.plug_V) / 2 * dt_s
	w.sense(dt_s)

	if w.flow != nil && w.flow.active {
		w.flow.step(w.stepped, dt)
	}
	w.returned.step(w.stepped, dt)

	level := w.wire.mean_V(w.stepped, dt_s)
	w.wire.update(w)
	// The rig's filter is of first order; dt is far below its time constant.
	x := dt_s / senseFilter_s
	was := w.sense_V
	w.sense_V += (level - was) * x * (1 - x/2*(1-x/3))
	w.sense_Vs += (was + w.sense_V) / 2 * dt_s
	if w.signal != nil { // the sense wire listens to another, without a filter
		w.sense_V, w.sense_Vs = w.signal.at(w.stepped), w.signal.integral(w.stepped)
	}

	if w.probe != nil {
		if w.probeCount--; w.probeCount < 0 {
			w.probeCount = 200 // steps: water takes far longer to warm
			w.probe_V = w.probe(w.unit.Temperature())
		}
		w.probe_Vs += w.probe_V * dt_s
	}
}

// changed is called after a change of the switch, the wire or a fault.
func (w *World) changed() { w.wire.update(w) }

// Clock is the rig's clock over a world.
type Clock struct{ w *World }

// Now is the simulated time.
func (c *Clock) Now() time.Duration { return c.w.now }

// Sleep moves the simulated time.
func (c *Clock) Sleep(d time.Duration) {
	if d > 0 {
		c.w.advance(c.w.now + d)
	}
}

// At calls f at a simulated time; see World.At.
func (c *Clock) At(t time.Duration, f func()) (cancel func()) { return c.w.At(t, f) }
