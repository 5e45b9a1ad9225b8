package run

import (
	"fmt"
	"math"
	"time"

	"dutybench/bench/result"
)

// gap is a stretch in which a current that was there reads none.
type gap struct {
	on       bool
	from     time.Duration
	readings int // of the voltage since, of which the first may have been converted before
	// Over the test: gaps in which the voltage came back, so that the load had
	// really gone, and gaps too short for a reading of it.
	real, short int
	first       time.Duration // the first of the short ones
}

// blindEnd is how many readings of the voltage in a row may show a load whose
// current is gone before the test ends, as the guard sees nothing then.
const blindEnd = 100

// lookGap looks at a current that reads none where one flowed. A load that has
// gone gives the voltage at the plug back. A voltage that stays drawn down as
// it was shows that the current still flows, and is not seen; one that falls,
// that the supply is away. Where leads and supply take too little to tell,
// nothing is said.
func (x *runner) lookGap(at time.Duration, current_A, supply_V float64) {
	p := &x.plausible
	if x.chopped() {
		return
	}
	g, rest := &p.gap, p.source.rest.supply_V
	if p.loaded.current_A < leastLoad_A || math.Abs(current_A) > max(x.nought_A(), 0.1*p.loaded.current_A) {
		if g.on && g.readings < 2 && x.commander.signals() { // a motor's brushes may lift for so short
			if g.short++; g.short == 1 {
				g.first = g.from
			}
		}
		g.on = false
		return
	}
	drop := rest - p.loaded.supply_V
	if !p.source.known || !(drop > 2*x.seen_V()) {
		return
	}
	if !g.on {
		g.on, g.from, g.readings = true, at, 0
	}
	if math.IsNaN(supply_V) {
		return
	}
	g.readings++
	if supply_V < p.loaded.supply_V-gaveWayShare*x.profile.Supply.Nominal_V {
		x.doubt("away", Fault{Cause: result.Bench,
			Sentence: fmt.Sprintf("The current fell to nought and the voltage at the plug with it, to %.2f V: the supply was away.", supply_V),
			Next:     "Check the supply, its switch and the contacts up to the plug, then run the test again."})
	}
	if g.readings == 1 {
		return
	}
	if supply_V > p.loaded.supply_V+0.3*drop {
		g.on, p.loaded = false, levels{}
		g.real++
		return
	}
	said := fmt.Sprintf("The current read %.3g A while the voltage at the plug was still drawn down to %.2f V, as it was by %.3g A: the bench did not see the current.", current_A, supply_V, p.loaded.current_A)
	next := "Check the shunt's sense wires and the current converter, then run the test again."
	switch g.readings {
	case 2:
		x.doubt("blind", Fault{Cause: result.Bench, Sentence: said, Next: next})
	case blindEnd:
		x.cut("%s", next, said)
	}
}

// A stretch of noneSamples without even the current at rest, and a peak within
// peakSamples of its end.
const (
	noneSamples = 3
	peakSamples = 3
	awakeTimes  = 3 // of the current at rest: more is a motor that runs (chosen)
)

// nones follows samples that read less than half of what the unit draws at
// rest, as far as that stands out of the converter's noise.
type nones struct {
	back       int  // samples in a row that flow back
	low        sag  // the voltage meanwhile
	run, after int  // samples in a row, and since a long enough run ended
	open, ran  bool // a run is long enough; the motor ran before it
	from       time.Duration
	seen       time.Duration // from switch-on to the first current at all
}

// lookNone finds a supply that was away for a moment, or a current that was
// not seen for one, by the current alone: a unit that lets go still draws what
// it draws at rest. With a charging peak after it the supply was away, as the
// unit's capacitor was emptied.
func (x *runner) lookNone(at time.Duration, current_A, supply_V float64) {
	p := &x.plausible
	n, rest, noise := &p.nones, p.source.rest.current_A, p.current.sd
	if n.seen == 0 && math.Abs(current_A) > 6*noise {
		n.seen = max(at-p.onFrom, 1)
	}
	x.lookBack(at, current_A)
	if p.source.known && rest > 6*noise && math.Abs(current_A) < rest/2 {
		x.lookSag(supply_V)
	} else {
		n.low = sag{}
	}
	if !p.source.known || !(rest > 6*noise) || p.blocks < 2 && x.was.duty_pct > x.now.duty_pct || x.now.duty_pct <= x.profile.Command.Stop_pct {
		n.run, n.open = 0, false
		return
	}
	if math.Abs(current_A) < rest/2 {
		// A board that is reset while it is only awake draws less for a moment
		// by itself.
		if n.run++; n.run == noneSamples {
			n.open, n.from, n.ran = true, at, p.last.current_A > awakeTimes*rest
		}
		n.after = 0
		return
	}
	n.run = 0
	if !n.open {
		return
	}
	n.after++
	switch {
	case current_A > p.last.current_A+leastLoad_A:
		n.open = false
		x.doubt("interrupted", Fault{Cause: result.Bench,
			Sentence: fmt.Sprintf("The supply was interrupted: at %.3f s the current fell below what the unit draws at rest, and came back with a charging peak of %.3g A.", (n.from - x.start).Seconds(), current_A),
			Next:     "Check the supply, its switch and the contacts up to the plug, then run the test again."})
	case n.after >= peakSamples && !n.ran:
		n.open = false
	case n.after >= peakSamples:
		n.open = false
		x.doubt("unseen", Fault{Cause: result.Bench,
			Sentence: fmt.Sprintf("At %.3f s the current fell below what the unit draws at rest, and came back: a contact was open, or the bench did not see the current.", (n.from - x.start).Seconds()),
			Next:     "Check the contacts up to the plug and the shunt's sense wires, then run the test again."})
	}
}

// seenLate is how long after switch-on a unit's current may first be seen: its
// capacitor charges at once.
const seenLate = 20 * time.Millisecond

// lookLate finds a unit that was there and whose charging was not seen.
func (x *runner) lookLate(l levels) {
	p := &x.plausible
	if !x.commander.signals() {
		return // it has no capacitor, and its current comes when its switch closes
	}
	if late := p.rising - x.rig.Settle - x.profile.Limits.ChargeTime; late > seenLate && p.rising < grace+blockTime {
		x.doubt("slow", Fault{Cause: result.Bench,
			Sentence: fmt.Sprintf("The supply at the plug came up only %v after it was switched on: the unit's capacitor was charged by a supply that was not there yet.", p.rising.Round(time.Millisecond)),
			Next:     "Check the supply's setting and its current limit, then run the test again."})
	}
	if !(l.current_A > 6*p.current.sd) || p.nones.seen <= seenLate {
		return
	}
	x.doubt("late", Fault{Cause: result.Bench,
		Sentence: fmt.Sprintf("The first current was seen %v after the supply went on: the unit's capacitor charges at once, so a contact was open, or the bench did not see the current.", p.nones.seen.Round(time.Millisecond)),
		Next:     "Check the contacts up to the plug and the shunt's sense wires, then run the test again."})
}

// lookBack finds a supply that falls: the unit's capacitor then empties into
// it. A motor that is slowed down by a new command may do so too, one whose
// command stands does not.
func (x *runner) lookBack(at time.Duration, current_A float64) {
	n := &x.plausible.nones
	if !x.zeroKnown || x.plausible.blocks < 2 && x.was.duty_pct > x.now.duty_pct || !(current_A < -5*x.nought_A()) {
		n.back = 0
		return
	}
	if n.back++; n.back == 2 || current_A < -10*x.nought_A() {
		x.doubt("back", Fault{Cause: result.Bench,
			Sentence: fmt.Sprintf("At %.3f s %.3g A flowed back from the unit to the supply: the supply fell below the unit's capacitor.", (at - x.start).Seconds(), -current_A),
			Next:     "Check the supply, its switch and the contacts up to the plug, then run the test again."})
	}
}

// sag is the voltage at the plug while no current is read.
type sag struct {
	n     int // readings, the first of which may have been converted before
	sum_V float64
}

// lookSag finds a voltage at the plug below that without load while no current
// is read: either the supply is away, or a current flows that is not seen.
func (x *runner) lookSag(supply_V float64) {
	p := &x.plausible
	if math.IsNaN(supply_V) {
		return
	}
	g := &p.nones.low
	if g.n++; g.n == 1 {
		return
	}
	g.sum_V += supply_V
	below := p.source.rest.supply_V - g.sum_V/float64(g.n-1)
	if !(g.n > 2 && below > gaveWayShare*x.profile.Supply.Nominal_V) && !(g.n > 4 && below > x.steady_V()) {
		return
	}
	x.doubt("sag", Fault{Cause: result.Bench,
		Sentence: fmt.Sprintf("No current was read while the voltage at the plug lay %.3f V below that without load: the supply was away, or the bench did not see the current.", below),
		Next:     "Check the supply, its contacts up to the plug and the shunt's sense wires, then run the test again."})
}

// lookDark finds a current that flowed, or was misread, before the supply was
// first switched on: the unit may have run then, and the zero is off.
func (x *runner) lookDark() {
	p := &x.plausible
	off, volts := p.dark.off(x.zero_A), p.dark_V
	p.dark = dark{}
	if volts > x.dead_V() && !x.isolated { // a pre-test charges it too
		x.doubt("charged", Fault{Cause: result.Bench,
			Sentence: fmt.Sprintf("The plug had %.2f V before the supply was switched on: the switch let some through, or the unit had not rested since its last test, so its first start was not its first.", volts),
			Next:     "Measure at the unit's plug with the switch off, let the unit rest, then run the test again."})
	}
	if !x.zeroKnown || !(off > x.nought_A()) {
		return
	}
	x.doubt("dark", Fault{Cause: result.Bench,
		Sentence: fmt.Sprintf("Before the supply was switched on the current read up to %.3g A from its zero: the switch let some through, or the converter misread it.", off),
		Next:     "Measure at the unit's plug with the switch off, check the current converter, then run the test again."})
}
