// Package run carries out a plan on a rig, into a trace.
//
// The supply is off before the first step and after the last, and goes off
// first whenever anything fails. It is first switched on with the stop command
// already on the line and the capture running, because a sticky first start
// happens only once. What stands in the trace is what was measured, less the
// zero that the current shows with the supply off.
package run

import (
	"context"
	"errors"
	"fmt"
	"math"
	"time"

	"dutybench/bench/guard"
	"dutybench/bench/kind"
	"dutybench/bench/result"
	"dutybench/bench/rig"
	"dutybench/profiles"
	"dutybench/signal/stat"
	"dutybench/signal/trace"
)

// Decider may end a test early.
type Decider interface {
	// GoOn is asked before every step that asks for it, with the trace so far,
	// which it must not change. It is asked on a goroutine of its own, one
	// question at a time, while the next step runs: a bench that keeps real
	// time loses no sample over it. On one whose time stands still between
	// samples the answer is waited for, so that a test repeats exactly.
	GoOn(partial *trace.Trace, next kind.Step) bool
}

// Progress is where a test stands.
type Progress struct {
	Step      string
	Index, Of int     // Index from 1
	Duty_pct  float64 // the command
	Current_A float64 // mean since the last call
	Supply_V  float64 // the last one sampled; NaN before the first
	// Tells says that the unit tells its position, of which Position_pct is the
	// last that was read; NaN before the first.
	Tells        bool
	Position_pct float64
	Elapsed      time.Duration
	// Expected is the length of the test when every step from here on runs
	// to its limit.
	Expected time.Duration
}

// Options of a run; the zero value will do.
type Options struct {
	Unit    string // serial, for the trace
	Program string // name and version, for the trace
	// Circumstances go into the trace's comments as they are: date, part
	// revision, filling, fluid, fixture, rest.
	Circumstances []trace.Entry
	// Dry says that the unit runs without water: the guard keeps the
	// profile's dry-run limit.
	Dry bool
	// NotBefore is the rig time before which the supply stays off: the end of
	// the unit's last test and the profile's rest.
	NotBefore time.Duration
	Decider   Decider        // nil: the plan is carried out whole
	Progress  func(Progress) // at most ten times a second of rig time
	// Pace is told the rig time that has passed, some fifty times a second of
	// it, and may wait, so that a simulated rig is seen in real time. Nil on
	// a rig that keeps real time.
	Pace func(elapsed time.Duration)
	// Salvage gets what there is when the run panics, after the supply has
	// been cut; the panic goes on when it returns.
	Salvage func(*Outcome)
	// Sink gets the rows of the trace as they are measured, about once a
	// second of rig time, on the goroutine that samples: it must hand them on
	// and return at once. Nil: nobody wants them.
	Sink func(Rows)
}

// Outcome is what a run gives.
type Outcome struct {
	Trace *trace.Trace
	// Trip is why the guard cut the supply; nil when it did not.
	Trip *guard.Trip
	// Ended says in a sentence why the test ended before its plan did; empty
	// when the plan was carried out.
	Ended string
	// Enough says before which step enough was known, when a Decider ended
	// the test; empty otherwise.
	Enough string
	// Began is the rig time of the trace's zero.
	Began time.Duration
	// Facts say what rig it was.
	Facts []rig.Fact
	// Zero is what the current showed with the supply off, in A; it has been
	// taken from every sample.
	Zero stat.Quantity
	// Faults are faults of the bench that showed; the test then ended early.
	Faults []Fault
	// Doubts are what showed on the bench that may make a good unit look bad;
	// the test went on.
	Doubts   []Fault
	Warnings []string
	// Checks are those of bench, plug and wires before the test.
	Checks []result.Check
	// Unbegun says that the pre-test ended the test: the trace then holds what
	// it sampled, and nothing of the plan.
	Unbegun bool
	Off     Off
	// LastOff is the rig time at which the supply last went off, for the rest
	// that the unit needs.
	LastOff time.Duration
}

// Fault is a fault of the bench or its wiring.
type Fault struct {
	Cause    result.Cause // result.Wiring or result.Bench
	Sentence string
	Next     string
	// Or are causes that show the same here; Apart is what would tell them
	// apart, a clause.
	Or    []result.Cause
	Apart string
}

// Off is what shows that the supply is off at the end.
type Off struct {
	At        time.Duration // since the start of the trace
	Verified  bool          // the current was measured and is nought
	Current_A float64       // NaN when it could not be measured
}

// Run carries out a plan. A guard's trip and a fault of the bench are in the
// outcome and no errors. An error is a request that cannot be carried out
// (the outcome is nil then), a rig that fails, or the context's end; the
// outcome then holds the trace so far. On every way out the supply is off.
func Run(ctx context.Context, r *rig.Rig, plan kind.Plan, p *profiles.Profile, o Options) (*Outcome, error) {
	plan, err := check(r, plan, p)
	if err != nil {
		return nil, err
	}
	x := newRunner(r, plan, p, o)
	if err := x.profileLimits().Check(); err != nil {
		return nil, fmt.Errorf("run: %w", err)
	}
	if x.guard, err = guard.New(r.Switch, r.Clock, x.commander.release, x.limits()); err != nil {
		return nil, fmt.Errorf("run: %w", err)
	}
	done := false
	defer func() {
		if done {
			return
		}
		// A panic is on its way: supply off first. It goes on after this.
		x.guard.Trip(&guard.Trip{Rule: guard.Panicked, Met: r.Clock.Now(),
			Reason: "The program failed during the test.",
			Next:   "Keep the message and report it; the trace so far is kept."})
		if o.Salvage != nil {
			o.Salvage(x.outcome())
		}
	}()
	err = x.run(ctx)
	done = true
	return x.outcome(), err
}

// check refuses what cannot be carried out, and gives the plan with a zero
// before it when it has none.
func check(r *rig.Rig, plan kind.Plan, p *profiles.Profile) (kind.Plan, error) {
	switch {
	case r == nil || r.Clock == nil || r.Switch == nil || r.Line == nil || r.Sampler == nil:
		return plan, errors.New("run: the rig is not whole: it needs a clock, a supply switch, a line and a sampler")
	case p == nil:
		return plan, errors.New("run: there is no profile, so nobody knows what the unit can bear; choose one")
	case p.Command.Type != profiles.Signal && p.Command.Type != profiles.Switched:
		return plan, fmt.Errorf("run: profile %q is commanded by %q; this bench commands by pwm, or switches the unit itself", p.Name, p.Command.Type)
	case p.Command.Type == profiles.Switched && r.Load == nil:
		return plan, fmt.Errorf("run: profile %q is for a unit that the bench switches itself, and rig %s has no load switch: fit one and state it as [load] in the rig file", p.Name, r.Name)
	case p.Command.Type == profiles.Switched && !safeToSwitch(r.Load):
		return plan, fmt.Errorf("run: rig %s neither has the current that recirculates in its readings nor reads the wire between unit and load switch, so nobody would see a missing free-wheel path: lay the shunt into the loop of unit and diode (seen), or have that wire read (level), and state it in [load] of the rig file", r.Name)
	case p.Position.By != "" && !r.Position:
		return plan, fmt.Errorf("run: a unit of profile %q tells its position, and rig %s does not read it: wire its output to an input and state it as [position] in the rig file", p.Name, r.Name)
	case len(plan.Steps) == 0:
		return plan, fmt.Errorf("run: the plan for profile %q has no steps", p.Name)
	}
	if err := Bears(r.Name, r.Limits, p); err != nil {
		return plan, fmt.Errorf("run: %w", err)
	}
	if most, is := mostBlind(p), r.Sampler.Interval(); p.Command.Type == profiles.Switched && r.Load.FreeWheel != rig.FreeWheelNone && is > most {
		return plan, fmt.Errorf("run: rig %s reads the current every %v, too seldom to look at the free-wheel path of a unit of up to %g A at %g V: between two readings a coil could store more than the %g J that are harmless without a path; raise the rate of the current's converter to %.3g kHz at least, or use a faster rig", r.Name, is, p.Limits.Peak_A, p.Supply.High_V, harmless_J, math.Ceil(0.1/most.Seconds())/100)
	}
	powered := false
	for i, s := range plan.Steps {
		switch {
		case s.Max <= 0 || s.Min < 0 || s.Min > s.Max || s.Max > longest:
			return plan, fmt.Errorf("run: step %d (%s) of the plan lasts from %v to %v; a step lasts from 0 to at most %v", i+1, s.Name, s.Min, s.Max, longest)
		case !(s.Command_pct >= 0 && s.Command_pct <= 100):
			return plan, fmt.Errorf("run: step %d (%s) of the plan commands %g %%; a command lies from 0 to 100 %%", i+1, s.Name, s.Command_pct)
		case !(s.Good >= 0) || math.IsInf(s.Good, 0):
			return plan, fmt.Errorf("run: step %d (%s) of the plan is good at %g; that must be a share above 0, or 0", i+1, s.Name, s.Good)
		case s.Supply && !powered && (s.Line != kind.Command || s.Command_pct > p.Command.Stop_pct):
			return plan, fmt.Errorf("run: step %d (%s) of the plan is the first with supply and must give the stop command of %g %%", i+1, s.Name, p.Command.Stop_pct)
		}
		powered = powered || s.Supply
	}
	if plan.Steps[0].Supply {
		zero := kind.Step{Name: "zero", Command_pct: p.Command.Stop_pct, Min: zeroTime, Max: zeroTime}
		plan.Steps = append([]kind.Step{zero}, plan.Steps...)
	}
	return plan, nil
}
