package incomer

import (
	"fmt"
	"hash/fnv"
	"math"
	"math/rand/v2"

	"dutybench/signal/trace"
)

// Fault is one thing that goes wrong, and what may be blamed for it.
type Fault struct {
	Name string
	// Causes: the true side first, then those that current, voltage and
	// command cannot tell from it.
	Causes []string
	// Gross faults are stark from severity 0.5 on; graded ones grow from
	// nothing.
	Gross, Graded bool
	// Line says it in words.
	Line string

	// at is what a graded fault moves; dial turns it from 0, none, to 1.
	at    quantity
	dial  func(u *unit, x float64)
	apply func(u *unit, s float64, rng *rand.Rand)
}

// wrong is what a fault did to a unit that its constants cannot hold.
type wrong struct {
	cut, idle, asleep, deafFull, deafOff bool
	open, diode                          bool
	short_Ohm, lead_Ohm, most_W          float64
	resets                               int
	reset_s, resetShare                  float64
	drops                                []drop
	stuckTries                           int // tries that the rotor sits out; -1 for all
	air                                  float64
}

type drop struct{ at_s, length_s float64 }

func (w *wrong) stuck(tried int) bool {
	return w.stuckTries < 0 || tried <= w.stuckTries && w.stuckTries > 0
}

const (
	controlBoard = "control-board"
	mechanical   = "mechanical"
	hydraulic    = "hydraulic"
	wiring       = "wiring"
	bench        = "bench"
)

// Faults are all that a unit of any model can have.
func Faults() []Fault {
	gross := func(name, line string, apply func(*unit, float64, *rand.Rand), causes ...string) Fault {
		return Fault{Name: name, Line: line, Causes: causes, Gross: true, apply: apply}
	}
	graded := func(name, line string, at quantity, dial func(*unit, float64), causes ...string) Fault {
		return Fault{Name: name, Line: line, Causes: causes, Graded: true, at: at, dial: dial}
	}
	set := func(f func(*wrong)) func(*unit, float64, *rand.Rand) {
		return func(u *unit, _ float64, _ *rand.Rand) { f(&u.wrong) }
	}
	return []Fault{
		gross("dead", "the board draws nothing at all", set(func(w *wrong) { w.cut = true }), controlBoard, wiring),
		gross("dead-resting", "the board draws its rest current and never wakes", set(func(w *wrong) { w.asleep = true }), controlBoard, wiring),
		gross("no-attempt", "the board wakes and never drives the motor", set(func(w *wrong) { w.idle = true }), controlBoard),
		gross("open-phase", "one transistor of a phase never conducts: tries fail, a third of each turn is empty",
			set(func(w *wrong) { w.open = true }), controlBoard),
		gross("deaf-full", "the board runs full whatever the duty", set(func(w *wrong) { w.deafFull = true }), controlBoard, wiring),
		gross("deaf-off", "the board stays at rest whatever the duty", set(func(w *wrong) { w.deafOff = true }), controlBoard, wiring),
		graded("power-limit", "the board takes back power at the top", fullA, func(u *unit, x float64) {
			u.wrong.most_W = (u.m.power_W - u.awake_A*u.m.nominal_V) * (1.12 - 0.9*x)
		}, controlBoard),
		gross("drop-outs", "the board lets go of the motor now and then", dropOuts, controlBoard, wiring),
		gross("resets", "the board falls over some times before it starts", func(u *unit, s float64, rng *rand.Rand) {
			u.wrong.resets = 2 + int(math.Round(5*s))
			u.wrong.reset_s = 0.05 + 0.25*rng.Float64()
			u.wrong.resetShare = 0.4 + 0.3*rng.Float64()
		}, controlBoard),
		gross("input-short", "the board's input is shorted", func(u *unit, s float64, _ *rand.Rand) {
			u.wrong.short_Ohm = 0.2 * (1.1 - s) * u.m.nominal_V / u.m.full_A()
		}, controlBoard, wiring),
		gross("seized", "the rotor cannot turn", set(func(w *wrong) { w.stuckTries = -1 }), mechanical),
		graded("dry-friction", "a bearing drags at every speed alike", lowA, func(u *unit, x float64) { u.c *= 1 + 6*x }, mechanical),
		graded("viscous-friction", "a bearing drags with speed", lowA, func(u *unit, x float64) { u.b *= 1 + 14*x }, mechanical),
		graded("rub", "the wheel rubs once a turn", lowA, func(u *unit, x float64) { u.rub = 12 * x * u.c }, mechanical),
		gross("sticky", "the rotor sits out the first tries, then runs", func(u *unit, s float64, _ *rand.Rand) {
			u.wrong.stuckTries = 1 + int(2*max(0, s-0.25)/0.75)
		}, mechanical),
		graded("air", "air goes round with the water", fullA, func(u *unit, x float64) { u.wrong.air = 0.9 * x }, hydraulic),
		gross("dry", "the loop is empty", func(u *unit, s float64, _ *rand.Rand) {
			u.h *= 0.06 - 0.03*s
			u.c *= 1.1
			u.b *= 0.8
		}, hydraulic, mechanical),
		gross("wheel-gone", "the shaft turns without its wheel", func(u *unit, s float64, _ *rand.Rand) {
			u.h *= 0.03 - 0.02*s
			u.j *= 0.6
			u.b *= 0.9
		}, mechanical, hydraulic),
		graded("blocked", "the outlet lets less through", fullA, func(u *unit, x float64) { u.h *= 1 - 0.85*x }, hydraulic),
		graded("lead", "the supply leads have resistance", fullV, func(u *unit, x float64) {
			u.wrong.lead_Ohm = 0.25 * x * u.m.nominal_V / u.m.full_A()
		}, wiring, bench),
		gross("supply-limit", "the bench's supply is at its current limit", func(u *unit, s float64, _ *rand.Rand) {
			u.limit_A = (0.9 - 0.35*s) * u.m.full_A()
		}, bench),
		gross("reversed", "the supply leads are swapped", func(u *unit, _ float64, _ *rand.Rand) {
			u.wrong.diode, u.wrong.cut = u.m.diode, !u.m.diode
		}, wiring, controlBoard),
		gross("unplugged", "the plug is not in", set(func(w *wrong) { w.cut = true }), wiring, controlBoard),
	}
}

// dropOuts puts three to nine of them where the unit runs.
func dropOuts(u *unit, s float64, rng *rand.Rand) {
	n := 3 + int(math.Round(6*s))
	long := u.m.plan.hold_s * float64(len(u.m.plan.duties)-1)
	at := 1.5
	for range n {
		at += (long - 3) / float64(n) * (0.6 + 0.6*rng.Float64())
		u.wrong.drops = append(u.wrong.drops, drop{at, 0.1 + 0.3*rng.Float64()})
	}
}

// Good is the trace of a good unit.
func (m *Model) Good(rng *rand.Rand) *trace.Trace { return m.test(m.draw(rng), 0, rng) }

// Faulty is the trace of a unit with a fault by its name in Faults, at a
// severity above 0 up to 1. It panics on a name that is not there.
func (m *Model) Faulty(fault string, severity float64, rng *rand.Rand) *trace.Trace {
	// Two faults from one seed are two units.
	mark := fnv.New32a()
	fmt.Fprint(mark, fault, severity)
	return m.test(m.spoilt(fault, severity, rng), mark.Sum32(), rng)
}

func (m *Model) spoilt(fault string, severity float64, rng *rand.Rand) *unit {
	for _, f := range Faults() {
		if f.Name != fault {
			continue
		}
		u := m.draw(rng)
		if f.Graded {
			f.dial(u, m.dose(f, severity))
		} else {
			f.apply(u, severity, rng)
		}
		return u
	}
	panic(fmt.Sprintf("incomer: there is no fault %q; take a name from Faults", fault))
}
