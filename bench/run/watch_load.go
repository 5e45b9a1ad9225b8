package run

import (
	"fmt"
	"math"
	"time"

	"dutybench/bench/result"
	"dutybench/bench/rig"
	"dutybench/profiles"
)

// watching is what is seen of the load switch and of the position during a test.
type watching struct {
	node   mean // of the wire between unit and load switch, in this state
	beyond int  // readings of it beyond what a diode lets it
	told   int  // readings of the position with the supply on
	off    int  // of these beyond all that the output can give
	last   float64
}

const (
	// mostBeyond readings of the node beyond a diode are no disturbance (chosen).
	mostBeyond = 2
	// fewestNodes readings tell where the node lies.
	fewestNodes = 10
	// Beyond its ends by so much of its span a position output does not go: stops
	// lie some per cent beyond, and outputs that are to show a break keep an eighth
	// of their span from either end, as 0.5 to 4.5 V of 5 V (common practice, no
	// source; chosen between).
	beyondEnds_pct = 10
	// fewestTold readings of the position, all of them off, are no motion between
	// two gaps of a worn track (chosen: a fifth of a second of them).
	fewestTold = 40
)

// watchUnit looks at one sample of a test under way.
func (x *runner) watchUnit(s *rig.Sample) {
	w := &x.watching
	if x.ch.position.profile != nil && s.At-x.plausible.onFrom > grace {
		if told := x.ch.position.told(s); !math.IsNaN(told) {
			w.told++
			w.last = s.Position
			if told < -beyondEnds_pct || told > 100+beyondEnds_pct {
				w.off++
			}
		}
	}
	if x.commander.signals() || math.IsNaN(s.Node_V) {
		return
	}
	w.node.add(s.Node_V)
	rest := &x.plausible.source
	if !rest.known {
		return // the supply comes up
	}
	rest_V := max(x.supply_V, rest.rest.supply_V)
	if x.rig.Load.HighSide {
		rest_V = 0
	}
	if !(x.beyond_V(s.Node_V, rest_V) > 2*diodeMost_V) { // the supply may have moved since it was read
		return
	}
	if w.beyond++; w.beyond == mostBeyond {
		x.cut("%s", nextPath, fmt.Sprintf("The wire between unit and load switch went %.3g V beyond the supply: the free-wheel path has opened, and the switch breaks down.", x.beyond_V(s.Node_V, rest_V)))
	}
}

// watchLoad looks at a block of a state: at a current that stands with the load
// switch open, and at one that does not come with it closed.
func (x *runner) watchLoad(before, l levels) {
	w, n := &x.watching, x.nought_A()
	switch {
	case x.commander.signals():
	case x.loadOpen() && math.Abs(l.current_A) > n && math.Abs(l.current_A) > 0.9*math.Abs(before.current_A):
		x.cut("%s", "Switch the supply off, take the unit off its plug and measure across the open load switch; replace it when it conducts.",
			fmt.Sprintf("Told to open, the load switch lets %.3g A through: it is stuck closed.", l.current_A))
	case x.now.duty_pct == 100 && math.Abs(l.current_A) <= n && w.node.n >= fewestNodes && x.stuckOpen(w.node.value()):
		x.doubt("load switch", Fault{Cause: result.Bench,
			Sentence: fmt.Sprintf("Told to close, the load switch lets no current through, and the wire between it and the unit stays at %.3g V: it is stuck open, or nothing drives it.", w.node.value()),
			Next:     nextStuckOpen})
	}
}

// nodeEvery is how often the node is read under PWM, beside a part of a period by
// which each reading lies later in it than the one before: the golden section's,
// after which no few of them fall together.
const nodeEvery = 5 * time.Millisecond

// paceNode keeps the readings of the node out of step with the PWM.
func (x *runner) paceNode() {
	p, ok := x.rig.Sampler.(rig.NodePacer)
	if !ok || x.commander.signals() {
		return
	}
	every := time.Duration(0)
	if x.chopped() {
		every = nodeEvery + time.Duration(0.382*float64(time.Second)/x.profile.Command.Frequency_Hz)
	}
	p.PaceNode(every)
}

const nextStuckOpen = "Check the load switch, the pin that drives it as the rig file states it, and its ground; then run the test again."

// stuckOpen says that the node is not where a closed switch pulls it, but where
// the unit does.
func (x *runner) stuckOpen(node_V float64) bool {
	supply_V := x.supply_V
	if math.IsNaN(supply_V) {
		supply_V = x.profile.Supply.Nominal_V
	}
	if x.rig.Load.HighSide {
		return node_V < supply_V/2
	}
	return node_V > supply_V/2
}

// accountPosition warns of a position output that was never heard, or told only
// what it cannot give. Its wire, the unit's own output and a board that is dead
// look the same here; the kind weighs them, with what the current did.
func (x *runner) accountPosition() {
	w, p := &x.watching, &x.profile.Position
	if _, ever := x.guard.LastOff(); !ever || x.ch.position.profile == nil || x.testing {
		return
	}
	switch {
	case w.told == 0 && p.By == profiles.ByPWM && x.ch.len() > fewestTold:
		x.warn("No pulses came on the wire of the position: it is open or shorted, or the unit tells nothing.")
	case w.told >= fewestTold && w.off == w.told:
		x.warn("The position reads %.3g, where the output gives %.3g to %.3g: its wire is open or shorted, or the unit's output is.", w.last, p.At0, p.At100)
	}
}
