package run

import (
	"fmt"
	"math"

	"dutybench/bench/guard"
	"dutybench/bench/rig"
	"dutybench/profiles"
)

// Bears says what a bench does not bear of what a profile lets its unit do. A
// bench that states no limits bears everything.
func Bears(name string, b rig.BenchLimits, p *profiles.Profile) error {
	l, s := p.Limits, p.Supply
	switch {
	case b.Current_A > 0 && l.Current_A > b.Current_A:
		return fmt.Errorf("rig %s is for at most %g A, profile %s lets its unit take %g A: use a stronger bench, or raise bench.current where wires, switch and fuse bear it", name, b.Current_A, p.Name, l.Current_A)
	case b.SupplyHigh_V > 0 && !(max(b.SupplyLow_V, s.Low_V) < min(b.SupplyHigh_V, s.High_V)):
		return fmt.Errorf("rig %s is for a supply of %g V to %g V, profile %s for one of %g V to %g V: use another bench, or correct bench.supply in the rig file", name, b.SupplyLow_V, b.SupplyHigh_V, p.Name, s.Low_V, s.High_V)
	}
	return nil
}

// profileLimits are what the guard would keep for the unit's sake.
func (x *runner) profileLimits() guard.Limits {
	l, s, interval := x.profile.Limits, x.profile.Supply, x.rig.Sampler.Interval()
	return guard.Limits{
		Current_A: l.Current_A, Time: l.Time, Peak_A: l.Peak_A, Charge_C: l.Charge_C, ChargeTime: l.ChargeTime,
		SupplyLow_V: s.Low_V, SupplyHigh_V: s.High_V, SupplyTime: supplyTime, Grace: grace,
		Silence: x.silence(), Interval: interval, Dry: x.o.Dry, DryRun: l.DryRun,
		Continuous_A: l.Continuous_A, Heat_A2s: l.Heat_A2s, Stall_A: l.Stall_A, StallTime: l.StallTime, Still_pct: x.still_pct(),
	}
}

// stillLeast_pct of the travel is no motion: gears and linkages give that much
// (chosen; a unit that crosses its travel in ten seconds moves as far in a tenth).
const stillLeast_pct = 1

// still_pct is within what a unit that stands still may read: that, or three
// steps of the converter.
func (x *runner) still_pct() float64 {
	p := &x.profile.Position
	span := math.Abs(p.At100 - p.At0)
	if p.By != profiles.ByVoltage || !(span > 0) {
		return stillLeast_pct
	}
	return max(stillLeast_pct, 300*x.rig.Accuracy.PositionStep_V/span)
}

// limits are what the guard keeps during this run, for the bench's sake too.
func (x *runner) limits() guard.Limits {
	l := x.profileLimits()
	if b := x.rig.Limits; b.SupplyHigh_V > 0 {
		l.SupplyHigh_V = min(l.SupplyHigh_V, b.SupplyHigh_V)
	}
	if most := x.rig.Limits.Current_A; most > 0 {
		l.Current_A = min(l.Current_A, most)
	}
	return l
}

// benchsOwn says that a trip was for a limit of the bench, within the profile's.
func (x *runner) benchsOwn(t *guard.Trip) bool {
	b, p := x.rig.Limits, x.profile
	switch t.Rule {
	case guard.SupplyHigh:
		return b.SupplyHigh_V > 0 && b.SupplyHigh_V < p.Supply.High_V && x.supply_V <= p.Supply.High_V
	case guard.OverCurrent:
		return b.Current_A > 0 && b.Current_A < p.Limits.Current_A
	}
	return false
}
