package pump

// The sides that a right verdict names.
const (
	board     = "control-board"
	mechanics = "mechanical"
	hydraulic = "hydraulic"
	wiring    = "wiring"
	benchSide = "bench"
)

// Faults lists what New and SourceChange know. Figures in amperes are of the
// size "medium" at 13.5 V, deviations (sd) those of good units of that size; the
// other sizes lie within one deviation of them at the half.
func Faults() []Fault {
	return []Fault{
		{Name: "board-dead", Side: board, Inseparable: []string{"unplugged"},
			Line: "the board does nothing; its capacitor still charges",
			Half: "60 % of the sleeping current, no attempt", Full: "20 % of the sleeping current, no attempt"},
		{Name: "no-start", Side: board, Inseparable: []string{"command-lost-off"},
			Line: "the board wakes but never tries to turn the rotor",
			Half: "quiet current 10 % up, no attempt", Full: "quiet current 20 % up, no attempt"},
		{Name: "open-phase", Side: board,
			Line: "one phase is open: two of six commutation steps carry no current, attempts fail",
			Half: "a bad joint leaves 20 % of the current in those steps", Full: "no current in those steps"},
		{Name: "command-lost-full", Side: board,
			Line: "the board does not hear its signal line and runs at full",
			Half: "deaf, the pull-up still there", Full: "deaf, the pull-up gone too"},
		{Name: "command-lost-off", Side: board, Inseparable: []string{"no-start"},
			Line: "the board does not hear its signal line and stays off",
			Half: "deaf, the pull-up still there", Full: "deaf, the pull-up gone too"},
		// A wheel that slips carries no more either: only a speed or a flow tells.
		{Name: "power-limit", Side: board, Graded: true, Inseparable: []string{"impeller-lost"},
			Line: "the board limits the power below what full speed needs",
			Half: "-0.59 A at full, about 5 sd", Full: "-2.11 A at full, about 16 sd"},
		{Name: "drop-outs", Side: board, Graded: true,
			Line: "the board lets the motor go now and then",
			Half: "0.06 to 0.18 s off, once in 6 s on average", Full: "0.06 to 0.18 s off, once in 1.2 s on average"},
		{Name: "input-short", Side: board, Inseparable: []string{"reversed"},
			Line: "a short across the board's input",
			Half: "0.3 Ω across the input", Full: "0.03 Ω across the input"},
		{Name: "late-start", Side: board, Graded: true,
			Line: "the board wakes up in vain before it starts",
			Half: "2 wake-ups in vain, 0.34 s late, about 5 sd", Full: "4 wake-ups in vain, 0.68 s late, about 10 sd"},
		{Name: "rotor-seized", Side: mechanics,
			Line: "the rotor is stuck: attempts of equal length, then the board gives up",
			Half: "breaks away at 3.5 times the start torque", Full: "breaks away at 5.5 times the start torque"},
		{Name: "drag", Side: mechanics, Graded: true, Inseparable: []string{"rub"},
			Line: "the bearing binds: more friction at every speed",
			Half: "friction torque 85 % up: +0.07 A at 20 % duty, about 5 sd", Full: "friction torque 5 times: +0.35 A at 20 % duty, about 25 sd"},
		{Name: "rub", Side: mechanics, Graded: true, Inseparable: []string{"drag"},
			Line: "the impeller rubs once a turn",
			Half: "peak 3.05 times the friction torque: +0.07 A at 20 % duty, about 5 sd", Full: "peak 10 times the friction torque: +0.24 A at 20 % duty, about 17 sd"},
		{Name: "sticky-start", Side: mechanics, Graded: true,
			Line: "the rotor sticks after standing: first attempts fail, then it runs as good",
			Half: "the first attempt fails", Full: "all attempts but the last fail"},
		{Name: "dry-loop", Side: hydraulic, Graded: true, Inseparable: []string{"blocked-outlet", "impeller-lost"},
			Line: "air in the loop: less water carried, an uneasy current, a bearing badly wetted",
			Half: "17 % less water torque with 6 % unrest: -0.58 A at full, about 5 sd", Full: "85 % less water torque with 25 % unrest: -2.87 A at full, about 22 sd"},
		// It takes the cubic term from the curve and leaves the rotor's friction:
		// the hydraulic side, whichever part of it has given way.
		{Name: "impeller-lost", Side: hydraulic, Inseparable: []string{"blocked-outlet", "dry-loop"},
			Line: "the impeller slips or is gone: no water carried, friction as good",
			Half: "24 % of the water torque left: -2.91 A at full, about 23 sd", Full: "3 % of the water torque left: -3.66 A at full, about 28 sd"},
		{Name: "blocked-outlet", Side: hydraulic, Graded: true, Inseparable: []string{"dry-loop", "impeller-lost"},
			Line: "the outlet is shut: less water carried",
			Half: "15 % less water torque: -0.59 A at full, about 5 sd", Full: "45 % less water torque: -1.75 A at full, about 14 sd"},
		{Name: "line-resistance", Side: wiring, Graded: true,
			Line: "a bad contact in the supply leads",
			Half: "0.08 Ω more, 0.4 V at 5 A; units have no spread in it", Full: "0.4 Ω more, 2 V at 5 A"},
		{Name: "supply-limit", Side: benchSide, Graded: true,
			Line: "the supply reaches its current limit below the unit's full current",
			Half: "-0.56 A at full, about 4 sd, the voltage gives way", Full: "-1.28 A at full, about 10 sd, the voltage gives way"},
		{Name: "reversed", Side: wiring, Inseparable: []string{"input-short"},
			Line: "supply leads the wrong way round: the bridge's diodes conduct",
			Half: "1.5 V and 75 mΩ across the supply", Full: "1.5 V and 50 mΩ across the supply"},
		{Name: "unplugged", Side: wiring, Inseparable: []string{"board-dead"},
			Line: "the plug is not in: no charge, no current, no pull-up",
			Half: "no contact", Full: "no contact"},
	}
}
