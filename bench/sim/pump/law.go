package pump

import "fmt"

// Law turns the line duty, 0 to 1, into what the board does. on says whether
// the unit is running, for the hysteresis. share is 0 at the least speed and 1
// at full. valid is false in a reserved window, where the board sees no
// command.
type Law interface {
	Command(lineDuty float64, on bool) (share float64, run, valid bool)
}

// Direct is a law whose speed rises with the line duty; all fields are shares
// of a period, in rising order.
type Direct struct {
	Low   float64 // below it the window is reserved
	Stop  float64 // at or below it the unit stops
	Start float64 // above it the unit starts; in between it stays as it is
	From  float64 // least speed up to here
	To    float64 // full speed from here
	High  float64 // above it the window is reserved
}

// Command implements Law.
func (l Direct) Command(d float64, on bool) (float64, bool, bool) {
	if !(d >= l.Low && d <= l.High) {
		return 0, false, false
	}
	if d <= l.Stop || (d <= l.Start && !on) {
		return 0, false, true
	}
	return clamp01((d - l.From) / (l.To - l.From)), true, true
}

// Heating is profile A of the PWM control signal for wet-runner circulating
// pumps (VDMA Einheitsblatt 24224, as circulator makers' manuals print it):
// up to 10 % full speed, from there falling to the least at 84 %, least up to
// 91 %, hysteresis up to 95 %, standby above.
type Heating struct{}

// Command implements Law.
func (Heating) Command(d float64, on bool) (float64, bool, bool) {
	switch {
	case !(d >= 0 && d <= 1):
		return 0, false, false
	case d > 0.95 || (d > 0.91 && !on):
		return 0, false, true
	}
	return clamp01((0.84 - d) / (0.84 - 0.10)), true, true
}

// Solar is profile C of the same sheet: up to 5 % standby, hysteresis up to
// 8 %, least speed up to 15 %, from there rising to full speed at 90 %.
type Solar struct{}

// Command implements Law.
func (Solar) Command(d float64, on bool) (float64, bool, bool) {
	switch {
	case !(d >= 0 && d <= 1):
		return 0, false, false
	case d <= 0.05 || (d <= 0.08 && !on):
		return 0, false, true
	}
	return clamp01((d - 0.15) / (0.90 - 0.15)), true, true
}

// Behaviour is what a board does when it sees no command.
type Behaviour int

// The behaviours.
const (
	Stops Behaviour = iota
	RunsFull
)

// String names the behaviour.
func (b Behaviour) String() string {
	switch b {
	case Stops:
		return "stops"
	case RunsFull:
		return "runs at full"
	}
	return fmt.Sprintf("behaviour %d", int(b))
}

// Missing is what the board does without a command, by the state of the line.
type Missing struct {
	Open      Behaviour // nobody drives the line
	Low       Behaviour // stuck low
	High      Behaviour // stuck high
	Frequency Behaviour // PWM of a wrong frequency, or in a reserved window
	After_s   float64   // for so long the last command holds
}

func clamp01(x float64) float64 {
	if !(x > 0) {
		return 0
	}
	return min(x, 1)
}
