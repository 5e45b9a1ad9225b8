package run

import (
	"fmt"
	"math"
	"slices"
	"time"

	"dutybench/bench/guard"
	"dutybench/bench/result"
	"dutybench/bench/rig"
)

// mostLost is the share of samples that may be lost before the rest no longer
// stands for all: ripple and attempts are then seen at another rate than the
// trace states (chosen: a twentieth moves a mean that swings by as much as
// itself by no more than good units differ).
const mostLost = 0.05

// mostMissed is the share of a block's samples that may be lost before what
// happened in it, a charging peak or a start, can no longer be told (chosen).
const mostMissed = 0.2

// lookLost counts what is lost in the block that a sample lies in.
func (x *runner) lookLost(s *rig.Sample) {
	p, interval := &x.plausible, x.rig.Sampler.Interval()
	if p.missed += s.Lost; s.Lost == 0 || interval <= 0 || float64(p.missed) <= mostMissed*float64(blockTime/interval) {
		return
	}
	x.doubt("lost", Fault{Cause: result.Bench, Sentence: fmt.Sprintf("%d samples were lost within %v at %.3f s: the bus did not deliver them.", p.missed, blockTime, (s.At - x.start).Seconds()),
		Next: "Check the bus's speed as set at boot against the rig's description, and what else the machine was doing; then run the test again."})
}

// recharge is how long after an interruption of the supply a charging peak may
// come.
const recharge = 200 * time.Millisecond

// account is what the run makes, at its end, of what it saw of the bench.
func (x *runner) account() {
	p, t := &x.plausible, x.guard.Tripped()
	if p.spikes.found > 0 {
		x.doubt("bits", Fault{Cause: result.Bench, Sentence: fmt.Sprintf("%d readings of the current came with one bit wrong, and were left out: the bus is disturbed.", p.spikes.found),
			Next: "Shorten the bus's wires or slow it down, keep it away from the supply leads, then run the test again."})
	}
	if n := x.ch.len(); float64(x.lost) > mostLost*float64(n+x.lost) {
		x.doubt("lost", Fault{Cause: result.Bench, Sentence: fmt.Sprintf("%d of %d samples were lost: the bus is too slow for what the rig says of it.", x.lost, n+x.lost),
			Next: "Check the bus's speed as set at boot against the rig's description, and what else the machine was doing; then run the test again."})
	}
	if _, ever := x.guard.LastOff(); ever && p.current.single() {
		next := "Switch the bench's converters off and on, check the current converter with a known load, then run the test again."
		switch {
		case p.tail.noise() >= leastNoise:
			x.doubt("stuck first", Fault{Cause: result.Bench, Sentence: "The current read one single value before the supply went on, and scattered as a converter does after it went off: it was stuck at the beginning.", Next: next})
		case !p.varied:
			x.doubt("stuck all", Fault{Cause: result.Bench, Sentence: "The current read one single value through the whole test: the converter is stuck, or nothing at all hangs on the plug.", Next: next})
		}
	}
	x.accountPosition()
	if p.off > 0 {
		x.warn("%d readings of the temperature cannot be and were left out: check the sensor and its wires.", p.off)
	}
	peak := t != nil && (t.Rule == guard.OverPeak || t.Rule == guard.Short)
	interrupted := p.interrupt >= 0 && peak && t.Met-p.interrupt < recharge
	own := t != nil && (peak || t.Rule == guard.OverCurrent || t.Rule == guard.SupplyLow)
	rest := p.source.rest.supply_V
	switch {
	case peak && p.source.known && p.rose_V > rest+gaveWayShare*x.profile.Supply.Nominal_V:
		x.doubt("rose", Fault{Cause: result.Bench, Sentence: fmt.Sprintf("The voltage at the plug rose from %.2f V to %.2f V with the peak of the current: the supply rose and charged the unit's capacitor, where a short would have pulled it down.", rest, p.rose_V),
			Next: "Check the supply's setting and what else is connected to it, then run the test again."})
	case peak && p.loaded.current_A > 0 && x.at(t.Met) < -leastLoad_A:
		x.doubt("back", Fault{Cause: result.Bench, Sentence: fmt.Sprintf("%.3g A flowed back from the unit to the supply: the supply collapsed and emptied the unit's capacitor.", -x.at(t.Met)),
			Next: "Check the supply, its switch and the contacts up to the plug, then run the test again."})
	case interrupted:
		x.doubt("interrupted", Fault{Cause: result.Bench, Sentence: fmt.Sprintf("The supply was interrupted: it was away at %.3f s and came back with a charging peak.", (p.interrupt - x.start).Seconds()),
			Next: "Check the supply, its switch and the contacts up to the plug, then run the test again."})
	case p.odd > 0 && !own:
		x.doubt("dip", Fault{Cause: result.Bench, Sentence: fmt.Sprintf("The voltage at the plug fell to %.2f V at %.3f s, below the range of the test.", p.dipped_V, (p.dipped - x.start).Seconds()),
			Next: "Check the supply, its switch and the contacts up to the plug, then run the test again."})
	}
	if g := p.gap; g.short > 0 && g.real == 0 {
		x.doubt("gap", Fault{Cause: result.Bench, Sentence: fmt.Sprintf("The current read nought %d times, at %.3f s for the first time, too short for the voltage at the plug to tell whether the unit, a contact or the converter did that.", g.short, (g.first - x.start).Seconds()),
			Next: "Check the contacts up to the plug and the shunt's sense wires, then run the test again."})
	}
	switch {
	case !peak || interrupted:
	case x.sample.Clipped || x.clipped > 0:
		if r, most := x.rig.Accuracy.CurrentRange_A, x.rig.Limits.SupplyLimit_A; most > r && r > 0 {
			break // the supply can give that much
		}
		x.doubt("clipped", Fault{Cause: result.Bench, Sentence: fmt.Sprintf("The current reads the end of the converter's range with %.2f V at the plug: a short beyond that range looks so, and so does a shunt that has burnt open.", x.supply_V),
			Next: "With the supply off and the unit unplugged, measure the shunt's resistance and that across the unit's supply terminals."})
	case t.Rule == guard.OverPeak:
		x.confirmPeak(t)
	}
}

// at is the current of the sample at a rig time; NaN when there is none.
func (x *runner) at(t time.Duration) float64 {
	i, found := slices.BinarySearch(x.ch.t, micro((t - x.start).Seconds()))
	if !found {
		return math.NaN()
	}
	return x.ch.current[i]
}

// confirmPeak looks at the reading after a peak. A converter that reads one
// after the other had begun the next before the supply went off: a current
// that flowed shows in it, for its share of the time. One that does not, and
// was one bit off the reading before, came wrong over the bus.
func (x *runner) confirmPeak(t *guard.Trip) {
	c, interval := &x.ch, x.rig.Sampler.Interval()
	at := micro((t.Met - x.start).Seconds())
	i, found := slices.BinarySearch(c.t, at)
	if !found || i == 0 || interval <= 0 {
		return
	}
	if i+1 >= c.len() {
		x.doubt("peak", Fault{Cause: result.Bench, Sentence: fmt.Sprintf("The reading of %.3g A was the last that the current converter gave before it failed, and %.3g A came before it: nothing says that it flowed.", c.current[i], c.current[i-1]),
			Next: "Check the current converter, its supply and its bus, then run the test again."})
		return
	}
	was, peak, next := c.current[i-1], c.current[i], c.current[i+1]
	share := min(((t.Off-x.start).Seconds()-c.t[i+1])/interval.Seconds()+0.5, 1)
	switch {
	case share >= 0.2 && math.Abs(next) >= 0.5*share*math.Abs(peak):
		return // it flowed
	case share < 0.2 && !bit(peak-was, x.rig.Accuracy.CurrentStep_A, 4*x.plausible.spikes.usual):
		return // nobody knows
	}
	x.doubt("peak", Fault{Cause: result.Bench, Sentence: fmt.Sprintf("One reading of %.3g A stood alone between %.3g A and %.3g A: no current does that, so it came wrong over the bus.", peak, was, next),
		Next: "Shorten the bus's wires or slow it down, keep it away from the supply leads, then run the test again."})
}

// verifyVolts watches the voltage at the plug after the supply went off, from a
// sample and its time on: that of the unit's capacitor falls, that of a welded
// switch stays. A unit asleep draws so little that its current does not show
// it.
func (x *runner) verifyVolts(sample int, from time.Duration, was_V float64) bool {
	if !(was_V > x.dead_V()) {
		return true
	}
	for x.supply_V > 0.9*was_V && x.rig.Clock.Now()-from < dischargeTime {
		if _, err := x.next(); err != nil {
			x.warn("The voltage at the plug could not be watched after the supply was switched off: %v.", line(err.Error()))
			return false
		}
	}
	if x.supply_V <= 0.9*was_V || x.falls(sample) {
		return true
	}
	x.fault(Fault{Cause: result.Bench, Sentence: fmt.Sprintf("With the supply switched off there are still %.2f V at the unit's plug after %v: the switch is welded or bridged.", x.supply_V, dischargeTime),
		Next: "Switch the supply off by hand, take the unit off and replace the switch before any further test."})
	return false
}
