// Package trial tries judge and profiles on simulated units by the hundred.
//
// Whatever is judged here has gone the whole way: a unit on the simulated rig,
// a run of the kind's plan, the trace exported as CSV, and read back from
// those bytes. The judge never meets the simulator.
package trial

import (
	"bytes"
	"context"
	"fmt"
	"time"

	"dutybench/bench/judge"
	"dutybench/bench/kind"
	"dutybench/bench/kinds"
	"dutybench/bench/result"
	"dutybench/bench/rig"
	"dutybench/bench/run"
	"dutybench/bench/sim"
	"dutybench/profiles"
	"dutybench/signal/trace"
)

// Recording is one test of a simulated unit, as it is exported.
type Recording struct {
	Name string
	CSV  []byte
	Long time.Duration // how long the test lasted, in the rig's time
	Run  time.Duration // how long the run took the computer
	// Export is what writing the CSV took on top.
	Export time.Duration
	// Outcome is what the bench itself had to say of the run, its trace left out.
	Outcome run.Outcome
}

// Record puts a unit of the profile's type on a simulated bench, runs the
// whole plan of its kind, and exports the trace. A trip of the guard and a fault
// of the bench are part of a recording; an error is a test that could not be
// made.
func Record(p *profiles.Profile, s kinds.Simulated) (*Recording, error) {
	k, err := kinds.Named(p.Kind)
	if err != nil {
		return nil, fmt.Errorf("trial: %w", err)
	}
	return record(p, s, k.Plan(p), nil)
}

// RecordQuick is Record with the kind's quick plan, where it has one, ended as
// soon as enough is known: what a person gets who asks for nothing else.
func RecordQuick(p *profiles.Profile, s kinds.Simulated, c kind.Conditions) (*Recording, error) {
	k, err := kinds.Named(p.Kind)
	if err != nil {
		return nil, fmt.Errorf("trial: %w", err)
	}
	if q, ok := k.(kind.Quick); ok {
		return record(p, s, q.Quick(p), &judge.Decider{Profile: p, Kind: k, Conditions: c})
	}
	return record(p, s, k.Plan(p), nil)
}

func record(p *profiles.Profile, s kinds.Simulated, plan kind.Plan, d *judge.Decider) (*Recording, error) {
	options, err := kinds.Bench(p, s)
	if err != nil {
		return nil, fmt.Errorf("trial: %w", err)
	}
	wiring := kinds.Wiring(p, &options)
	start := time.Now()
	bench := sim.NewBench(options)
	if f := s.Perturb.Noise(); f != 1 {
		bench.INA226.Errors.Noise_V *= f
		bench.ADS1115.Errors.NoiseSteps *= f
		if bench.MCP320x != nil {
			bench.MCP320x.Errors.NoiseSteps *= f
		}
	}
	r, err := rig.New(rig.Sim, bench, wiring, rig.Options{Stands: true})
	if err != nil {
		return nil, fmt.Errorf("trial: %w", err)
	}
	defer r.Close()
	name := fmt.Sprintf("sim-%d", s.Seed)
	o := run.Options{Unit: name, Program: "simulation"}
	if d != nil {
		o.Decider = d
	}
	out, err := run.Run(context.Background(), r, plan, p, o)
	if err != nil {
		return nil, fmt.Errorf("trial: unit %s of profile %s with fault %q at %g: %w", name, p.Name, s.Fault, s.Severity, err)
	}
	rec := &Recording{Name: name, Run: time.Since(start), Outcome: *out}
	rec.Outcome.Trace = nil // the bytes hold it
	if t := out.Trace.Time(); len(t) > 0 {
		rec.Long = time.Duration(t[len(t)-1] * float64(time.Second))
	}
	start = time.Now()
	var b bytes.Buffer
	if err := trace.Write(&b, out.Trace); err != nil {
		return nil, fmt.Errorf("trial: %w", err)
	}
	rec.CSV, rec.Export = b.Bytes(), time.Since(start)
	return rec, nil
}

// Read reads the recording's trace back from its bytes.
func (r *Recording) Read() (*trace.Trace, error) {
	return trace.Read(bytes.NewReader(r.CSV), r.Name+".csv")
}

// Judge reads the recording back, holds it against a profile, and puts in what
// happened on the bench: the result that a person gets from such a run.
func (r *Recording) Judge(p *profiles.Profile, k kind.Kind, o judge.Options) (*result.Result, error) {
	tr, err := r.Read()
	if err != nil {
		return nil, fmt.Errorf("trial: %w", err)
	}
	return r.judge(tr, p, k, o)
}

// judge is Judge of the trace that Read gave.
func (r *Recording) judge(tr *trace.Trace, p *profiles.Profile, k kind.Kind, o judge.Options) (*result.Result, error) {
	res, err := judge.Judge(tr, p, k, o)
	if err != nil && r.Outcome.Ended != "" { // too little was left to judge
		merged := run.Merge(run.Unjudged(tr, p), &r.Outcome)
		return &merged, nil
	}
	if err != nil {
		return nil, fmt.Errorf("trial: %w", err)
	}
	merged := run.Merge(*res, &r.Outcome)
	return &merged, nil
}
