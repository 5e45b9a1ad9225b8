package trial

import (
	"context"
	"fmt"
	"math"
	"time"

	"dutybench/bench/kinds"
	"dutybench/bench/learn"
	"dutybench/profiles"
	"dutybench/signal/trace"
)

const (
	// BuiltinUnits is how many simulated good units stand in a built-in.
	BuiltinUnits = 60
	// BuiltinSeed begins the seeds of those units; trials draw from elsewhere.
	BuiltinSeed = 900_001
	// builtinDigits is to how many digits the rows are written: a step of the
	// rig's current converter is a thousandth of what a small pump draws.
	builtinDigits = 5
)

// Bare is a built-in profile without what was learned: what the maker of the
// invented type would have stated.
func Bare(name string) (*profiles.Profile, error) {
	p, err := profiles.Load(name, kinds.Section)
	if err != nil {
		return nil, fmt.Errorf("trial: %w", err)
	}
	p.Good, p.Grid, p.Learned = nil, nil, profiles.Learned{}
	return p, nil
}

// Learned is a built-in profile learned anew from simulated good units.
func Learned(name string) (*profiles.Profile, error) {
	bare, err := Bare(name)
	if err != nil {
		return nil, err
	}
	p, err := LearnSimulated(bare, BuiltinUnits, BuiltinSeed, kinds.Perturbation{})
	if err != nil {
		return nil, err
	}
	p.Notes = bare.Notes // learning adds whose command was taken over: its own
	for i := range p.Good {
		g := &p.Good[i]
		roundAll(g.Up)
		roundAll(g.Down)
		for j := range g.Values {
			g.Values[j].X = rounded(g.Values[j].X)
		}
	}
	return p, nil
}

// LearnSimulated is the profile of a bare one's type learned from so many
// simulated good units, with seeds from first on. Where a perturbation makes
// good units start later, the maker of the type would say so: the time allowed
// for a start grows with it.
func LearnSimulated(bare *profiles.Profile, units int, first uint64, perturb kinds.Perturbation) (*profiles.Profile, error) {
	k, err := kinds.Named(bare.Kind)
	if err != nil {
		return nil, fmt.Errorf("trial: %w", err)
	}
	like := *bare
	if perturb.Factor > 1 && kinds.Slows(bare.Kind, perturb.Group) {
		like.Limits.StartTimeout = time.Duration(float64(like.Limits.StartTimeout) * perturb.Factor)
	}
	traces := make([]*trace.Trace, units)
	err = parallel(context.Background(), 0, len(traces), func(i int) error {
		rec, err := Record(&like, kinds.Simulated{Seed: first + uint64(i), Perturb: perturb})
		if err != nil {
			return err
		}
		traces[i], err = rec.Read()
		return err
	})
	if err != nil {
		return nil, err
	}
	p, report, err := learn.Learn(traces, k, learn.Options{Name: bare.Name, Revision: bare.Revision,
		Program: "dutybench, simulated units on the simulated rig", Like: &like})
	if err != nil {
		return nil, fmt.Errorf("trial: %w", err)
	}
	if len(report.LeftOut) > 0 {
		return nil, fmt.Errorf("trial: profile %s: a good unit was left out: %s", bare.Name, report.LeftOut[0])
	}
	return p, nil
}

func roundAll(xs []float64) {
	for i, x := range xs {
		xs[i] = rounded(x)
	}
}

// rounded keeps builtinDigits digits, and nothing finer than a millionth.
func rounded(x float64) float64 {
	if math.IsNaN(x) || math.Abs(x) < 1e-6 {
		return x * 0
	}
	f := math.Pow(10, min(6, float64(builtinDigits-1)-math.Floor(math.Log10(math.Abs(x)))))
	return math.Round(x*f) / f
}
