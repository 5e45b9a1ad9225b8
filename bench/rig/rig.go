// Package rig is the bench's wiring: from a rig's description to the devices
// that a test needs. A simulated and a real rig differ only in who implements
// periph's interfaces below it.
package rig

import (
	"time"

	"periph.io/x/conn/v3/gpio"

	"dutybench/bench/clock"
	"dutybench/bench/guard"
)

// Rig is what a test needs. One goroutine owns it.
type Rig struct {
	// Name is shown on records and reports, such as "sim" or a rig file's name.
	Name  string
	Clock clock.Clock
	// Switch closes the supply; only the guard may touch it.
	Switch guard.Switch
	// Stop is the stop input, active low with a pull-up; nil when there is none.
	Stop gpio.PinIO
	// Line drives the unit's signal wire.
	Line *Line
	// Load switches a unit without a board; nil: the rig cannot.
	Load *Load
	// Position says that the unit's position is sampled, and PositionBy in which
	// way: PositionByVoltage or PositionByPWM; empty: it is not.
	Position   bool
	PositionBy string
	// Sampler reads current and voltages.
	Sampler Sampler
	// Stands says that the rig's time stands still while nobody asks for a
	// sample, as a simulated one's does.
	Stands bool
	// Integrating says that a sample is the mean over the whole interval, so
	// that no current between two is lost.
	Integrating bool
	// InSeries names the parts in the plus wire from the supply on that cut it,
	// for who looks why none comes, such as "fuse".
	InSeries []string
	// PreCharge_Ohm is the resistor of the pre-charge contact; 0: there is none.
	PreCharge_Ohm float64
	// Settle is how long the slowest contact takes to close or open, with its
	// bounce.
	Settle time.Duration
	// Pulse says that the main contacts may be closed for milliseconds before a
	// test to look for a short, where there is no pre-charge contact.
	Pulse bool
	// LineLoad_Ohm is what the rig puts from the line to ground, its sense
	// divider; 0: nothing, or not known.
	LineLoad_Ohm float64
	// LinePullUp_Ohm is the rig's own pull-up of the line to the supply at the
	// plug; 0: none.
	LinePullUp_Ohm float64
	// Limits are what the bench bears; zero: none stated.
	Limits BenchLimits
	// Facts say for the record what the rig is made of (chips, shunt, bus
	// speed, resolution), in order.
	Facts []Fact
	// Accuracy of the current reading, for the uncertainty budget: relative
	// standard uncertainty of gain and standard uncertainty of offset, after
	// what the data sheet or a calibration says.
	Accuracy Accuracy
	// Rescued says how many transactions of the bus had to be repeated so far.
	Rescued func() int
	// Close releases buses and pins; the supply must be off before.
	Close func() error
}

// Fact is one line of a rig's description.
type Fact struct{ Key, Value string }

// Accuracy of the current and voltage channels.
type Accuracy struct {
	CurrentGain     float64 // relative standard uncertainty
	CurrentOffset_A float64 // standard uncertainty
	CurrentStep_A   float64 // resolution
	CurrentRange_A  float64 // readings at or above are "at least"
	VoltageGain     float64
	VoltageOffset_V float64
	VoltageStep_V   float64
	Edge_s          float64 // standard uncertainty of the length of a pulse at the plug
	// LoadEdge_s is that of the time for which the load switch conducts in a
	// period: at 25 kHz 1 µs is 2.5 % of duty. 0: there is none.
	LoadEdge_s float64
	// Of the position: by voltage, relative, and in V; 0: not read so. By PWM,
	// the standard uncertainty of the time of one edge.
	PositionGain, PositionOffset_V, PositionStep_V float64
	PositionEdge_s                                 float64
	ReferenceDocument                              string // where these figures come from
}

// Sample is one reading. NaN means not sampled this time.
type Sample struct {
	At             time.Duration // rig time at the middle of the conversion
	Current_A      float64
	Supply_V       float64 // at the unit's plug
	Line_V         float64 // mean level of the signal wire
	Temperature_C  float64
	Flow_l_per_min float64
	// Position is the unit's position output: volts, or the high share of its
	// PWM in per cent. Node_V is the wire between a two-wire unit and its switch.
	Position float64
	Node_V   float64
	// Clipped says that the current reading stands at the end of the range:
	// the true value is at least this.
	Clipped bool
	// Lost counts conversions that were missed since the last sample. Other counts
	// those that the converter made of another channel in that time, as one that
	// is shared does: they are no loss.
	Lost, Other int
}

// Sampler delivers samples one by one, never a stale one. It does not
// allocate once started.
type Sampler interface {
	Start() error
	// Next waits for the next conversion and fills s.
	Next(s *Sample) error
	Stop() error
	// Interval is the nominal time between two samples.
	Interval() time.Duration
}

// NodePacer is a sampler that can read the wire between a unit and its load
// switch more often than usual for a while, as a look at the free-wheel path
// needs. It may be asked at any time, started or not.
type NodePacer interface {
	// PaceNode reads that wire every so often, or as often as the converter can
	// where that is less; 0 goes back to the usual pace. On an SPI converter each
	// reading takes the place of one of the current, one in five at most, which
	// counts as another channel's; on I²C the other voltages come less often. It
	// says whether there is such a wire.
	PaceNode(every time.Duration) bool
}
