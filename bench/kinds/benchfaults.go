package kinds

import (
	"math/rand/v2"
	"slices"
	"time"

	"dutybench/bench/sim"
)

// BenchFaults lists the faults of the simulated bench itself, whatever unit is
// in its socket.
func BenchFaults() []Fault {
	var out []Fault
	for _, f := range sim.BenchFaults() {
		out = append(out, fromBench(f))
	}
	return out
}

// fromBench is a fault of the bench in the words of this list.
func fromBench(f sim.BenchFault) Fault {
	return Fault{Name: f.Name, Side: f.Side, Line: f.Line, Half: f.Half, Full: f.Full}
}

// IsBenchFault says that a name is that of a fault of the bench.
func IsBenchFault(name string) bool {
	return slices.ContainsFunc(BenchFaults(), func(f Fault) bool { return f.Name == name })
}

// A fault of the bench that a person asks for by name comes somewhere in the
// first quarter of a minute, where all that a quick test does lies (chosen);
// one in four is there from the beginning.
const (
	earliest = 100 * time.Millisecond // the rig is open by then
	latest   = 15 * time.Second
)

// armed is a named fault of the bench at a time that the seed draws.
func armed(name string, severity float64, seed uint64) sim.Armed {
	rng := rand.New(rand.NewPCG(seed, 0x6f6666))
	at := earliest
	if rng.IntN(4) > 0 {
		at += time.Duration(rng.Float64() * float64(latest-earliest))
	}
	return sim.Armed{Name: name, At: at, Severity: severity, Seed: seed}
}
