package kinds

import (
	"math/rand/v2"
	"slices"
	"time"

	"dutybench/bench/kind"
	"dutybench/bench/sim"
	"dutybench/profiles"
)

// BenchFaults lists the faults of the usual simulated bench itself, as it is for a
// unit with a board of its own.
func BenchFaults() []Fault { return fromBenches(sim.BenchFaults()) }

// BenchFaultsFor lists the faults of the simulated bench that a profile's unit
// gets: of its converters, and of what that unit needs of it.
func BenchFaultsFor(p *profiles.Profile) []Fault {
	var parts []string
	if !fast(p) {
		parts = append(parts, sim.NeedsI2C)
	}
	if p.Command.Type == profiles.Switched {
		parts = append(parts, sim.NeedsLoad)
	}
	if p.Position.By != "" {
		parts = append(parts, sim.NeedsPosition)
	}
	return fromBenches(sim.BenchFaultsOf(parts...))
}

func fromBenches(list []sim.BenchFault) (out []Fault) {
	for _, f := range list {
		out = append(out, fromBench(f))
	}
	return out
}

// fromBench is a fault of the bench in the words of this list.
func fromBench(f sim.BenchFault) Fault {
	return Fault{Name: f.Name, Side: f.Side, Line: f.Line, Half: f.Half, Full: f.Full}
}

// IsBenchFault says that a name is that of a fault of any simulated bench.
func IsBenchFault(name string) bool {
	return slices.ContainsFunc(allBenchFaults(), func(f sim.BenchFault) bool { return f.Name == name })
}

func allBenchFaults() []sim.BenchFault {
	return sim.BenchFaultsOf(sim.NeedsI2C, sim.NeedsLoad, sim.NeedsPosition)
}

// BenchFault finds a fault of any simulated bench.
func BenchFault(name string) (Fault, bool) {
	all := allBenchFaults()
	i := slices.IndexFunc(all, func(f sim.BenchFault) bool { return f.Name == name })
	if i < 0 {
		return Fault{}, false
	}
	return fromBench(all[i]), true
}

// A fault of the bench that a person asks for by name comes somewhere in the
// first quarter of a minute of a test, or in all of a shorter one (chosen); one in
// four is there from the beginning.
const (
	earliest = 100 * time.Millisecond // the rig is open by then
	latest   = 15 * time.Second
)

// armed is a named fault of the bench at a time that the seed draws.
func armed(name string, severity float64, seed uint64, test time.Duration) sim.Armed {
	rng := rand.New(rand.NewPCG(seed, 0x6f6666))
	at := earliest
	if rng.IntN(4) > 0 {
		at += time.Duration(rng.Float64() * float64(max(0, min(latest, test)-earliest)))
	}
	return sim.Armed{Name: name, At: at, Severity: severity, Seed: seed}
}

// quickest is the longest that a test of a profile's unit lasts before it may be
// called enough for a pass, by the quick plan of its kind where it has one.
func quickest(k kind.Kind, p *profiles.Profile) (d time.Duration) {
	plan := k.Plan(p)
	if q, ok := k.(kind.Quick); ok {
		plan = q.Quick(p)
	}
	for _, s := range plan.Steps {
		if s.Suffices {
			break
		}
		d += s.Max
	}
	return d
}
