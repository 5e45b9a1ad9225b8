package latecomer

import (
	"fmt"
	"math"
	"math/rand/v2"
)

// Fault is something wrong with a unit, its loop or the bench.
type Fault struct {
	Name string
	// Causes that are a right answer, the fault's own side first; there are
	// more only where supply current, voltage and command cannot tell them
	// apart.
	Causes []string
	// Gross faults are stark at any severity; Graded ones go from nothing at
	// 0 over five standard deviations of good units at 0.5 to fifteen at 1.
	Gross, Graded bool
	// Line says what it is.
	Line string
}

const (
	onBoard    = "control-board"
	mechanical = "mechanical"
	hydraulic  = "hydraulic"
	wiring     = "wiring"
	onBench    = "bench"
)

// Faults is all that can be wrong.
func Faults() []Fault {
	gross := func(name, line string, causes ...string) Fault {
		return Fault{Name: name, Causes: causes, Gross: true, Line: line}
	}
	graded := func(name, line string, causes ...string) Fault {
		return Fault{Name: name, Causes: causes, Graded: true, Line: line}
	}
	return []Fault{
		gross("dead-board", "the board draws nothing at all", onBoard, wiring, onBench),
		gross("dead-board-charges", "the board charges, then rests below its sleep and does nothing", onBoard),
		gross("no-attempt", "the board wakes at the command and never tries", onBoard),
		gross("open-phase", "one phase carries nothing: the attempts fail", onBoard, mechanical),
		gross("deaf-full", "full whatever the duty", onBoard, wiring),
		gross("deaf-half", "one middle speed whatever the duty", onBoard, wiring),
		gross("deaf-off", "asleep whatever the duty", onBoard, wiring),
		graded("power-limit", "the board holds its power below what the duty asks", onBoard),
		gross("drop-outs", "the motor drops out while it runs and is started again", onBoard, wiring),
		gross("late-start", "the board resets several times before it starts", onBoard),
		gross("input-short", "a short across the input; the bench cuts", onBoard, wiring, onBench),
		gross("rotor-seized", "the rotor does not turn", mechanical),
		graded("dry-friction", "friction that does not depend on speed", mechanical),
		graded("thick-bearing", "a swollen bearing: friction that rises with speed", mechanical),
		graded("rub", "the wheel rubs once a turn", mechanical),
		gross("sticky-start", "the rotor comes loose only after some failed tries", mechanical),
		graded("air", "gas in the water: less load, and unsteady", hydraulic),
		gross("dry-loop", "no water, and a bearing that runs a little drier", hydraulic, mechanical),
		graded("wheel-slips", "the wheel turns slower than its shaft", mechanical, hydraulic),
		gross("wheel-gone", "no wheel on the shaft", mechanical, hydraulic),
		gross("blocked-outlet", "no flow: the wheel stirs its water round", hydraulic, mechanical),
		graded("lead-resistance", "the voltage sags over the leads to the unit", wiring, onBench),
		graded("supply-limit", "the supply at its current limit", onBench),
		gross("reversed", "plus and minus swapped: the bridge's diodes conduct", wiring, onBench, onBoard),
		gross("unplugged", "the unit is not connected", wiring, onBoard, onBench),
	}
}

// quantity is the middle and the scatter of good units.
type quantity struct{ mid, sd float64 }

// calibrate measures what good units scatter by.
func (m *Model) calibrate(rng *rand.Rand) {
	const units = 200
	var sum, square [3]float64
	for range units {
		u := m.draw(rng)
		low, top, volts := m.ends(u)
		for k, v := range [3]float64{low, top, volts} {
			sum[k] += v
			square[k] += v * v
		}
	}
	of := func(k int) quantity {
		mid := sum[k] / units
		return quantity{mid, math.Sqrt(max(square[k]/units-mid*mid, 0))}
	}
	m.lowA, m.topA, m.topV = of(0), of(1), of(2)
}

// ends is the supply current at the lowest and the highest duty, and the
// voltage at the highest.
func (m *Model) ends(u *unit) (lowA, topA, topV float64) {
	lowA, _, _ = m.steady(u, m.plan[1].duty)
	topA, topV, _ = m.steady(u, 100)
	return lowA, topA, topV
}

// sigmas is how far a graded fault moves its main quantity.
func sigmas(severity float64) float64 { return 5 * severity * (1 + 2*severity) }

// grow finds the size of a fault, in (0, most), that moves a quantity of the
// unit by some distance, whichever way, and leaves the unit so.
func grow(u *unit, distance, most float64, set func(*unit, float64), of func(*unit) float64) {
	at := func(x float64) float64 {
		trial := *u
		set(&trial, x)
		return of(trial.settle())
	}
	from := at(0)
	low, high := 0.0, most
	for range 20 {
		mid := (low + high) / 2
		if math.Abs(at(mid)-from) < distance {
			low = mid
		} else {
			high = mid
		}
	}
	set(u, low)
	u.settle()
}

// boards are the faults that lie in the board's software or its bridge, paths
// those on the way to it.
var (
	boards = map[string]boardFault{
		"dead-board": boardDead, "dead-board-charges": boardLeaks, "no-attempt": boardMute,
		"open-phase": boardOpenPhase, "deaf-full": boardDeafFull, "deaf-half": boardDeafHalf,
		"deaf-off": boardDeafOff, "drop-outs": boardDrops, "late-start": boardLate,
	}
	paths = map[string]pathFault{
		"input-short": pathShort, "reversed": pathReversed, "unplugged": pathOpen,
	}
)

// afflict gives a unit a fault.
func (m *Model) afflict(u *unit, name string, severity float64, rng *rand.Rand) {
	if f, ok := boards[name]; ok {
		u.fault = f
		return
	}
	if p, ok := paths[name]; ok {
		u.path = p
		return
	}
	low := func(u *unit) float64 { a, _, _ := m.ends(u); return a }
	top := func(u *unit) float64 { _, a, _ := m.ends(u); return a }
	volts := func(u *unit) float64 { _, _, v := m.ends(u); return v }
	s := sigmas(severity)
	mostNm := 0.5 * u.magnet(u.ambientC) * u.startA // so that it still starts
	dry, shear, source := u.dryNm, u.shearNms, u.sourceOhm
	addDry := func(u *unit, x float64) { u.dryNm = dry + x }
	lose := func(u *unit, x float64) { u.water = 1 - x }
	switch name {
	case "rotor-seized":
		u.seized = true
	case "dry-friction":
		grow(u, s*m.lowA.sd, mostNm, addDry, low)
	case "thick-bearing":
		grow(u, s*m.lowA.sd, mostNm/(0.3*m.fullRadS), func(u *unit, x float64) { u.shearNms = shear + x }, low)
	case "rub":
		grow(u, s*m.lowA.sd, mostNm, func(u *unit, x float64) { u.rubNm = x }, low)
	case "sticky-start":
		u.stickTries = 1 + int(2*severity) + rng.IntN(2)
		if latch := m.board.latch; latch > 0 {
			u.stickTries = min(u.stickTries, latch-1)
		}
	case "air":
		grow(u, s*m.topA.sd, 0.9, lose, top)
		u.unsteady = 0.4 * (1 - u.water)
	case "wheel-slips":
		grow(u, s*m.topA.sd, 0.97, lose, top)
	case "dry-loop":
		u.water, u.dryNm = 0.004, dry*(1.15+0.2*rng.Float64())
	case "wheel-gone":
		u.water = 0.02
	case "blocked-outlet":
		u.loop = 1e6
	case "power-limit":
		a, v, _ := m.steady(u, 100)
		full := (a - u.awakeA) * v
		grow(u, s*m.topA.sd, 0.85, func(u *unit, x float64) { u.limitW = (1 - x) * full }, top)
	case "lead-resistance":
		grow(u, s*m.topV.sd, 0.6*m.volts/m.topA.mid, func(u *unit, x float64) { u.sourceOhm = source + x }, volts)
	case "supply-limit":
		if severity > 0 {
			a := top(u)
			u.limitA = max(a-s*m.topA.sd, 0.65*a)
		}
	default:
		panic(fmt.Sprintf("latecomer: no fault %q; take a name from Faults", name))
	}
	u.settle()
}
