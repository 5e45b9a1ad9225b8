package rig

import (
	"fmt"

	"periph.io/x/conn/v3/physic"
)

// Load is the bench's own switch in the supply of a unit without a board. Its
// duty is the share of a period in which the unit is connected. One goroutine
// owns it.
type Load struct {
	LoadSwitch
	line *Line
}

// LoadSwitch says what the switch of a two-wire unit is, and what the current
// of a coil does when it opens.
type LoadSwitch struct {
	Pin       string
	PWMChip   string // device of the kernel's PWM; empty: Pin
	Channel   int
	ActiveLow bool // the pin low means closed
	HighSide  bool // between supply and unit; else between unit and ground
	// FreeWheel is "diode" (across the unit) or "none": the switch's own
	// breakdown takes the energy of a coil.
	FreeWheel string
	// Seen says that the current that recirculates in the free-wheel path goes
	// through the shunt: then the reading is the unit's own current at all
	// times. Else it is nought while the switch is open, and its mean is that of
	// the supply.
	Seen bool
	// Level reads the wire between unit and switch; nil: it is not read.
	Level *Sense
	// LowestFrequency_Hz and HighestFrequency_Hz of its PWM.
	LowestFrequency_Hz, HighestFrequency_Hz float64
}

// Ends of what a load switch may be asked for, where its file says no less.
const (
	LoadLowest_Hz  = 50
	LoadHighest_Hz = 25_000
)

// Drive connects the unit for duty_pct of each period at freq; 0 and 100 are
// steady and need no frequency.
func (l *Load) Drive(duty_pct float64, freq physic.Frequency) error {
	switch {
	case duty_pct == 0:
		return l.Open()
	case duty_pct == 100:
		return l.line.HoldHigh()
	}
	if hz := float64(freq) / float64(physic.Hertz); !(hz >= l.LowestFrequency_Hz && hz <= l.HighestFrequency_Hz) {
		return fmt.Errorf("rig: load switch at %v: it takes %g to %g Hz", freq, l.LowestFrequency_Hz, l.HighestFrequency_Hz)
	}
	return l.line.Drive(duty_pct, freq)
}

// Open disconnects the unit.
func (l *Load) Open() error { return l.line.HoldLow() }

// openLoad takes the switch of two-wire units, and opens it; nil where the rig
// has none.
func openLoad(b Board, d *Description) (*Load, error) {
	if d.Load == nil {
		return nil, nil
	}
	pin, err := linePin(b, &LinePin{Pin: d.Load.Pin, PWMChip: d.Load.PWMChip, Channel: d.Load.Channel})
	if err != nil {
		return nil, fmt.Errorf("rig %s: load switch: %w", d.Name, err)
	}
	l := &Load{LoadSwitch: *d.Load, line: NewLine(pin, LineDrive{Inverted: d.Load.ActiveLow})}
	return l, l.Open()
}

// PositionInput reads where a unit says that it stands.
type PositionInput struct {
	// Sense reads a voltage; nil: none does.
	Sense *Sense
	// Edges hears a PWM; nil: nothing does.
	Edges *Input
}
