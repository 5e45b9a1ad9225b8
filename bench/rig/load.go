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
	// FreeWheel is FreeWheelDiode or FreeWheelNone.
	FreeWheel string
	Clamp     Clamp // of the switch, without a diode
	// Seen says that the current that recirculates in the free-wheel path goes
	// through the shunt: then the reading is the unit's own current at all
	// times. Else it is nought while the switch is open, and its mean is that of
	// the supply.
	Seen bool
	// Level reads the wire between unit and switch; nil: it is not read.
	Level *Sense
	// LowestFrequency_Hz and HighestFrequency_Hz of its PWM; both 0: it is for
	// steady levels only.
	LowestFrequency_Hz, HighestFrequency_Hz float64
}

// The paths that the current of a coil can take when the load switch opens.
const (
	// FreeWheelDiode lies across the unit's plug.
	FreeWheelDiode = "diode"
	// FreeWheelNone: the switch itself lets the current through at its clamp
	// voltage, until the coil's energy is spent in it.
	FreeWheelNone = "none"
)

// Clamp is what a switch bears that takes the current of a coil itself.
type Clamp struct {
	Volt  float64 // across the open switch, at most
	Joule float64 // of one opening, as its data sheet bears again and again
	Henry float64 // of the coils that may be switched, at most
}

// Opening_J is what one opening leaves in the clamp: the coil's energy, and what
// the supply adds while the current falls from current_A to nought. Without the
// coil's resistance, which only takes some of it, the current falls at
// (Volt − supply)/L, so the charge is L·I²/(2·(Volt − supply)), and the clamp has
// it at Volt.
func (c Clamp) Opening_J(current_A, supply_V float64) float64 {
	return c.Henry * current_A * current_A / 2 * c.Volt / (c.Volt - supply_V)
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
	case !(duty_pct > 0 && duty_pct < 100):
		return fmt.Errorf("rig: load switch at a duty of %g %%: it must be from 0 to 100", duty_pct)
	case !(l.HighestFrequency_Hz > 0):
		return fmt.Errorf("rig: load switch at a duty of %g %%: the rig file gives it no frequency, so it takes 0 %% and 100 %% only; state frequency in [load], with a free-wheel diode", duty_pct)
	}
	if hz := float64(freq) / float64(physic.Hertz); !(hz >= l.LowestFrequency_Hz && hz <= l.HighestFrequency_Hz) {
		return fmt.Errorf("rig: load switch at %v: it takes %g to %g Hz; choose a frequency between, or state what it bears in [load]", freq, l.LowestFrequency_Hz, l.HighestFrequency_Hz)
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
	l.line.what = "load switch"
	if err := l.Open(); err != nil {
		return nil, fmt.Errorf("rig %s: load switch does not open: %w", d.Name, err)
	}
	return l, nil
}

// PositionInput reads where a unit says that it stands: Sense or Edges.
type PositionInput struct {
	// Sense reads a voltage; nil: none does.
	Sense *Sense
	// Edges hears a PWM; nil: nothing does.
	Edges *Input
}

// How a unit's position is read.
const (
	PositionByVoltage = "voltage"
	PositionByPWM     = "pwm"
)

func (p *PositionInput) by() string {
	switch {
	case p == nil:
		return ""
	case p.Sense != nil:
		return PositionByVoltage
	}
	return PositionByPWM
}
