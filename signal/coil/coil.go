package coil

import (
	"errors"

	"dutybench/signal/stat"
)

// Samples are readings around one switching edge, in time order: at least a
// few before the edge, and all until the current has settled or was switched
// again. The duty is 0 or 100 % throughout: a chopped current is not for this
// package.
type Samples struct {
	Time_s    []float64
	Current_A []float64
	// Supply_V is the voltage at the coil's terminals with the switch closed,
	// NaN where it was not sampled; nil when it never was.
	Supply_V []float64
}

// Known is what the caller knows beside the samples. The zero value knows
// nothing.
type Known struct {
	// Switched says that the switch moved at Switched_s, within a sample; the
	// onset is looked for near it only. Otherwise it is found in the current.
	Switched   bool
	Switched_s float64
	// Resolution_A is one step of the converter; 0 takes the smallest step seen.
	Resolution_A float64
	// Ceiling_A is the converter's end: readings at it or above are clipped.
	// 0 when not known.
	Ceiling_A float64
	// Offset_A is what the bench reads at no current, where it is known better
	// than from the samples before a rise (after a fall it matters).
	Offset_A float64
	// Resistance_ohm turns time constants into inductances and, with Diode_V,
	// says where a falling current is bound for. In Rise it is used where the
	// voltage was not sampled. A zero Value is not known.
	Resistance_ohm stat.Quantity
	// Diode_V is the forward drop of the free-wheel path; a zero Value is
	// fitted.
	Diode_V stat.Quantity
	// FalseAlarm is the rate of motions reported per edge without motion,
	// from noise; 0 takes DefaultFalseAlarm.
	FalseAlarm float64
}

// DefaultFalseAlarm is the rate of false motions per edge, chosen: of 100 000
// edges of stuck plungers one is called moving. Ten times more or less moves
// the smallest dip that is found by 7 % (the root of the kink's threshold, 13
// and 1.8 a decade).
const DefaultFalseAlarm = 1e-5

// Edge is what one switching edge tells of a coil. Values that could not be
// measured are NaN with no budget; Missing says why.
type Edge struct {
	// Onset_s is when the voltage came on or went, on the axis of Samples: half a
	// sample behind Known.Switched_s where that is known, else from the fit.
	Onset_s stat.Quantity
	// Start_A is the current before the edge, Final_A where it goes: the
	// settled current of a rise; of a fall -Vf/R, below zero, though the diode
	// stops it at zero.
	Start_A, Final_A stat.Quantity
	// Noise_A is the standard deviation of one reading, and SNR_dB
	// 20·log10(|final - start|/noise).
	Noise_A, SNR_dB float64
	// Rate_Hz is the median sampling rate.
	Rate_Hz float64
	// Settled says that Final_A was reached and not only extrapolated.
	Settled bool
	// Resistance_ohm is voltage over settled current of a rise, leads and
	// switch included: their drop is the caller's to take off.
	Resistance_ohm stat.Quantity
	// Tau_s is L/R as the current left the start, before the plunger moved;
	// TauAfter_s behind the motion (the same as Tau_s without one).
	Tau_s, TauAfter_s stat.Quantity
	// Inductance_H and InductanceAfter_H are Tau times resistance.
	Inductance_H, InductanceAfter_H stat.Quantity
	Motion                          Motion
	// Held says that the voltage stood while the coil was on. A coil that was
	// fired from a capacitor shows a pulse instead: then its highest current
	// above the start and that time since the onset are measured, inductance
	// and resistance from the voltage beside each current, and Final_A, the
	// taus and motion are not.
	Held           bool
	Peak_A, Peak_s stat.Quantity
	// Missing are clauses that say what was not measured, and why.
	Missing []string
}

// Found is the outcome of a search for motion.
type Found int

// Outcomes.
const (
	// NotMeasured: these samples cannot tell. Motion.Why says why.
	NotMeasured Found = iota
	// Still: no motion that noise of this size does not make; motions with a
	// dip deeper than Motion.Least_A would have been found. In a fall: none
	// while current flowed.
	Still
	// Moved: the current cannot come from a coil whose plunger stays in place.
	Moved
)

func (f Found) String() string {
	return [...]string{"not measured", "still", "moved"}[f]
}

// Motion is the plunger's way from one stop towards the other. Times count
// from the onset, in seconds.
type Motion struct {
	Found Found
	Why   string // for NotMeasured
	// Begin_s is when the plunger left its stop, End_s when it stopped: the
	// usual stroke time.
	Begin_s, End_s stat.Quantity
	// Begin_A is the current at Begin_s: pull-in of a rise, drop-out of a fall.
	Begin_A, End_A stat.Quantity
	// Depth_A is how far the current was off at its furthest, at or before
	// End_s, from what it would have been with the plunger held at the stop it
	// left. Above zero for a dip of a rise and for a bump of a fall.
	Depth_A stat.Quantity
	// Turns says that the current ran back on the way, beyond noise: falls
	// between Peak and Valley in a rise (rises in a fall). A shoulder does not.
	Turns bool
	// Peak_s, Peak_A and Valley_s, Valley_A are the turning points of the
	// smooth current; NaN when not Turns. Dip_A is the height between them.
	Peak_s, Peak_A, Valley_s, Valley_A float64
	Dip_A                              stat.Quantity
	// Evidence is that of the kink or of the notch, whichever says more: the
	// drop of chi-square by a kink, or the square of the notch over its
	// standard deviation. Needed is the threshold it passed or missed.
	Evidence, Needed float64
	// Least_A is the smallest depth that would have been found in these
	// samples in 9 of 10 cases, for a motion like this one or, when Still, for
	// the less conspicuous of two lengths that were tried; +Inf where not even
	// one of the whole current would.
	Least_A float64
	// Curve is the fitted current at the times of Samples from the onset on,
	// for a picture: with the motion, and as with the plunger held.
	Curve_s, Curve_A, Held_A []float64
}

// ErrSamples means that the samples are none that an edge can be sought in.
var ErrSamples = errors.New("coil: the samples do not fit")

// ErrNoEdge means that the current does not change beyond its noise.
var ErrNoEdge = errors.New("coil: no current came on or went; check that the switch closes, the wires and the coil")
