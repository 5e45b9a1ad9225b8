// Package socket says how a simulated unit comes into the socket of a
// simulated bench: which one is of a profile's type, what can be wrong with it,
// and what differs from one test to the next. Each kind has its own in a folder
// of its name.
package socket

import (
	"errors"
	"math/rand/v2"

	"dutybench/bench/sim"
	"dutybench/profiles"
)

// ErrNoUnit says that no simulated unit is of a profile's type.
var ErrNoUnit = errors.New("no simulated unit of this type")

// Socket puts a kind's simulated units on a bench.
type Socket interface {
	// Faults that its units can have.
	Faults() []Fault
	// Perturbations are groups of constants that the simulator itself chose.
	Perturbations() []string
	// Bench is a bench with a unit of the profile's type in its socket, the
	// supply at nominal and the line driven as the profile asks. The fault of
	// the bench in s is armed by who calls. The error wraps ErrNoUnit where no
	// simulated unit is of that type.
	Bench(p *profiles.Profile, s Simulated) (sim.Options, error)
}

// Fault is one that a simulated unit, or the bench under it, can have.
type Fault struct {
	Name string
	Side string // the cause that a right verdict names
	Line string // what it is, in one line
	// Half and Full are what a severity of 0.5 and of 1 mean, in physical
	// units and, where good units differ in them, in their standard deviations.
	Half, Full string
	// Graded says that severity has degrees; else it is there or not.
	Graded bool
	// Inseparable are names of faults from which this one cannot always be told.
	Inseparable []string
	// Besides are sides of what is no fault of a unit, and so in no list, and
	// from which this one cannot always be told either.
	Besides []string
}

// Sized is a socket whose faults name figures of units of one size.
type Sized interface {
	// FaultsFor says of which, in a clause.
	FaultsFor() string
}

// Slower is a socket some of whose perturbations make a good unit start later.
type Slower interface {
	// Slows says that a group of constants is one of them.
	Slows(group string) bool
}

// Simulated says which unit to put on the simulated bench.
type Simulated struct {
	Seed uint64 // draws the unit and the errors of the bench's chips
	Unit uint64 // draws the unit in the place of Seed; 0: Seed does
	// Again is which test of this unit on this bench it is, and Filling which
	// filling of the loop, or mounting: each number above zero draws what
	// differs from one to the next. With 0 nothing does.
	Again, Filling uint64
	Fault          string  // of the unit or of the bench; empty: none
	Severity       float64 // 0 to 1
	// Bench is a fault of the bench at a time of its own, beside Fault.
	Bench sim.Armed
	// Perturb changes constants that the simulator itself chose, of the good
	// unit below any fault; for studies of what rests on them.
	Perturb Perturbation
}

// Perturbation is a group of the simulator's constants and the factor on
// them. The zero value changes nothing.
type Perturbation struct {
	Group  string // one of the socket's Perturbations
	Factor float64
}

// NoiseGroup is the group in which the noise of the bench's chips lies, for
// every kind.
const NoiseGroup = "noise"

// Noise is the factor on the noise of the bench's chips, which lie outside
// the unit.
func (p Perturbation) Noise() float64 {
	if p.Group == NoiseGroup {
		return p.Factor
	}
	return 1
}

// AgainSource and FillingSource draw what differs from one test of a unit, and
// from one filling or mounting, to the next; nil: nothing does. A filling is
// drawn for the unit that is in it.
func (s Simulated) AgainSource() *rand.Rand {
	if s.Again == 0 {
		return nil
	}
	return rand.New(rand.NewPCG(s.Seed^s.Unit<<1, s.Again))
}

// FillingSource is beside AgainSource.
func (s Simulated) FillingSource() *rand.Rand {
	if s.Filling == 0 {
		return nil
	}
	return rand.New(rand.NewPCG(s.Seed^s.Unit<<1, s.Filling^0x66696c6c))
}

// UnitSource draws the unit.
func (s Simulated) UnitSource() *rand.Rand {
	seed := s.Unit
	if seed == 0 {
		seed = s.Seed
	}
	return rand.New(rand.NewPCG(seed, 0x756e6974))
}

// Cut is a normal number that lies within three.
func Cut(r *rand.Rand) float64 {
	for {
		if z := r.NormFloat64(); z >= -3 && z <= 3 {
			return z
		}
	}
}

// FullCurrent is what the profile's good units draw at their highest duty, in A,
// or, before any were measured, what its current limit leaves room for.
func FullCurrent(p *profiles.Profile) float64 {
	sum, n := 0.0, 0.0
	for _, g := range p.Good {
		if len(g.Up) > 0 && g.Up[len(g.Up)-1] > 0 {
			sum, n = sum+g.Up[len(g.Up)-1], n+1
		}
	}
	if n == 0 {
		return p.Limits.Current_A / 1.5 // as learning sets the limit
	}
	return sum / n
}
