package pump

import "dutybench/bench/result"

// state is how far a unit got.
type state int

const (
	unpowered state = iota // the plug had no voltage
	nothing                // no sign that supply reached it
	noTry                  // supply reached it; no attempt to turn
	tries                  // attempts, none of which ran
	constant               // draws one current whatever the duty, or before any command
	shorted                // draws far more than full current, or none of the start was let through
	idle                   // never commanded
	ran
)

// shape is what a mode does to the curve.
type shape int

const (
	level   shape = iota // nothing
	drag                 // more torque, in proportion most at low speed; may run into a cap
	water                // the hydraulic part is lost, in whole or part; the bearing may drag a little
	cap_                 // full below, cut off at a current above
	scaled               // all in one proportion
	shifted              // as at another duty than was commanded
	lead                 // as at a supply that falls with the current, which nobody sampled
	starved              // cut off at a current, or somehow, as supply gives way
	changed              // somehow, by no law
	gappy                // anything less, as gaps lower a mean
	rubs                 // as drag, or not at all
	any_                 // somehow or not at all
)

// mode is one way in which a pump or its bench can be wrong.
type mode struct {
	name  string
	cause result.Cause
	state state
	shape shape
	// needs must lie out on the bad side for this mode to hold at all.
	needs []string
	// explains may lie out under this mode without speaking against it.
	explains []string
	// looks is what else speaks against it: the cost of the attempts' or the
	// swing's looks; nil when they say nothing.
	looks func(evidence) float64
	// mutes says that it may keep a unit from even trying.
	mutes    bool
	prior    float64
	seen     string // what the unit did, one clause
	disproof string
	next     string
	reuse    []string
}

// Priors: most PWM-commanded electric units fail on the control side (common
// practice, no source). They differ by a factor of two at most and only rank
// modes that the evidence leaves level: e-fold evidence is worth more than any
// of them.
const (
	often  = 1.0
	seldom = 0.5
	rarely = 0.25
)

// plugReversed names the evidence that the plug's voltage is that of a
// forward diode, or negative, while current flows.
const plugReversed = "plug_reversed"

const (
	board = "control board"
	mech  = "motor and hydraulics"
)

// modes is everything that the tool knows to go wrong with a pump.
var modes = []mode{
	{name: "no-start", cause: result.ControlBoard, state: noTry, shape: any_, explains: []string{Quiet, SwitchOnCharge}, prior: often,
		seen:     "supply reached the unit, but its board made no attempt to turn the rotor",
		disproof: "a PWM signal proved at the unit's own pin that differs from what the profile asks for",
		next:     "check level, frequency and polarity of the command at the plug; with those right, replace or repair the board",
		reuse:    []string{mech}},
	{name: "seized", cause: result.Mechanical, state: tries, shape: any_, explains: []string{StartAttempts, StartPeak, StartLevel, StartSettle}, looks: stuckRotor, prior: seldom,
		seen:     "the board drives the motor at full effort again and again, and the rotor does not turn",
		disproof: result.FreeByHand,
		next:     "with the supply off, turn the rotor by hand; if it is free, test again, else the motor end is seized",
		reuse:    []string{board}},
	{name: "gives-up", cause: result.ControlBoard, state: tries, shape: any_, explains: []string{StartAttempts, StartPeak, StartLevel, StartSettle, Quiet}, looks: brokenOff, prior: often,
		seen:     "the board breaks off before an attempt has fairly begun",
		disproof: "a supply voltage at the plug that collapses at that instant",
		next:     "watch the supply at the plug through the attempt; if it holds, the board is at fault",
		reuse:    []string{mech}},
	{name: "open-phase", cause: result.ControlBoard, state: tries, shape: any_, explains: []string{StartAttempts, StartPeak, StartLevel, StartSettle}, looks: emptySteps, prior: often,
		seen:     "start attempts with gaps or at a fraction of the usual effort: not all phases are driven",
		disproof: "a board that drives another motor of the type, or unequal resistances between this motor's phases",
		next:     "measure the three phase resistances at the motor's terminals: equal means the board, unequal the winding",
		reuse:    []string{mech}},
	{name: "limited-start", cause: result.Bench, state: tries, shape: any_, needs: []string{SupplyFold, SupplyDrop}, explains: []string{StartAttempts, StartPeak, StartLevel, StartSettle, Full, Quiet}, looks: atLimit, mutes: true, prior: seldom,
		seen:     "the supply's voltage collapses at every attempt: it cannot give the current that a start needs",
		disproof: "a supply voltage at the plug that holds through an attempt",
		next:     "raise the supply's current limit, or use a stronger supply, and test again"},
	{name: "resistive-start", cause: result.Wiring, state: tries, shape: any_, needs: []string{SupplyDrop}, explains: []string{StartAttempts, StartPeak, StartLevel, StartSettle, Quiet}, looks: atResistance, mutes: true, prior: seldom,
		seen:     "the voltage at the plug falls with every ampere, too far for the unit to start: a resistance in the leads or contacts",
		disproof: "the same drop with another unit's plug on the same leads",
		next:     "clean and tighten contacts and leads up to the plug, measure the drop again, repeat"},
	{name: "command-lost", cause: result.ControlBoard, state: constant, shape: any_, explains: []string{Quiet, Response, Hysteresis, StartDelay, StartAttempts, StartSettle, StartPeak, StartLevel, Full}, prior: often,
		seen:     "the unit does one thing whatever the duty: its board does not hear the command",
		disproof: "a signal at the unit's own pin that is not the PWM that the bench sends",
		next:     "measure low level, high level, frequency and duty at the unit's plug; with those right the board's input is dead",
		reuse:    []string{mech}},
	{name: "short", cause: result.ControlBoard, state: shorted, shape: any_, explains: []string{Quiet, SwitchOnCharge, StartPeak, StartLevel, Full, SupplyDrop, SupplyFold, StartAttempts, Response}, prior: often,
		seen:     "the unit draws a short's current as soon as it has supply, before any command",
		disproof: "the same current with the unit unplugged",
		next:     "unplug the unit, check the polarity at the plug and switch on again: no current means the short is in the unit, else in the leads",
		reuse:    []string{mech}},
	{name: "reversed", cause: result.Wiring, state: shorted, shape: any_, needs: []string{plugReversed}, explains: []string{Quiet, SwitchOnCharge, StartPeak, StartLevel, Full, SupplyDrop, SupplyFold, StartAttempts, Response}, prior: often,
		seen:     "the unit draws a short's current and the voltage at its plug is that of a diode the wrong way round: the supply is reversed",
		disproof: "the right polarity at the plug with the unit unplugged",
		next:     "switch off, unplug, and check the polarity at the plug before anything else"},
	{name: "power-limit", cause: result.ControlBoard, state: ran, shape: cap_, explains: []string{StartSettle, StartPeak, StartLevel, Hysteresis, Unrest, ShaftSpeed, Ripple, TurnDepth, HoldFall, WarmDrift}, looks: heldBack, prior: often,
		seen:     "the current follows the good units up to a point and then stays flat while the supply holds: the board limits it",
		disproof: "a supply at its own limit, or a loop that cannot carry full flow",
		next:     "repeat with the loop fully open and the water cool; a limit that stays is the board's",
		reuse:    []string{mech}},
	{name: "drop-outs", cause: result.ControlBoard, state: ran, shape: gappy, needs: []string{DropOuts}, explains: []string{"missing_command_open", "missing_command_low", "missing_command_high", Hysteresis, StartSettle, StartAttempts, StartPeak, HoldFall, WarmDrift, ShaftSpeed, Ripple, TurnDepth}, prior: often,
		seen:     "the current falls to nothing now and then while the command stands, and comes back",
		disproof: "a supply or signal that drops out at the plug at the same instants",
		next:     "move the plug and leads while it runs: drop-outs that follow are contacts, the rest are the board's",
		reuse:    []string{mech}},
	{name: "derates", cause: result.ControlBoard, state: ran, shape: any_, needs: []string{HoldFall, "-" + WarmDrift}, explains: []string{WarmDrift, HoldFall, Hysteresis, DropOuts, Unrest, Rotation, ShaftSpeed, Ripple, TurnDepth}, prior: often,
		seen:     "the current falls for good while one duty is held: the board takes power back",
		disproof: "a supply voltage or a flow that falls at the same instant",
		next:     "let it cool and repeat with the supply at the plug watched; a fall that comes back with warmth is the board's",
		reuse:    []string{mech}},
	{name: "warm-dead", cause: result.ControlBoard, state: ran, shape: level, needs: []string{Restarts, RestartTrys}, explains: []string{WarmDrift, HoldFall, DropOuts, Hysteresis}, looks: warmSilent, prior: often,
		seen:     "it started cold and ran, and once warm its board does not start it as it should",
		disproof: "a command or a supply at the plug that was missing at the later start",
		next:     "repeat the soak with levels read at the unit's own pin; with those right, the board fails warm",
		reuse:    []string{mech}},
	{name: "warm-stuck", cause: result.Mechanical, state: ran, shape: any_, needs: []string{Restarts, RestartTrys}, explains: []string{WarmDrift, HoldFall, DropOuts, Hysteresis}, looks: warmTries, prior: seldom,
		seen:     "it started cold and ran, and once warm the board drives at full effort and the rotor does not turn at once",
		disproof: "a rotor that turns freely by hand while still warm",
		next:     "with the supply off and while still warm, turn the rotor by hand and feel for drag",
		reuse:    []string{board}},
	{name: "hobbling", cause: result.ControlBoard, state: ran, shape: changed, needs: []string{"-" + StartLevel, StartAttempts}, explains: []string{StartDelay, StartSettle, StartPeak, Rotation, Unrest, Hysteresis, DropOuts, HoldFall, WarmDrift, ShaftSpeed, Ripple, TurnDepth}, prior: often,
		seen:     "the unit starts with a fraction of the usual effort and runs rough and weak: not all phases are driven",
		disproof: "a board that drives another motor of the type, or unequal resistances between this motor's phases",
		next:     "measure the three phase resistances at the motor's terminals: equal means the board, unequal the winding",
		reuse:    []string{mech}},
	{name: "late-start", cause: result.ControlBoard, state: ran, shape: level, needs: []string{StartDelay, StartAttempts}, explains: []string{StartSettle, StartPeak, StartLevel}, looks: resets, prior: often,
		seen:     "the unit starts late, after waking more than once, and then runs as good ones do",
		disproof: "a command at the plug that itself comes late",
		next:     "test again from cold; a start that stays late is the board's",
		reuse:    []string{mech}},
	{name: "weak-board", cause: result.ControlBoard, state: ran, shape: scaled, explains: []string{StartPeak, StartLevel, StartSettle, Quiet, ShaftSpeed, Ripple, TurnDepth}, prior: rarely,
		seen:     "the whole curve lies off by one proportion: speed or efficiency is off, not the load",
		disproof: "a supply or a shunt that is off by as much: test a known-good unit",
		next:     "test a known-good unit on the same bench; if that is right, the board is at fault",
		reuse:    []string{mech}},
	{name: "misheard", cause: result.ControlBoard, state: ran, shape: shifted, explains: []string{StartPeak, StartLevel, StartSettle, StartDelay, Response, ShaftSpeed, Ripple, TurnDepth}, prior: rarely,
		seen:     "the unit runs as good ones do at another duty: it hears something else than the command",
		disproof: "a line duty at the unit's own pin that differs from the command",
		next:     "measure low level, high level and duty at the unit's own pin; with those right, the board mishears",
		reuse:    []string{mech}},
	{name: "worn-capacitor", cause: result.ControlBoard, state: ran, shape: level, needs: []string{Ripple}, explains: []string{SwitchOnCharge, Unrest, Rotation, StartPeak}, prior: seldom,
		seen:     "the ripple of the current is off on the bench where good units show less: the board's input capacitor is worn, or one of its bridges is uneven",
		disproof: "a known-good unit that ripples as much on this bench today",
		next:     "test a known-good unit on the same bench; if that is quiet, measure the capacitor on the board",
		reuse:    []string{mech}},
	{name: "restless-board", cause: result.ControlBoard, state: ran, shape: level, needs: []string{Quiet}, explains: []string{SwitchOnCharge}, prior: seldom,
		seen:     "the resting current is off while everything else is as good units do it",
		disproof: "leads or a fixture that leak with the unit unplugged",
		next:     "measure the resting current again with the unit unplugged; what is left is the board's",
		reuse:    []string{mech}},
	{name: "missing-command", cause: result.ControlBoard, state: ran, shape: level, needs: []string{"missing_command_open", "missing_command_low", "missing_command_high"}, prior: seldom,
		seen:     "without a valid command the unit does something else than its type should",
		disproof: "a line that was not let go of or held as the bench thought: read its level at the plug",
		next:     "read the line's level at the plug with the bench's line released and held; with those right, the board is at fault",
		reuse:    []string{mech}},
	{name: "drag", cause: result.Mechanical, state: ran, shape: drag, explains: []string{StartSettle, StartPeak, StartLevel, StartAttempts, Hysteresis, Unrest, Rotation, ShaftSpeed, Ripple, TurnDepth}, prior: seldom,
		seen:     "the current is too high, in proportion most at low speed: the rotor binds",
		disproof: "a curve that falls back to the band when the fluid is warmer or thinner",
		next:     "with the supply off, turn the rotor by hand and feel for drag; check the fluid is what the profile was learned with",
		reuse:    []string{board}},
	{name: "rub", cause: result.Mechanical, state: ran, shape: rubs, needs: []string{Rotation, TurnDepth}, explains: []string{DropOuts, Unrest, StartSettle, StartPeak, StartLevel, StartAttempts, Hysteresis, ShaftSpeed, Ripple, TurnDepth}, looks: onceATurn, prior: seldom,
		seen:     "the current swings at one steady rate that goes with speed: the rotor rubs once a turn",
		disproof: "a swing that does not change its rate with the duty",
		next:     "with the supply off, turn the rotor slowly by hand and feel for one tight spot a turn",
		reuse:    []string{board}},
	{name: "sticky-start", cause: result.Mechanical, state: ran, shape: level, needs: []string{StartAttempts, StartDelay}, explains: []string{StartSettle, StartPeak, StartLevel, Hysteresis}, looks: wholeTries, prior: seldom,
		seen:     "the rotor did not turn at the first try and then ran as good ones do: it sticks after rest",
		disproof: "a first try at less than the usual effort, which would be the board",
		next:     "open the motor end and clean or replace what sticks; a later start that succeeds does not clear it",
		reuse:    []string{board}},
	{name: "water-lost", cause: result.Hydraulic, state: ran, shape: water, explains: []string{Unrest, Rotation, Hysteresis, StartSettle, StartPeak, StartLevel, HoldFall, WarmDrift, ShaftSpeed, Ripple, TurnDepth}, prior: seldom,
		seen:     "the current is too low, most at high speed: the unit moves too little water, or none",
		disproof: "a measured flow as good units have it",
		next:     "bleed the loop, open the valves and repeat, saying so (--primed): what stays is the impeller's fault",
		reuse:    []string{board}},
	{name: "wheel-slips", cause: result.Hydraulic, state: ran, shape: cap_, explains: []string{StartSettle, StartPeak, StartLevel, Hysteresis, Unrest, Rotation, HoldFall, WarmDrift, Ripple, TurnDepth, ShaftSpeed}, looks: freed, prior: seldom,
		seen:     "the current follows the good units up to a point and then stays flat: beyond it the wheel carries no more",
		disproof: "a measured flow as good units have it at full",
		next:     "measure the flow at full; less than good units have means the wheel slips or the loop is shut",
		reuse:    []string{board}},
	{name: "air", cause: result.Hydraulic, state: ran, shape: water, needs: []string{Unrest}, explains: []string{DropOuts, Rotation, Hysteresis, StartSettle, StartPeak, StartLevel, HoldFall, WarmDrift, ShaftSpeed, Ripple, TurnDepth}, looks: bubbles, prior: seldom,
		seen:     "the current wavers without a steady rate: bubbles in the loop",
		disproof: "an unrest that stays with the loop bled and standing full",
		next:     "bleed the loop, let it stand and repeat, saying so (--primed)",
		reuse:    []string{board}},
	{name: "line-resistance", cause: result.Wiring, state: ran, shape: any_, needs: []string{SupplyDrop}, explains: []string{StartAttempts, StartDelay, StartPeak, StartLevel, StartSettle, Hysteresis, Unrest, Rotation, DropOuts, HoldFall, WarmDrift, ShaftSpeed, Ripple, TurnDepth}, prior: seldom,
		seen:     "the voltage at the plug falls more per ampere than it does with good units: a resistance in the leads or contacts",
		disproof: "the same drop with another unit's plug on the same leads",
		next:     "clean and tighten contacts and leads up to the plug, measure the drop again, repeat"},
	{name: "unseen-resistance", cause: result.Wiring, state: ran, shape: lead, explains: []string{StartPeak, StartLevel, StartSettle, StartDelay, Hysteresis, Unrest, Rotation, ShaftSpeed, Ripple, TurnDepth}, prior: seldom,
		seen:     "the current is off as it is at a supply that falls with every ampere; the voltage at the plug was not sampled",
		disproof: "a supply voltage at the plug that holds at full current",
		next:     "measure the voltage at the plug at rest and at full current; a drop beyond that of a good unit is in leads and contacts"},
	{name: "supply-limit", cause: result.Bench, state: ran, shape: starved, needs: []string{SupplyFold}, explains: []string{SupplyDrop, StartPeak, StartLevel, StartSettle, Hysteresis, StartAttempts, StartDelay, DropOuts, Unrest, Rotation, HoldFall, WarmDrift, ShaftSpeed, Ripple, TurnDepth}, prior: seldom,
		seen:     "current stays flat while the voltage at the plug collapses: the supply is at its limit",
		disproof: "a supply voltage that holds at full current",
		next:     "raise the supply's current limit, or use a stronger supply, and test again"},
}

// noPower is what is said when the plug itself had no voltage while the bench
// had switched on.
var noPower = []mode{
	{name: "no-supply", cause: result.Wiring, state: unpowered, prior: often,
		seen:     "the supply was on and the unit's plug had no voltage: the wiring up to the plug is open, crossed or not plugged in",
		disproof: "supply voltage of the right polarity measured at the plug with the unit connected",
		next:     "check fuse, switch, leads and plug for continuity and polarity, then repeat"},
	{name: "no-source", cause: result.Bench, state: unpowered, prior: seldom,
		seen:     "the supply was on and the unit's plug had no voltage: the bench's supply gives none",
		disproof: "supply voltage at the bench's own terminals",
		next:     "measure the supply at the bench's own terminals"},
}

// unreached is what is said when nothing shows that supply got to the unit:
// two causes that no supply current can tell apart.
var unreached = []mode{
	{name: "dead-board", cause: result.ControlBoard, state: nothing, prior: often,
		seen:     "no current at all: either the board is dead or the supply does not reach it",
		disproof: "supply voltage missing at the unit's own pins while the switch is on",
		next:     "see that the plug is in and its pins are whole; then measure supply voltage and ground at the unit's own pins under load of a test lamp: if they are there, the board is dead",
		reuse:    []string{mech}},
	{name: "open-leads", cause: result.Wiring, state: nothing, prior: seldom,
		seen:     "no current at all: either the supply does not reach the unit or its board is dead",
		disproof: "supply voltage present at the unit's own pins",
		next:     "see that the plug is in and its pins are whole; then measure supply voltage and ground at the unit's own pins under load of a test lamp: if they are missing, mend plug and leads"},
}
