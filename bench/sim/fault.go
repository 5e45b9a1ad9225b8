package sim

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"time"
)

// BenchFault is one fault of the bench itself or of its wiring, as against
// one of the unit in its socket.
type BenchFault struct {
	Name string
	Side string // the cause that a right verdict names: "bench" or "wiring"
	Line string // what it is, in one line
	// Half and Full are what a severity of 0.5 and of 1 mean.
	Half, Full string
	// Needs is a part that not every bench has: NeedsI2C, NeedsLoad,
	// NeedsPosition; empty: nothing.
	Needs string
}

// Armed is a fault of the bench that comes at a time. The zero value is none.
type Armed struct {
	Name     string
	At       time.Duration // on the bench's clock
	For      time.Duration // then it goes; 0: as its severity says
	Severity float64       // 0 to 1
	Seed     uint64        // draws what is random in it
}

// The sides of the bench.
const (
	sideBench  = "bench"
	sideWiring = "wiring"
)

// armable is a fault with what it does.
type armable struct {
	BenchFault
	// set brings the fault and gives what takes it away again; nil: nothing
	// can.
	set func(b *Bench, severity float64, rng *rand.Rand) (undo func())
	// lasts is how long it stays, 0 for ever; nil: for ever.
	lasts func(severity float64) time.Duration
	// always says that it is there from the beginning, whatever the time.
	always bool
}

// armables is the catalogue, a file for each part of the bench.
func armables() []armable {
	onI2C := slices.Concat(busFaults(), chipFaults(), senseFaults())
	for i := range onI2C {
		onI2C[i].Needs = NeedsI2C
	}
	return slices.Concat(onI2C, lineFaults(), powerFaults(), clockFaults(), loadFaults())
}

// BenchFaults lists the faults that the usual bench can be armed with: an INA226
// and an ADS1115, and in its socket a unit with a board that tells no position.
// See BenchFaultsOf for others.
func BenchFaults() []BenchFault { return BenchFaultsOf(NeedsI2C) }

// Arm makes a fault of the bench come at its time; a time that has passed is
// now. Several may be armed.
func (b *Bench) Arm(a Armed) error {
	if a == (Armed{}) {
		return nil
	}
	all := armables()
	i := slices.IndexFunc(all, func(f armable) bool { return f.Name == a.Name })
	switch {
	case i < 0:
		return fmt.Errorf("sim: no fault %q of the bench; BenchFaults lists those there are", a.Name)
	case !(a.Severity >= 0 && a.Severity <= 1):
		return fmt.Errorf("sim: severity %g of fault %s lies outside 0 to 1", a.Severity, a.Name)
	}
	f := all[i]
	if part := b.lacks(f.Needs); part != "" {
		return fmt.Errorf("sim: fault %s is one of a bench with %s, which this one has not: choose another fault, rig or unit", a.Name, part)
	}
	w := b.World
	come := func() {
		w.settle(w.now)
		undo := f.set(b, a.Severity, rand.New(rand.NewPCG(a.Seed, 0x6661756c74)))
		w.changed()
		stay := a.For
		if stay == 0 && f.lasts != nil {
			stay = f.lasts(a.Severity)
		}
		if undo != nil && stay > 0 {
			w.At(w.now+stay, func() {
				w.settle(w.now)
				undo()
				w.changed()
			})
		}
	}
	if a.At <= w.now || f.always {
		come()
	} else {
		w.At(a.At, come)
	}
	return nil
}

// between is half at a severity of 0.5 and full at 1, in equal ratios.
func between(severity, half, full float64) float64 {
	return half * math.Pow(full/half, 2*severity-1)
}

// spell is a length of time: half at a severity of 0.5 and ten times as long
// just below 1, where it becomes for ever.
func spell(half time.Duration) func(float64) time.Duration {
	return func(severity float64) time.Duration {
		if severity >= 1 {
			return 0
		}
		return time.Duration(between(severity, float64(half), 10*float64(half)))
	}
}
