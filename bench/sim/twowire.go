package sim

import (
	"math"
	"time"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/physic"
)

// TwoWire is a unit without a board of its own: what lies between two wires,
// such as a coil or a brushed motor. The bench switches it.
type TwoWire interface {
	// Step advances the unit by dt (at most 100 µs) in a circuit that stays as it
	// is. It returns the mean current over dt, counted from the unit's first
	// wire through it to the second, and the voltage across it at the end.
	Step(dt time.Duration, c Circuit) (current_A, across_V float64)
	// Temperature is that of the unit's body in °C, for the rig's sensor.
	Temperature() float64
}

// Circuit is what lies around a two-wire unit: a voltage that drives current
// through it, behind a resistance. One that is not closed lets none through.
type Circuit struct {
	Closed  bool
	EMF_V   float64
	Ohm     float64
	Limit_A float64 // of the supply; 0: none
	// OneWay lets current through in the counted direction only, as a diode
	// does: where it would turn round there is none.
	OneWay bool
}

// FreeWheel is the path that the current of a coil takes when the switch opens.
type FreeWheel struct {
	// Diode: a diode across the unit, of Forward_V. Else the switch's own
	// breakdown takes the current, with Clamp_V across the open switch.
	Diode     bool
	Forward_V float64
	Clamp_V   float64
	Ohm       float64
	// Short_Ohm, when above zero, lies across the unit: a diode that has broken
	// down, or sits the wrong way round.
	Short_Ohm float64
}

// Driver is the bench's switch in the supply of a two-wire unit.
type Driver struct {
	HighSide bool
	Ohm      float64 // of the closed switch
	FreeWheel
	// Seen says that the current of the free-wheel path goes through the shunt.
	Seen bool
	// StuckOn and StuckOff are what can be wrong with the switch.
	StuckOn, StuckOff bool
}

// DefaultDriver is a low-side transistor of 10 mΩ with a diode across the unit,
// and the shunt in the unit's own loop, so that the current that recirculates
// is seen. Without the diode it breaks down at 60 V. All of it is chosen; the
// rig's description has to state the same.
func DefaultDriver() Driver {
	return Driver{Ohm: 0.010, Seen: true, FreeWheel: FreeWheel{Diode: true, Forward_V: 0.7, Clamp_V: 60, Ohm: 0.02}}
}

// loadState is what the pin does to the switch.
type loadState struct {
	level   bool // for a steady level
	pwm     bool
	high    float64 // share of a period in which it conducts
	freq_Hz float64
	since   time.Duration
}

// on says whether the switch is told to conduct at t.
func (s *loadState) on(t time.Duration) bool {
	if !s.pwm {
		return s.level
	}
	phase := float64(t-s.since) * 1e-9 * s.freq_Hz
	return phase-math.Floor(phase) < s.high
}

// edge is the first time after t at which it changes; never without PWM.
func (s *loadState) edge(t time.Duration) time.Duration {
	if !s.pwm {
		return never
	}
	phase := float64(t-s.since) * 1e-9 * s.freq_Hz
	whole := math.Floor(phase)
	next := whole + 1
	if phase-whole < s.high {
		next = whole + s.high
	}
	e := s.since + time.Duration(math.Ceil(next/s.freq_Hz*1e9))
	if e <= t { // rounding
		e = t + 1
	}
	return e
}

// switched makes a two-wire unit, behind the bench's switch, one of a socket.
type switched struct {
	w      *World
	body   TwoWire
	node_V float64 // of the wire between unit and switch, against ground
	body_A float64 // through the unit, mean of the last step
	end_A  float64 // through the shunt, at the end of it
}

// Step drives the unit for dt, in which the switch does not change.
func (s *switched) Step(dt time.Duration, src Source, _ Line) (current_A, plug_V float64) {
	d := &s.w.Driver
	feeds := s.w.conducts(s.w.stepped) && src.On
	c := d.circuit(feeds, src)
	i, across := s.body.Step(dt, c)
	s.body_A, s.end_A = i, c.current(i, across)
	supply_A := src.Leak_A
	plug_V = src.Open_V // nought when it is off
	if !src.On {
		plug_V = 0
	}
	switch {
	case feeds && d.Short_Ohm > 0:
		supply_A, plug_V = d.beside(src, across)
	case feeds:
		supply_A = i
		plug_V = src.Open_V - i*src.Ohm
		if src.Limit_A > 0 && i >= src.Limit_A { // it holds its current by giving way
			plug_V = min(plug_V, across+i*d.Ohm)
		}
	case i > 0 && !d.Diode && d.Short_Ohm == 0:
		// The one way round is through the switch, and so through supply and shunt.
		supply_A = i
		plug_V -= i * src.Ohm
	}
	s.node_V = plug_V - across // low side
	if d.HighSide {
		s.node_V = across
	}
	if d.Seen {
		return i, plug_V
	}
	if supply_A != i {
		s.end_A = supply_A // the short's is steady, and that of an open switch nought
	}
	return supply_A, plug_V
}

// current is that at the end of a step, as the voltage across the unit tells it;
// the mean where the circuit has no resistance to tell it by.
func (c Circuit) current(mean_A, across_V float64) float64 {
	if !(c.Ohm > 0) {
		return mean_A
	}
	i := (c.EMF_V - across_V) / c.Ohm
	if c.OneWay {
		i = max(i, 0)
	}
	if c.Limit_A > 0 {
		i = min(i, c.Limit_A)
	}
	return i
}

// conducts says whether the load switch does at t.
func (w *World) conducts(t time.Duration) bool {
	return (w.load.on(t) || w.Driver.StuckOn) && !w.Driver.StuckOff
}

// circuit is what lies around the unit, fed by the supply or left to its
// free-wheel path.
func (d *Driver) circuit(feeds bool, src Source) Circuit {
	short := d.Short_Ohm
	switch {
	case feeds && short > 0:
		// Supply and short as one source (Thévenin). A supply at its limit is one
		// of current; the short takes what the unit does not.
		ohm := src.Ohm + d.Ohm
		share := short / (ohm + short)
		volt := src.Open_V * share
		if src.Limit_A > 0 && volt > src.Limit_A*short {
			return Circuit{Closed: true, EMF_V: src.Limit_A * short, Ohm: short}
		}
		return Circuit{Closed: true, EMF_V: volt, Ohm: ohm * share}
	case feeds:
		return Circuit{Closed: true, EMF_V: src.Open_V, Ohm: src.Ohm + d.Ohm, Limit_A: src.Limit_A}
	case short > 0: // either way round
		return Circuit{Closed: true, Ohm: short}
	case d.Diode:
		return Circuit{Closed: true, OneWay: true, Ohm: d.FreeWheel.Ohm, EMF_V: -d.Forward_V}
	}
	// The switch clamps; the supply goes on driving the current.
	c := Circuit{Closed: true, OneWay: true, Ohm: d.FreeWheel.Ohm, EMF_V: -d.Clamp_V}
	if src.On {
		c.EMF_V += src.Open_V
		c.Ohm += src.Ohm
	}
	return c
}

// beside is the supply's current and voltage while a short lies across the unit.
func (d *Driver) beside(src Source, across_V float64) (supply_A, plug_V float64) {
	supply_A = (src.Open_V - across_V) / (src.Ohm + d.Ohm)
	if src.Limit_A > 0 {
		supply_A = min(supply_A, src.Limit_A)
	}
	return supply_A, across_V + supply_A*d.Ohm
}

// PullUp is none: there is no signal wire.
func (*switched) PullUp() (open_V, ohm float64) { return 0, 0 }

// Temperature is the unit's.
func (s *switched) Temperature() float64 { return s.body.Temperature() }

// Body_A is the current through a two-wire unit, mean of the last step.
func (w *World) Body_A() float64 {
	if s, ok := w.unit.(*switched); ok {
		return s.body_A
	}
	return w.current_A
}

// newLoad is the pin that switches a two-wire unit; high conducts.
func newLoad(w *World) *Pin {
	p := &Pin{name: "LOAD", number: 7, w: w}
	p.input = func() gpio.Level { return gpio.Low }
	p.drive = func(p *Pin, duty gpio.Duty, f physic.Frequency) error {
		w.load = loadState{level: p.output && bool(p.level), since: w.now}
		if p.output && duty != 0 {
			w.load.pwm, w.load.high, w.load.freq_Hz = true, float64(duty)/float64(gpio.DutyMax), float64(f)/float64(physic.Hertz)
		}
		return nil
	}
	return p
}

// Coil is the plainest two-wire unit with an inductance: R and L in series, for
// closed-form checks of bench and rig. Temp_C is what the rig's sensor feels.
type Coil struct {
	Ohm, Henry float64
	Temp_C     float64

	current_A float64
}

// Step is exact for a circuit that stays as it is: i approaches EMF/(R+Rc) with
// the time constant L/(R+Rc).
func (l *Coil) Step(dt time.Duration, c Circuit) (mean_A, across_V float64) {
	if !c.Closed {
		l.current_A = 0
		return 0, 0
	}
	t, ohm := dt.Seconds(), l.Ohm+c.Ohm
	end := c.EMF_V / ohm
	tau := l.Henry / ohm
	from := l.current_A
	span := t
	if c.OneWay && end < 0 {
		if from <= 0 {
			l.current_A = 0
			return 0, 0
		}
		span = min(t, tau*math.Log((from-end)/-end)) // until there is none left
	}
	fall := -math.Expm1(-span / tau)
	l.current_A = from + (end-from)*fall
	area := end*span + (from-end)*tau*fall
	if span < t {
		l.current_A = 0
	}
	across_V = c.EMF_V - l.current_A*c.Ohm
	if c.Limit_A > 0 && l.current_A > c.Limit_A {
		// A supply at its limit gives way until the coil's resistance alone holds
		// the current.
		l.current_A = c.Limit_A
		return min(area/t, c.Limit_A), c.Limit_A * l.Ohm
	}
	return area / t, across_V
}

// Temperature is Temp_C.
func (l *Coil) Temperature() float64 { return l.Temp_C }

// LoadTold is what the load switch is told: the share of a period for which it
// conducts, and the frequency; 0 and 1 are steady levels.
func (w *World) LoadTold() (share, frequency_Hz float64) {
	switch s := &w.load; {
	case s.pwm:
		return s.high, s.freq_Hz
	case s.level:
		return 1, 0
	}
	return 0, 0
}
