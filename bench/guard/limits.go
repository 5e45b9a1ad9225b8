package guard

import (
	"errors"
	"fmt"
	"math"
	"time"
)

// Limits are what the guard keeps.
type Limits struct {
	// Current_A may be passed for Time; a dip shorter than a tenth of Time,
	// such as ripple makes, does not start the count again.
	Current_A float64
	Time      time.Duration
	// Peak_A may not be passed at all, but for the charging peak at switch-on.
	Peak_A float64
	// Charge_C (ampere seconds) and ChargeTime bound the charging peak: above
	// Peak_A for longer, or with more charge, it is a short; below Peak_A but
	// above Current_A for longer and with more charge. Zero: a charging peak
	// is not allowed for.
	Charge_C   float64
	ChargeTime time.Duration
	// SupplyLow_V and SupplyHigh_V bound the supply at the unit while it is on.
	// Too low counts only after Grace from switch-on, and both only when they
	// last for SupplyTime.
	SupplyLow_V, SupplyHigh_V float64
	SupplyTime                time.Duration
	Grace                     time.Duration
	// Silence is the longest time without a sample, and so the lease.
	Silence time.Duration
	// Interval is the nominal time between two samples: no sample stands for
	// the charge of a longer time. Zero: the time since the last sample.
	Interval time.Duration
	// Dry says that the unit runs without water; DryRun is then the total
	// running time that it may have.
	Dry    bool
	DryRun time.Duration
	// Continuous_A may flow without end; of the square of the current beyond its
	// own, Heat_A2s at most may gather over time, as it does in a winding that
	// is warmed faster than it cools. It goes again at the square of Continuous_A
	// without current. Zero: neither is held.
	Continuous_A, Heat_A2s float64
	// Stall_A may be passed for StallTime while the unit stands still: while its
	// position, where it is read, stays within Still_pct. Zero: not held.
	Stall_A   float64
	StallTime time.Duration
	Still_pct float64
}

// Check refuses limits that would guard nothing.
func (l Limits) Check() error {
	positive := func(x float64) bool { return x > 0 && !math.IsInf(x, 0) }
	switch {
	case !positive(l.Current_A) || l.Time <= 0:
		return errors.New("guard: no current limit with its time is stated; state both in the profile's limits")
	case !positive(l.Peak_A) || l.Peak_A < l.Current_A:
		return fmt.Errorf("guard: the peak limit of %g A must be stated and not below the current limit of %g A; correct the profile's limits", l.Peak_A, l.Current_A)
	case !(l.Charge_C >= 0) || l.ChargeTime < 0:
		return errors.New("guard: charge and time of the charging peak must not be negative; correct the profile's limits")
	case !positive(l.SupplyLow_V) || !positive(l.SupplyHigh_V) || l.SupplyLow_V >= l.SupplyHigh_V:
		return fmt.Errorf("guard: the supply range of %g V to %g V is none; state both ends in the profile", l.SupplyLow_V, l.SupplyHigh_V)
	case l.SupplyHigh_V > ExtraLow_V:
		return fmt.Errorf("guard: a supply of up to %g V is no extra-low voltage; this bench tests units for at most %d V", l.SupplyHigh_V, ExtraLow_V)
	case l.Silence <= 0:
		return errors.New("guard: the longest time without a sample must be above zero")
	case l.SupplyTime < 0 || l.Grace < 0 || l.Interval < 0 || l.DryRun < 0:
		return errors.New("guard: a time limit is negative; correct the profile's limits")
	case !(l.Continuous_A >= 0) || !(l.Heat_A2s >= 0) || math.IsInf(l.Continuous_A+l.Heat_A2s, 0) || l.Heat_A2s > 0 && l.Continuous_A == 0:
		return errors.New("guard: a limit by heat takes a current that is borne without end and the square of it over time beyond; state both, or neither, in the profile's limits")
	case !(l.Stall_A >= 0) || math.IsInf(l.Stall_A, 0) || l.StallTime < 0 || (l.Stall_A > 0) != (l.StallTime > 0) || !(l.Still_pct >= 0):
		return errors.New("guard: a limit by lack of motion takes a current and the time for which it may flow then; state both, or neither, in the profile's limits")
	case l.Dry && l.DryRun == 0:
		return errors.New("guard: the profile allows no run without water; fill and bleed the loop first, or state a dry-run limit in the profile")
	}
	return nil
}

// ExtraLow_V is the highest supply that the bench will switch: 60 V DC, the
// limit of extra-low voltage without further protection (IEC 61140, from
// memory).
const ExtraLow_V = 60

// Sample is one reading, as the rules see it.
type Sample struct {
	At        time.Duration // rig time at the middle of the conversion
	Current_A float64       // NaN: not read, and so no sample at all
	Supply_V  float64       // NaN: not sampled this time
	Clipped   bool          // the true current is at least Current_A
	Stop      bool          // the stop input is pressed
	Running   bool          // the unit may be running: it has supply and no stop command
	// Held_A is the most that a switched unit took within the last period of its
	// PWM, where the shunt does not show what recirculates: the unit carries
	// nearly that in the rest of the period. Zero: Current_A is all there is.
	Held_A float64
	// Position_pct is where the unit says that it stands; NaN: not read this time.
	Position_pct float64
}

// carried is the size of the current that the unit itself carries. What it held
// that is no number says nothing.
func (s *Sample) carried() float64 {
	amps, held := math.Abs(s.Current_A), math.Abs(s.Held_A)
	if held > amps && !math.IsInf(held, 0) {
		return held
	}
	return amps
}

// bounded makes a number of a current beyond all that the converter can tell,
// which no rule could reckon with: at least the peak limit. That a converter is at
// its end comes before that it gave no number.
func (s Sample) bounded(l Limits) Sample {
	if inf := math.IsInf(s.Current_A, 0); inf || s.Clipped && math.IsNaN(s.Current_A) {
		s.Current_A, s.Clipped = l.Peak_A, true
	}
	return s
}
