package solenoid

// Fault is one that a simulated unit, or the bench under it, can have.
type Fault struct {
	Name string
	Side string // the cause that a right verdict names
	Line string // what it is, in one line
	// Half and Full are what a severity of 0.5 and of 1 mean.
	Half, Full  string
	Graded      bool
	Inseparable []string
}

// The sides that a right verdict names.
const (
	electrical = "electrical"
	mechanical = "mechanical"
	wiring     = "wiring"
	benchSide  = "bench"
)

// Names of the faults.
const (
	coilOpen       = "coil-open"
	shortedTurns   = "shorted-turns"
	coilJoint      = "coil-joint"
	stuckClosed    = "stuck-closed"
	stuckOpen      = "stuck-open"
	slow           = "slow"
	springWeak     = "spring-weak"
	wornStroke     = "worn-stroke"
	shortStroke    = "short-stroke"
	connectorOpen  = "connector-open"
	lineResistance = "line-resistance"
	supplyLimit    = "supply-limit"
)

// What the bench's own faults do at the half and at full.
const (
	leadHalf_Ohm, leadFull_Ohm = 0.05, 0.8
	limitHalf, limitFull       = 0.15, 0.6
)

// Faults lists what New and SourceChange know. Deviations (sd) are those of good
// units of the on-off size for 12 V, as faults_test.go measures them.
func Faults() []Fault {
	return []Fault{
		{Name: coilOpen, Side: electrical, Inseparable: []string{connectorOpen},
			Line: "the winding is open: no current flows",
			Half: "no current", Full: "no current"},
		{Name: shortedTurns, Side: electrical, Graded: true,
			Line: "part of the turns is shorted: less resistance, less inductance by the square, and a loaded secondary",
			Half: "6 % of the turns: inductance in -12 %, 3.9 sd; resistance 3 sd down", Full: "25 % of the turns: inductance in -44 %, 18 sd"},
		{Name: coilJoint, Side: electrical, Graded: true,
			Line: "a bad joint inside the unit in series with the winding",
			Half: "8 % of the winding's resistance more: resistance +8 %, 3.7 sd", Full: "60 % more: stroke time +160 %, 34 sd"},
		{Name: stuckClosed, Side: mechanical,
			Line: "the plunger is stuck at rest and never moves",
			Half: "no motion", Full: "no motion"},
		{Name: stuckOpen, Side: mechanical,
			Line: "the plunger is stuck at the pole, from the first or once it has gone in",
			Half: "does not return", Full: "does not return"},
		{Name: slow, Side: mechanical, Graded: true,
			Line: "the plunger binds: friction that grows with speed",
			Half: "0.7 N·s/m and 0.02 N of friction more: return time +6 %, 3.3 sd", Full: "14 N·s/m and 0.36 N of friction more: return time +260 %, 73 sd"},
		{Name: springWeak, Side: mechanical, Graded: true,
			Line: "the spring is weak or broken: preload and rate lost",
			Half: "16 % of its force lost: return time +8 %, 4.4 sd", Full: "no spring at all, the plunger stays where it is: pull-in -68 %, 41 sd"},
		{Name: wornStroke, Side: mechanical, Graded: true,
			Line: "the rest stop is worn: a longer stroke from a wider gap",
			Half: "stroke 9 % longer: stroke time +9.3 %, 3.2 sd", Full: "stroke 45 % longer: stroke time +65 %, 18 sd"},
		{Name: shortStroke, Side: mechanical, Graded: true,
			Line: "something lies between plunger and pole: a shorter stroke, and a gap that stays",
			Half: "0.12 mm of 2.5 mm: drop-out +11 %, 3.5 sd", Full: "1 mm of 2.5 mm: drop-out +81 %, 20 sd"},
		{Name: connectorOpen, Side: wiring, Inseparable: []string{coilOpen},
			Line: "a wire or contact between bench and coil is open: no current flows",
			Half: "no current", Full: "no current"},
		{Name: lineResistance, Side: wiring, Graded: true,
			Line: "resistance in the supply leads or contacts before the sense points",
			Half: "0.05 Ω more, more than the leads have", Full: "0.8 Ω more"},
		{Name: supplyLimit, Side: benchSide, Graded: true,
			Line: "the bench's supply limits its current below what the coil takes",
			Half: "limit 15 % below the coil's full current", Full: "limit 60 % below it"},
	}
}
