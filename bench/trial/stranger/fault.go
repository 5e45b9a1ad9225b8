package stranger

import (
	"math"
	"math/rand/v2"
	"slices"
)

// Words for causes.
const (
	Board      = "control-board"
	Mechanical = "mechanical"
	Hydraulic  = "hydraulic"
	Wiring     = "wiring"
	Bench      = "bench"
)

// Fault is one thing that can be wrong with a unit or its bench.
type Fault struct {
	Name  string
	Cause string
	// Accepted are the causes that supply current and duty cannot tell
	// apart, Cause included; empty when Cause alone is right.
	Accepted []string
	// AcceptedBlind stands for Accepted where the trace has no supply_V.
	AcceptedBlind []string
	// Gross: severities of GrossFrom and more cannot be taken for a good
	// unit.
	Gross bool
	// Graded: severity 0.5 is 5 standard deviations of good units.
	Graded bool
	// Severity says what 0.5 and 1 mean.
	Severity string

	ail func(u *Unit, s float64, rng *rand.Rand) ailment
}

// GrossFrom is the severity from which a Gross fault is gross.
const GrossFrom = 0.7

// Good is no fault.
func Good() Fault { return Fault{Name: "good"} }

// Accepts tells whether a cause is right for the fault on a model's trace.
func (f Fault) Accepts(cause string, m Model) bool {
	return slices.Contains(f.Causes(m), cause)
}

// Causes are the causes that are right for the fault on a model's trace.
func (f Fault) Causes(m Model) []string {
	set := f.Accepted
	if !m.SupplyVColumn && len(f.AcceptedBlind) > 0 {
		set = f.AcceptedBlind
	}
	if len(set) == 0 {
		return []string{f.Cause}
	}
	return set
}

// ailment is what a fault changes.
type ailment struct {
	hydLoss, bubbles  float64 // share of hydraulic torque lost; its unrest
	coulomb, viscous  float64 // added torque, share of rated
	rub               float64 // once a turn, share of current
	topShare          float64 // speed cannot pass this share
	powerW            float64 // limit
	lineOhm           float64
	sourceA           float64 // limit; 0 for the model's own
	openPhase         float64 // depth of the gaps
	stuckTries        int     // attempts that fail; forever when very large
	drops             int     // in the whole test
	dropRelocks       bool
	blips             int // wake-ups in vain
	blipS             float64
	heard             float64 // what the board hears whatever the duty; <0 the duty
	neverStarts, dead bool
	leakA             float64 // drawn by a dead board
	noPeak            bool
	shortOhm          float64
	zeroV             bool // the terminals read nothing
}

const forever = 1 << 30

func none() ailment { return ailment{heard: -1, topShare: 1e9} }

var healthy = none()

// amount turns severity into a physical amount: atHalf at 0.5, full at 1.
func amount(s, atHalf, full float64) float64 {
	if atHalf >= full {
		return full * math.Min(1, 2*s)
	}
	if s <= 0.5 {
		return 2 * s * atHalf
	}
	return atHalf * math.Pow(full/atHalf, 2*s-1)
}

// graded finds the amount x of an ailment that moves the worst point of the
// curve by n standard deviations of good units.
func (u *Unit) graded(n, full float64, with func(x float64) ailment) float64 {
	m := &u.Model
	levels, sd := m.levels, m.sd
	if sd == nil {
		levels, sd = m.spread()
	}
	base := none()
	rest := make([]float64, len(levels))
	for i, d := range levels {
		rest[i] = u.plateau(d, &base)
	}
	lo, hi := 0.0, full
	for range 16 {
		x := (lo + hi) / 2
		a := with(x)
		worst := 0.0
		for i, d := range levels {
			worst = math.Max(worst, math.Abs(u.plateau(d, &a)-rest[i])/sd[i])
		}
		if worst > n {
			hi = x
		} else {
			lo = x
		}
	}
	return (lo + hi) / 2
}

// fullSD is the standard deviation of the current at the highest duty, as a
// share of this unit's own.
func (u *Unit) fullSD() (share, full float64) {
	m := &u.Model
	levels, sd := m.levels, m.sd
	if sd == nil {
		levels, sd = m.spread()
	}
	best := 0
	for i := range levels {
		if levels[i] > levels[best] {
			best = i
		}
	}
	full = u.plateau(levels[best], &healthy)
	return sd[best] / full, full
}

// Faults lists every fault.
func Faults() []Fault {
	return append(append(boardFaults(), pumpFaults()...), benchFaults()...)
}

// FaultNamed finds a fault.
func FaultNamed(name string) (Fault, bool) {
	all := Faults()
	if i := slices.IndexFunc(all, func(f Fault) bool { return f.Name == name }); i >= 0 {
		return all[i], true
	}
	return Fault{}, false
}

func boardFaults() []Fault {
	deaf := []string{Board, Wiring}
	return []Fault{
		{Name: "board-dead", Cause: Board, Accepted: deaf, Gross: true,
			Severity: "no current at all, no charging peak, at any severity",
			ail: func(u *Unit, s float64, rng *rand.Rand) ailment {
				a := none()
				a.dead, a.noPeak = true, true
				return a
			}},
		{Name: "board-dead-fed", Cause: Board, Accepted: deaf, Gross: true,
			Severity: "charging peak remains, and of the quiet current 0.9 at 0, 0.6 at 0.5, 0.3 at 1; no answer to any duty",
			ail: func(u *Unit, s float64, rng *rand.Rand) ailment {
				a := none()
				a.dead = true
				a.leakA = u.quietA * (0.9 - 0.6*s)
				return a
			}},
		{Name: "never-starts", Cause: Board, Gross: true,
			Severity: "wakes when a duty is heard, never an attempt, at any severity",
			ail: func(u *Unit, s float64, rng *rand.Rand) ailment {
				a := none()
				a.neverStarts = true
				return a
			}},
		{Name: "open-phase", Cause: Board, Gross: true,
			Severity: "depth of the gaps in four of six steps: 1 from 0.5 on, in proportion below (a bad joint; starts below 0.3)",
			ail: func(u *Unit, s float64, rng *rand.Rand) ailment {
				a := none()
				a.openPhase = math.Min(1, 2*s)
				switch {
				case u.Model.Hobbles:
					a.stuckTries, a.topShare = 1+rng.IntN(2), 0.9-0.4*s
					if k := u.Model.LatchAfter; k > 0 {
						a.stuckTries = min(a.stuckTries, k-1)
					}
				case s >= 0.3:
					a.stuckTries = forever
				}
				return a
			}},
		{Name: "command-lost-full", Cause: Board, Accepted: deaf, Gross: true,
			Severity: "runs at full whatever the duty, at any severity",
			ail: func(u *Unit, s float64, rng *rand.Rand) ailment {
				a := none()
				a.heard = 100
				return a
			}},
		{Name: "command-lost-off", Cause: Board, Accepted: deaf, Gross: true,
			Severity: "stays asleep whatever the duty, quiet current and charging peak as ever, at any severity",
			ail: func(u *Unit, s float64, rng *rand.Rand) ailment {
				a := none()
				a.heard = 0
				return a
			}},
		{Name: "power-limit", Cause: Board, AcceptedBlind: []string{Board, Bench, Wiring}, Gross: true, Graded: true,
			Severity: "power at full cut by 5 SD of full current at 0.5, by 60 % at 1: a flat top",
			ail: func(u *Unit, s float64, rng *rand.Rand) ailment {
				a := none()
				sd, full := u.fullSD()
				v := u.Model.NominalV - u.Model.SourceOhm*full
				a.powerW = full * v * (1 - amount(s, 5*sd, 0.6))
				return a
			}},
		{Name: "drop-outs", Cause: Board, AcceptedBlind: deaf, Gross: true,
			Severity: "1 + 10·severity resets of the board in the test, 20 to 400 ms each",
			ail: func(u *Unit, s float64, rng *rand.Rand) ailment {
				a := none()
				a.drops = 1 + int(math.Round(10*s))
				a.dropRelocks = rng.IntN(2) == 0
				return a
			}},
		{Name: "input-short", Cause: Board, Accepted: deaf, Gross: true,
			Severity: "a resistance across the input: 0.4 of the unit's own at full for severity 0.5, 0.04 at 1",
			ail: func(u *Unit, s float64, rng *rand.Rand) ailment {
				a := none()
				own := u.Model.NominalV * u.Model.NominalV / u.Model.RatedW
				a.shortOhm = own * 4 * math.Pow(10, -2*s)
				return a
			}},
		{Name: "late-start", Cause: Board,
			Severity: "1 + 6·severity wake-ups in vain before the first attempt, 0.2 to 0.6 s each",
			ail: func(u *Unit, s float64, rng *rand.Rand) ailment {
				a := none()
				a.blips = 1 + int(math.Round(6*s))
				a.blipS = 0.2 + 0.4*rng.Float64()
				return a
			}},
	}
}
