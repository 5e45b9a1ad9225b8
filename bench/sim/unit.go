// Package sim is the simulated side of a rig: an I²C bus and pins that
// implement periph's interfaces, register-level chips, a supply, and a socket
// into which a simulated unit is plugged. Drivers, guard and run do not know
// that it is there. Time is the rig's own: each transaction and wait advances
// it by what it would take.
package sim

import "time"

// Unit is what is plugged into the simulated rig: the physics of one unit,
// faults included.
type Unit interface {
	// Step advances the unit by dt (at most 100 µs; the world splits longer
	// spans) with the supply src at the bench's end of the leads and the
	// signal line as it is. It returns the mean current through the shunt over
	// dt in amperes and the voltage across the unit's plug at the end of dt.
	Step(dt time.Duration, src Source, line Line) (current_A, plug_V float64)
	// PullUp is the unit's own pull-up on its signal input: its open voltage
	// and series resistance in ohms; ohm = 0 means none. It follows the
	// supply at the plug, as last stepped.
	PullUp() (open_V, ohm float64)
	// Temperature is the water temperature in °C, for the rig's sensor.
	Temperature() float64
}

// Source is the supply as seen at the shunt: an open voltage behind a
// resistance (supply, switch, leads, contacts), with a current limit. A
// source that is off lets no current through in either direction but for the
// switch's leakage.
type Source struct {
	On      bool
	Open_V  float64
	Ohm     float64 // series resistance up to the unit's plug
	Limit_A float64 // the supply's current limit; 0 means none
	Leak_A  float64 // leakage of the open switch
}

// LineState says who drives the signal wire.
type LineState int

// The states of the line at the unit's plug.
const (
	LineReleased LineState = iota // nobody drives it: the pull-up alone
	LineLow                       // held low
	LineHigh                      // held high
	LinePWM                       // PWM of Duty at Frequency_Hz
)

// Line is what the unit feels on its signal wire.
type Line struct {
	State        LineState
	High         float64 // the high share of a period, 0 to 1, for LinePWM
	Frequency_Hz float64 // for LinePWM
	High_V       float64 // the high level at the plug
}
