package sim

import (
	"math"
	"time"
)

// senseFilter_s is the time constant of the rig's low-pass before the
// converter that reads the line's level: 20 ms, chosen so that a step has
// settled to 0.1 % in 0.14 s and a PWM of 1 kHz leaves 1.3 % of its swing.
const senseFilter_s = 0.020

// Wire is the signal wire from the rig's pin to the unit's plug: how it is
// driven, and what is wrong with it.
type Wire struct {
	// OpenDrain: the pin switches a transistor that pulls the line low or
	// lets go; else a buffer drives it to High_V or ground, and lets go while
	// the pin is an input.
	OpenDrain bool
	// Inverted: the pin high means the line low, as with one n-channel
	// transistor.
	Inverted bool
	High_V   float64 // the buffer's high level
	// The rig's own pull-up; 0 Ω means none. With PullUp_V 0 it goes to the
	// supply at the plug.
	PullUp_V   float64
	PullUp_Ohm float64
	Sense_Ohm  float64 // the sense divider from line to ground; 0 means none

	Fault WireFault
	// FrequencyError is the relative error of the PWM's frequency.
	FrequencyError float64
}

// WireFault is what is wrong with the wire.
type WireFault int

// The faults of the wire.
const (
	WireWhole     WireFault = iota
	WireStuckLow            // shorted to ground
	WireStuckHigh           // shorted to the supply at the plug
	WireOpen                // broken between the driver and the sense point at the plug
)

// wireState is what the pin does to the wire and what the unit feels.
type wireState struct {
	line Line
	// The pin: driven, and then its level, or PWM with high > 0.
	driven  bool
	level   bool
	pwm     bool
	high    float64 // the pin's high share
	freq_Hz float64
	since   time.Duration // start of the PWM
	highs   float64       // high time of the line so far, in periods
}

// update works out what the unit feels, from pin, pull-ups and faults.
func (s *wireState) update(w *World) {
	wire := &w.Wire
	driven := s.driven && wire.Fault != WireOpen
	low := s.level == wire.Inverted // the line's level for a static pin
	released_V := 0.0
	if wire.OpenDrain || !driven {
		released_V = s.released_V(w)
	}
	high_V := wire.High_V
	if wire.OpenDrain {
		high_V = released_V
	}
	switch {
	case wire.Fault == WireStuckLow:
		s.line = Line{State: LineLow}
	case wire.Fault == WireStuckHigh:
		s.line = Line{State: LineHigh, High_V: w.plug_V}
	case !driven:
		s.line = Line{State: LineReleased, High_V: released_V}
	case s.pwm:
		high := s.high
		if wire.Inverted {
			high = 1 - high
		}
		s.line = Line{State: LinePWM, High: high, Frequency_Hz: s.freq_Hz * (1 + wire.FrequencyError), High_V: high_V}
	case low:
		s.line = Line{State: LineLow}
	case wire.OpenDrain:
		s.line = Line{State: LineReleased, High_V: released_V}
	default:
		s.line = Line{State: LineHigh, High_V: high_V}
	}
}

// released_V is the level of a line that nobody drives: the pull-ups against
// the sense divider.
func (s *wireState) released_V(w *World) float64 {
	wire := &w.Wire
	siemens, ampere := 0.0, 0.0
	if v, ohm := w.unit.PullUp(); ohm > 0 {
		siemens, ampere = 1/ohm, v/ohm
	}
	if wire.PullUp_Ohm > 0 && wire.Fault != WireOpen {
		v := wire.PullUp_V
		if v == 0 {
			v = w.plug_V
		}
		siemens += 1 / wire.PullUp_Ohm
		ampere += v / wire.PullUp_Ohm
	}
	if siemens == 0 {
		return 0
	}
	if wire.Sense_Ohm > 0 {
		siemens += 1 / wire.Sense_Ohm
	}
	return ampere / siemens
}

// mean_V is the line's mean level over the dt_s seconds before t, exact for a
// PWM of any frequency.
func (s *wireState) mean_V(t time.Duration, dt_s float64) float64 {
	switch s.line.State {
	case LineLow:
		return 0
	case LinePWM:
		phase := float64(t-s.since) * 1e-9 * s.line.Frequency_Hz
		whole := math.Floor(phase)
		highs := whole*s.line.High + min(phase-whole, s.line.High)
		was := s.highs
		s.highs = highs
		return s.line.High_V * min(max((highs-was)/(dt_s*s.line.Frequency_Hz), 0), 1)
	}
	return s.line.High_V
}
