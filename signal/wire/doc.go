// Package wire reads what is on a signal wire from what an input heard of it:
// edges with times, samples of its voltage, or nothing but a slow mean.
//
// A meter shows the mean of a PWM signal, or the pull-up alone when nobody
// drives the wire. So the reading gives low and high level, frequency, duty
// and jitter, and says in words what that is: PWM, a steady level, an open
// wire, or no PWM at all: a bus. What an input cannot tell apart is named
// together with what would; a signal too fast for the input is never guessed.
//
// A serial line that repeats one byte without a pause is a square wave: from
// edges alone, nothing tells that from PWM.
package wire

import "math"

// Kind is what is on the wire, as far as it can be told.
type Kind string

// The kinds of signal.
const (
	PWM        Kind = "pwm"         // driven, with a period
	Low        Kind = "low"         // stays low
	High       Kind = "high"        // stays high: driven, pulled up or an idle bus
	DrivenHigh Kind = "driven-high" // stays high, and stiff under a load
	PullUp     Kind = "pull-up"     // stays high, by a resistor only
	Floating   Kind = "floating"    // nobody holds it: hum, drift, or the input's own level
	Bus        Kind = "bus"         // pulses of many lengths on one bit time
	Analogue   Kind = "analogue"    // a steady level between low and high
	TooFast    Kind = "too-fast"    // faster than this input can follow
	MeanOnly   Kind = "mean-only"   // only a mean is known
	Unclear    Kind = "unclear"     // edges that fit none of these
)

// Edges are what an edge-detecting input heard.
type Edges struct {
	At_s []float64 // times, never running back
	High []bool    // level after each
	// The window that was listened to, and the level at its start.
	Start_s, End_s float64
	StartHigh      bool
	// Resolution_s is the step of the times; 0 when far below the shortest
	// pulse.
	Resolution_s float64
	// Skew_s is the largest difference between the delays of comparator or
	// optocoupler at rising and falling edges.
	Skew_s float64
	// Clock is the relative standard uncertainty of the clock's rate.
	Clock float64
	// Lost counts edges that the input says it lost. Two edges to the same
	// level count as one more.
	Lost int
}

// Levels are samples of the wire's voltage, evenly spaced or not. Uneven ones
// are better: a PWM near a multiple of an even rate looks like a slow one.
type Levels struct {
	At_s, V []float64
	// Filter_s is the time constant of the low-pass before the converter and
	// Aperture_s the time over which one sample is the mean; 0: none.
	Filter_s, Aperture_s float64
	Step_V               float64 // of the converter
	Gain                 float64 // relative standard uncertainty
	Offset_V             float64 // standard uncertainty
	Clock                float64 // relative standard uncertainty of the clock's rate
}

// Surroundings are what is known beside the signal. Nought means not known.
type Surroundings struct {
	Supply_V float64 // that the other end of the wire runs on
	PullUp_V float64 // to which the wire's pull-up brings it when nobody drives
	// Open says that Open_V is what the input shows with nothing connected.
	Open   bool
	Open_V float64
	// Load, when not nil, is a second look at a steady wire, with a resistor
	// to ground.
	Load *Load
}

// Load is what a known resistor from the wire to ground does to it.
type Load struct {
	Ohm      float64
	Without  float64 // V
	With     float64 // V
	U_V      float64 // standard uncertainty of each of the two
	InputOhm float64 // of the listening input itself; 0: endless
}

// span of the samples' times in seconds.
func (l *Levels) span() float64 {
	if l == nil || len(l.At_s) < 2 {
		return 0
	}
	return l.At_s[len(l.At_s)-1] - l.At_s[0]
}

// slow is the time below which the input blurs what it shows.
func (l *Levels) slow() float64 { return max(2*math.Pi*l.Filter_s, l.Aperture_s) }
