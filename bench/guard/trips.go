package guard

import (
	"fmt"
	"math"
	"time"
)

// Rule names what was met.
type Rule string

// The rules. The first group is decided over samples by Trips, the second by
// whoever holds the lease.
const (
	OverCurrent Rule = "over-current"
	OverPeak    Rule = "peak current"
	Short       Rule = "short at switch-on"
	SupplyLow   Rule = "supply too low"
	SupplyHigh  Rule = "supply too high"
	DryRun      Rule = "dry run"
	Heat        Rule = "heat"
	Stalled     Rule = "stalled"
	Silence     Rule = "no samples"
	StopPressed Rule = "stop input"

	Cancelled Rule = "cancelled"
	RigFailed Rule = "rig failed"
	Panicked  Rule = "program error"
	Lost      Rule = "guard gone"
)

// Trip is why the supply was cut.
type Trip struct {
	Rule   Rule
	Reason string // a plain sentence
	Next   string // what the person should do, a plain sentence
	// Met is the rig time at which the rule was met, Off when the supply was
	// switched off for it.
	Met, Off time.Duration
}

// Trips decides over samples whether a rule is met. It is a pure state
// machine: no clock and no devices, and it does not allocate until it trips.
// Currents count by their size, so that a shunt wired the wrong way round
// does not blind it.
type Trips struct {
	l        Limits
	on       bool
	closed   time.Duration // when the supply went on
	last     time.Duration // the last sample, or closed
	over     held
	below    held // the dip within over
	low      held
	high     held
	supply_V float64
	charging bool
	peak     held
	charge_C float64
	full     held // charge_C is above the limit
	least    bool // charge_C is "at least"
	dry      time.Duration
	burden   burden // over all switch-ons, as it cools while off
	stall    standing
}

// held is how long a condition has lasted.
type held struct {
	on    bool
	since time.Duration
}

func (h *held) set(on bool, at time.Duration) {
	if on && !h.on {
		h.since = at
	}
	h.on = on
}

// NewTrips starts with the supply off.
func NewTrips(l Limits) *Trips { return &Trips{l: l} }

// follow takes over what the unit has borne so far, and when that was.
func (t *Trips) follow(before *Trips) {
	t.burden, t.dry, t.last = before.burden, before.dry, before.last
}

// Closed says that the supply goes on at this instant.
func (t *Trips) Closed(at time.Duration) {
	*t = Trips{l: t.l, on: true, closed: at, last: at, charging: true, dry: t.dry, burden: t.burden, stall: standing{place: t.stall.place}}
}

// Opened says that the supply is off.
func (t *Trips) Opened() { t.on = false }

// Dry is the running time so far, all switch-ons together.
func (t *Trips) Dry() time.Duration { return t.dry }

// Late is met when no sample has come for too long with the supply on.
func (t *Trips) Late(now time.Duration) *Trip {
	if !t.on || now-t.last <= t.l.Silence {
		return nil
	}
	return silent(t.last+t.l.Silence, t.l.Silence)
}

func silent(met, silence time.Duration) *Trip {
	return &Trip{Rule: Silence, Met: met,
		Reason: fmt.Sprintf("No sample came for %v with the supply on.", silence),
		Next:   "Check the converter's bus and its supply, then run the test again."}
}

// Sample looks at one reading and gives the trip when a rule is met, else nil.
func (t *Trips) Sample(s Sample) *Trip {
	if s.Stop {
		return &Trip{Rule: StopPressed, Met: s.At, Reason: "The stop input is pressed.",
			Next: "Release it when the bench is safe, then run the test again."}
	}
	s = s.bounded(t.l)
	if math.IsNaN(s.Current_A) {
		return t.Late(s.At)
	}
	if trip := t.Late(s.At); trip != nil {
		return trip
	}
	step := max(s.At-t.last, 0)
	if t.on && s.Running {
		t.dry += step
	}
	t.burden.add(s.carried(), step, t.l)
	var trip *Trip
	if t.on {
		trip = t.current(s, step)
		if trip == nil {
			trip = t.burden.trip(s.At, t.l)
		}
		if trip == nil {
			trip = t.stall.look(s, t.l)
		}
		if trip == nil {
			trip = t.supply(s)
		}
		if trip == nil && t.l.Dry && t.dry > t.l.DryRun {
			trip = &Trip{Rule: DryRun, Met: s.At - (t.dry - t.l.DryRun),
				Reason: fmt.Sprintf("The unit ran without water for its limit of %v.", t.l.DryRun),
				Next:   "Let it cool, fill and bleed the loop, then run the test again."}
		}
	}
	t.last = max(t.last, s.At)
	return trip
}

// current holds the peak, charging peak and over-current rules.
func (t *Trips) current(s Sample, step time.Duration) *Trip {
	amps := s.carried()
	above := s.Clipped || amps > t.l.Current_A
	peak := s.Clipped || amps > t.l.Peak_A
	word := ""
	if s.Clipped {
		word = "at least "
	}
	if t.charging {
		if trip := t.charged(s, amps, above, peak, step); trip != nil {
			return trip
		}
	} else if peak {
		return &Trip{Rule: OverPeak, Met: s.At,
			Reason: fmt.Sprintf("The current rose to %s%.3g A; the peak limit is %.3g A.", word, amps, t.l.Peak_A),
			Next:   "Take the unit off, check it and its wires for a short, and turn the rotor by hand if it can be reached."}
	}

	t.below.set(!above, s.At)
	if above {
		t.over.set(true, s.At)
	} else if t.over.on && s.At-t.below.since >= t.l.Time/10 {
		t.over.on = false
	}
	if above && s.At-t.over.since > t.l.Time {
		return &Trip{Rule: OverCurrent, Met: t.over.since + t.l.Time,
			Reason: fmt.Sprintf("The current stayed above %.3g A for %v (%s%.3g A at the end).", t.l.Current_A, t.l.Time, word, amps),
			Next:   "Take the unit off and check it for a short or a rotor that binds before any further run."}
	}
	return nil
}

// charged tells a charging peak from a short by duration and charge. Above
// Peak_A either of them is enough. Between Current_A and Peak_A, where a
// supply with a current limit holds it, it takes both: charging at a low limit
// lasts long, but takes no more charge. The peak is over when the current
// first falls below Current_A, or when none has come by the end of the grace.
func (t *Trips) charged(s Sample, amps float64, above, peak bool, step time.Duration) *Trip {
	if !above {
		if t.peak.on || s.At-t.closed > t.l.Grace {
			t.charging = false
		}
		return nil
	}
	t.peak.set(true, s.At)
	if t.l.Interval > 0 || step == 0 {
		// The converter's mean stands for its own interval, and for no more.
		if step == 0 || step > t.l.Interval {
			step = t.l.Interval
		}
	}
	t.charge_C += amps * step.Seconds()
	t.least = t.least || s.Clipped
	word := ""
	if t.least {
		word = "at least "
	}
	lasted := s.At - t.peak.since
	next := "Take the unit off and measure its supply terminals for a short; do not switch it on again."
	t.full.set(t.charge_C > t.l.Charge_C, s.At)
	if t.full.on && (peak || lasted > t.l.ChargeTime) {
		met := s.At
		if !peak {
			met = max(t.full.since, t.peak.since+t.l.ChargeTime)
		}
		return &Trip{Rule: Short, Met: met, Next: next,
			Reason: fmt.Sprintf("Switch-on took %s%.3g A·s with the current still at %.3g A; charging the input capacitor takes at most %.3g A·s.", word, t.charge_C, amps, t.l.Charge_C)}
	}
	if peak && lasted > t.l.ChargeTime {
		return &Trip{Rule: Short, Met: t.peak.since + t.l.ChargeTime, Next: next,
			Reason: fmt.Sprintf("The current at switch-on stayed above %.3g A for more than %v; charging the input capacitor takes no longer.", t.l.Peak_A, t.l.ChargeTime)}
	}
	return nil
}

// supply holds the range at the unit. What was last read stands until the
// next reading, so that a seldom sampled voltage trips no later.
func (t *Trips) supply(s Sample) *Trip {
	if !math.IsNaN(s.Supply_V) {
		t.supply_V = s.Supply_V
		t.low.set(s.Supply_V < t.l.SupplyLow_V && s.At-t.closed > t.l.Grace, s.At)
		t.high.set(s.Supply_V > t.l.SupplyHigh_V, s.At)
	}
	switch {
	case t.low.on && s.At-t.low.since >= t.l.SupplyTime:
		return &Trip{Rule: SupplyLow, Met: t.low.since + t.l.SupplyTime,
			Reason: fmt.Sprintf("The supply at the unit is %.2f V; it must be at least %.4g V.", t.supply_V, t.l.SupplyLow_V),
			Next:   "Check the supply's setting and current limit, the fuse and the wires to the unit."}
	case t.high.on && s.At-t.high.since >= t.l.SupplyTime:
		return &Trip{Rule: SupplyHigh, Met: t.high.since + t.l.SupplyTime,
			Reason: fmt.Sprintf("The supply at the unit is %.2f V; it must be at most %.4g V.", t.supply_V, t.l.SupplyHigh_V),
			Next:   "Set the supply to the profile's voltage, or choose the profile for this supply."}
	}
	return nil
}
