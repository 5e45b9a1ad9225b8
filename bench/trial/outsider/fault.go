package outsider

import (
	"math"
	"math/rand/v2"
	"slices"
)

// Causes, in the words of a verdict.
const (
	controlBoard = "control-board"
	mechanical   = "mechanical"
	hydraulic    = "hydraulic"
	wiring       = "wiring"
	benchItself  = "bench"
)

// Fault is something wrong with the unit, its loop or the bench.
type Fault struct {
	Name string
	// Causes that are a right answer. There is more than one only where supply
	// current and supply voltage cannot tell them apart.
	Causes []string
	// Gross tells that the fault is stark from severity 0.7 on.
	Gross bool
	apply func(m *Model, u *state, severity float64, rng *rand.Rand)
}

// open is the severity from which a fault that has two stages (a bad contact,
// then none) is in its second.
const open = 0.6

// Faults lists what Faulty knows.
func Faults() []Fault {
	return []Fault{
		// The input took its charge, so supply and ground reached the board;
		// nothing else flows.
		{"dead-board", []string{controlBoard}, true, func(_ *Model, u *state, s float64, rng *rand.Rand) {
			u.ill.mute, u.board.sleepA, u.board.awakeA = true, 0, 0
			u.board.boot = 0
		}},
		// A board with an open fuse or track is an open supply wire.
		{"dead-board-open", []string{controlBoard, wiring}, true, func(_ *Model, u *state, s float64, rng *rand.Rand) {
			u.ill.unplugged = true
		}},
		// It rests as a good one does and never wakes: so does one whose signal
		// wire is broken.
		{"dead-board-resting", []string{controlBoard, wiring}, true, func(_ *Model, u *state, s float64, rng *rand.Rand) {
			u.ill.mute = true
			u.board.sleepA *= uniform(rng, 0.8, 1+s)
		}},
		{"never-starts", []string{controlBoard}, true, func(_ *Model, u *state, s float64, rng *rand.Rand) {
			u.ill.idle = true
			u.board.awakeA *= uniform(rng, 0.9, 1.1)
		}},
		// Below open a bad joint, above it none.
		{"open-phase", []string{controlBoard}, true, func(_ *Model, u *state, s float64, rng *rand.Rand) {
			u.ill.phase = 3 * s
			u.ill.phaseOpen = s >= open
			u.ill.pair = rng.IntN(3)
		}},
		{"deaf-full", []string{controlBoard, wiring}, true, func(_ *Model, u *state, s float64, rng *rand.Rand) {
			u.ill.deafFull = min(1, 0.8*s/open)
			if s >= open {
				u.ill.deafFull = 1
			}
		}},
		{"deaf-off", []string{controlBoard, wiring}, true, func(_ *Model, u *state, s float64, rng *rand.Rand) {
			u.ill.deafOff = min(1, 0.5*s/open)
			if s >= open {
				u.ill.deafOff = 1
			}
		}},
		{"power-limit", []string{controlBoard}, true, func(m *Model, u *state, s float64, rng *rand.Rand) {
			u.board.maxW = m.powerW * (0.95 - 0.5*s) * near(rng, 0.02)
		}},
		// Bridge, processor or signal: each leaves the quiet current and a new
		// start-up, and a loose signal wire does the same.
		{"drop-outs", []string{controlBoard, wiring}, true, func(m *Model, u *state, s float64, rng *rand.Rand) {
			u.ill.reset = rng.IntN(2) == 0
			from := m.bench.restS + m.bench.startS
			for range 2 + int(math.Round(6*s)) {
				t := uniform(rng, from, from+34)
				u.ill.drops = append(u.ill.drops, span{t, t + uniform(rng, 0.1, 0.3+0.9*s)})
			}
			slices.SortFunc(u.ill.drops, func(a, b span) int { return int(math.Copysign(1, a.from-b.from)) })
		}},
		// Between a leak and a dead short; in the unit or in its leads.
		{"input-short", []string{controlBoard, wiring}, true, func(m *Model, u *state, s float64, rng *rand.Rand) {
			leak := m.bench.nominalV / (0.05 * m.fullA)
			u.ill.shortOhm = leak * math.Pow(0.04/leak, s)
			if rng.IntN(4) == 0 {
				u.ill.sourceTrips = uniform(rng, 0.1, 0.4)
			}
		}},
		{"late-start", []string{controlBoard}, true, func(_ *Model, u *state, s float64, rng *rand.Rand) {
			u.ill.wakeUps = 2 + int(math.Round(6*s))
			u.ill.wakeGap = uniform(rng, 0.3, 0.9)
			if rng.IntN(3) == 0 {
				u.ill.blip = uniform(rng, 0.02, 0.06)
			}
		}},
		{"seized", []string{mechanical}, true, func(_ *Model, u *state, s float64, rng *rand.Rand) {
			u.ill.stuck = math.Inf(1)
			if s < open { // breaks free of a hard enough pull, if ever
				u.ill.stuck = (0.6 + 1.5*s) * u.motor.k * u.board.startA
			}
		}},
		{"binding", []string{mechanical}, true, func(_ *Model, u *state, s float64, rng *rand.Rand) {
			t := u.motor.torque()
			u.motor.coulomb += s * 0.25 * t * near(rng, 0.1)
			u.motor.viscous += s * 0.15 * t * near(rng, 0.1)
		}},
		{"rub", []string{mechanical}, true, func(_ *Model, u *state, s float64, rng *rand.Rand) {
			u.ill.rub = 0.45 * s * u.motor.torque() * near(rng, 0.1)
			// It still starts, as a rule.
			u.ill.rub = min(u.ill.rub, 0.55*u.motor.k*u.board.startA-u.motor.coulomb)
		}},
		{"sticky-start", []string{mechanical}, true, func(m *Model, u *state, s float64, rng *rand.Rand) {
			u.ill.sticks = 1 + int(math.Round(3*s))
			if m.board.retry == latchOff {
				u.ill.sticks = min(u.ill.sticks, m.board.attempts-1)
			}
			u.motor.coulomb *= 1 + 0.3*s
		}},
		{"dry-loop", []string{hydraulic}, true, func(_ *Model, u *state, s float64, rng *rand.Rand) {
			u.ill.air = 0.92 * math.Pow(s, 0.8)
			u.ill.airTau = uniform(rng, 0.15, 0.6)
			u.motor.viscous *= 1 - 0.25*s
			u.motor.coulomb *= 1 + 0.2*s
		}},
		// A wheel that turns no water is a loop without water.
		{"impeller-lost", []string{mechanical, hydraulic}, true, func(_ *Model, u *state, s float64, rng *rand.Rand) {
			u.motor.hydraulic *= 1 - 0.97*min(1, s/0.8)
			u.motor.inertia *= 1 - 0.35*s
		}},
		{"blocked-outlet", []string{hydraulic}, true, func(_ *Model, u *state, s float64, rng *rand.Rand) {
			u.ill.opening = max(0.03, 1-1.2*s)
			u.motor.noise *= 1 + s
		}},
		{"line-resistance", []string{wiring}, true, func(m *Model, u *state, s float64, rng *rand.Rand) {
			drop := 0.28 * s * m.bench.nominalV * near(rng, 0.05)
			u.bench.ohm += drop / m.fullA
		}},
		{"supply-limit", []string{benchItself}, true, func(m *Model, u *state, s float64, rng *rand.Rand) {
			u.bench.limitA = m.fullA * (1 - 0.35*s) * near(rng, 0.02)
		}},
		{"unplugged", []string{wiring, controlBoard}, true, func(_ *Model, u *state, s float64, rng *rand.Rand) {
			u.ill.unplugged = true
		}},
	}
}

// ill is what a fault changes beyond the constants of a unit.
type ill struct {
	unplugged   bool
	mute        bool // never wakes
	idle        bool // wakes, never drives
	phase       float64
	phaseOpen   bool
	pair        int
	deafFull    float64 // 0 hears, 1 runs at full whatever comes
	deafOff     float64 // 0 hears, 1 hears nothing
	drops       []span
	reset       bool // a drop-out takes the processor too
	shortOhm    float64
	sourceTrips float64 // s
	wakeUps     int
	wakeGap     float64
	blip        float64
	stuck       float64 // N·m that hold the rotor
	sticks      int     // attempts before it comes free
	rub         float64
	air         float64
	airTau      float64
	opening     float64
}

type span struct{ from, to float64 }

// torque is the load at full speed and flow, in N·m.
func (o *motor) torque() float64 { return o.coulomb + o.viscous + o.hydraulic }
