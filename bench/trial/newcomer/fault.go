package newcomer

import (
	"slices"
)

// Fault is something wrong with a unit, its loop or the bench.
type Fault struct {
	Name string
	// Causes that are a right answer, the fault's own side first. There is a
	// second only where supply current and voltage cannot tell the two apart.
	Causes []string
	// Gross tells that the fault is stark at any severity from 0.5.
	Gross bool
	// Graded tells that severity goes from nothing at 0, over about five
	// standard deviations of good units at 0.5, to far more at 1.
	Graded bool
	// Line says what it is.
	Line string

	// inflict puts it into a unit, at a strength.
	inflict func(u *unit, x float64)
	// scale is a large strength for a model; faults that have one are
	// calibrated, see Model.calibrate.
	scale func(m *Model) float64
	share bool // the strength is a share, below 1
}

// Faults lists what Faulty knows.
func Faults() []Fault { return slices.Clone(faults) }

func find(name string) *Fault {
	i := slices.IndexFunc(faults, func(f Fault) bool { return f.Name == name })
	if i < 0 {
		panic("newcomer: no fault is called " + name + "; see Faults for the names")
	}
	return &faults[i]
}

var (
	boardOnly    = []string{"control-board"}
	boardOrWire  = []string{"control-board", "wiring"}
	wireOrBoard  = []string{"wiring", "control-board"}
	mechanicOnly = []string{"mechanical"}
	wheelOrWater = []string{"mechanical", "hydraulic"}
	waterOrWheel = []string{"hydraulic", "mechanical"}
	waterOnly    = []string{"hydraulic"}
)

func fullTorque(m *Model) float64 { u := m.typical(); return u.torque(m.board.full) }
func fullAmps(m *Model) float64   { return m.typical().balance(1).amps }
func one(*Model) float64          { return 1 }

// faults is the list. Why a second cause: an open wire in the plug draws as
// little as a dead board; a broken line and a deaf input leave the same command;
// an open winding and an open bridge leave the same steps; a short in the plug
// and one behind it take the same current; a wheel that is gone, dry or shut off
// takes as little; thick coolant and a tight gap drag alike; a lead's resistance
// and that of the source add up.
var faults = []Fault{
	{Name: "board-dead", Causes: boardOrWire, Gross: true,
		Line:    "the board does not wake; its input fuse is open, or only its input filter is left",
		inflict: func(u *unit, x float64) { u.die(u.rng.IntN(2) == 0) }},
	{Name: "no-attempt", Causes: boardOnly, Gross: true,
		Line:    "the board wakes on command and never drives its bridge",
		inflict: func(u *unit, x float64) { u.sick.mute = true }},
	{Name: "phase-open", Causes: []string{"control-board", "electrical"}, Gross: true,
		Line: "one of three phases carries no current",
		inflict: func(u *unit, x float64) {
			u.sick.open, u.sick.openAt = true, u.rng.IntN(3)
		}},
	{Name: "deaf-full", Causes: boardOrWire, Gross: true,
		Line:    "the command is not heard; the board runs at full",
		inflict: func(u *unit, x float64) { u.sick.deaf, u.sick.hears = true, 100 }},
	{Name: "deaf-stopped", Causes: boardOrWire, Gross: true,
		Line:    "the command is not heard; the board stays stopped",
		inflict: func(u *unit, x float64) { u.sick.deaf, u.sick.hears = true, 0 }},
	{Name: "power-limited", Causes: boardOnly, Graded: true,
		Line: "the board holds the motor's input below a limit", share: true, scale: one,
		inflict: func(u *unit, x float64) { u.sickM.cap = (1 - x) * u.usual }},
	{Name: "drop-outs", Causes: boardOrWire, Graded: true,
		Line:    "the board resets now and again while it runs: 2 or 3 times in a test at severity 0.5, 6 to 10 at 1",
		inflict: func(u *unit, x float64) { u.dropOuts(10.5 * x * x) }},
	{Name: "late-start", Causes: boardOnly, Graded: true,
		Line: "the board resets during the start: 3 times at severity 0.5, 7 at 1",
		inflict: func(u *unit, x float64) {
			u.sick.resets, u.resetAt = int(8*x-0.6), uniform(u.rng, 0.05, 0.2)
		}},
	{Name: "input-short", Causes: boardOrWire, Gross: true,
		Line: "a short across the board's input; the bench cuts the supply",
		inflict: func(u *unit, x float64) {
			u.short = u.emf / u.bench.trip * uniform(u.rng, 0.1, 0.7) * (1.1 - x)
		}},
	{Name: "input-leak", Causes: boardOrWire, Graded: true,
		Line:    "a leak across the board's input",
		scale:   func(m *Model) float64 { return fullAmps(m) / m.bench.volt },
		inflict: func(u *unit, x float64) { u.sickM.leak = x }},
	{Name: "rotor-seized", Causes: mechanicOnly, Gross: true,
		Line:    "the rotor cannot turn",
		inflict: func(u *unit, x float64) { u.sickM.drag = 1e3 }},
	{Name: "drag-dry", Causes: mechanicOnly, Graded: true, scale: fullTorque,
		Line:    "the bearing takes more torque, the same at any speed",
		inflict: func(u *unit, x float64) { u.sickM.drag = x }},
	{Name: "drag-thick", Causes: wheelOrWater, Graded: true,
		Line:    "the rotor takes more torque, as its speed",
		scale:   func(m *Model) float64 { return fullTorque(m) / m.board.full },
		inflict: func(u *unit, x float64) { u.sickM.thick = x }},
	{Name: "rub", Causes: mechanicOnly, Graded: true, scale: fullTorque,
		Line:    "the rotor rubs once a turn, over one side of it",
		inflict: func(u *unit, x float64) { u.sickM.rub = x }},
	{Name: "sticky-start", Causes: mechanicOnly, Graded: true,
		Line:    "a deposit holds the rotor until attempts broke it loose: 2 or 3 at severity 0.5, 4 to 6 at 1",
		inflict: func(u *unit, x float64) { u.stick(x) }},
	{Name: "air", Causes: waterOnly, Graded: true, share: true, scale: one,
		Line:    "air comes through the wheel in slugs",
		inflict: func(u *unit, x float64) { u.sickM.void = min(x, 0.85) }},
	{Name: "loop-dry", Causes: waterOrWheel, Gross: true,
		Line: "there is next to no water in the loop",
		inflict: func(u *unit, x float64) {
			u.sickM.empty, u.sickM.noDisc = 1-0.08*(1.05-x), 0.9
			u.made.gap *= 0.4 // what wets the gap
			u.made.dry *= 1.1
		}},
	{Name: "wheel-lost", Causes: wheelOrWater, Gross: true,
		Line: "the wheel does not turn with the shaft, or has lost its vanes",
		inflict: func(u *unit, x float64) {
			u.sickM.slipAt, u.sickM.noDisc = 0.04*(1.2-x)*u.torque(u.board.full), 0.5
		}},
	{Name: "wheel-slips", Causes: wheelOrWater, Graded: true, share: true, scale: one,
		Line: "the wheel slips on its shaft above some torque",
		inflict: func(u *unit, x float64) {
			water := u.torque(u.board.full) - u.made.friction(u.board.full, u.mu, &u.sickM)
			u.sickM.slipAt = max(1-x, 0.02) * water
		}},
	{Name: "outlet-shut", Causes: waterOrWheel, Gross: true,
		Line: "the outlet or the loop is shut, all but for a leak",
		inflict: func(u *unit, x float64) {
			open := 0.02 + 0.1*(1-x)
			u.made.loop /= open * open
		}},
	{Name: "lead-resistance", Causes: []string{"wiring", "bench"}, Graded: true,
		Line:    "more resistance in the supply's lead; a bench without supply_V cannot see where",
		scale:   func(m *Model) float64 { return m.bench.volt / fullAmps(m) },
		inflict: func(u *unit, x float64) { u.sickM.lead = x }},
	{Name: "supply-limited", Causes: []string{"bench"}, Gross: true,
		Line:    "the supply's current limit is set too low for the unit",
		inflict: func(u *unit, x float64) { u.limit = (0.95 - 0.5*x) * u.balance(1).amps }},
	{Name: "unplugged", Causes: wireOrBoard, Gross: true,
		Line:    "nothing is connected",
		inflict: func(u *unit, x float64) { u.away = true }},
	{Name: "reversed", Causes: wireOrBoard, Gross: true,
		Line:    "plus and minus are crossed: a protected board draws nothing, another short-circuits",
		inflict: func(u *unit, x float64) { u.cross() }},
}
