package trial

import (
	"cmp"
	"fmt"
	"runtime"
	"slices"
	"time"

	"dutybench/bench/judge"
	"dutybench/bench/kind"
	"dutybench/bench/kinds"
	"dutybench/bench/result"
	simpump "dutybench/bench/sim/pump"
	"dutybench/profiles"
)

// Study is a campaign: sizes × faults × severities × units, and good units.
type Study struct {
	Profiles   []*profiles.Profile // one a size; each with its good units
	Faults     []string            // by name
	Severities []float64
	Units      int    // of each size, fault and severity
	Good       int    // good units of each size
	Seed       uint64 // every trial draws its unit and its bench from here
	Workers    int    // 0: one a core
	Conditions kind.Conditions
}

// Trial is one unit, tested and judged.
type Trial struct {
	Profile string
	kinds.Simulated
	Result *result.Result
	Ended  string
	Long   time.Duration // of the test, in the rig's time
	Run    time.Duration // what the run alone took the computer
	Took   time.Duration // with export, reading back and judging
}

// Run carries out the study. The same study gives the same trials, times but
// for what they took, whatever the number of workers.
func (s Study) Run() (*Table, error) {
	var trials []Trial
	for _, p := range s.Profiles {
		add := func(fault string, severity float64, n int) {
			for range n {
				seed := s.Seed<<32 + uint64(len(trials))
				trials = append(trials, Trial{Profile: p.Name, Simulated: kinds.Simulated{Seed: seed, Fault: fault, Severity: severity}})
			}
		}
		add("", 0, s.Good)
		for _, f := range s.Faults {
			for _, v := range s.Severities {
				add(f, v, s.Units)
			}
		}
	}
	start := time.Now()
	err := parallel(s.Workers, len(trials), func(i int) error { return s.try(&trials[i]) })
	if err != nil {
		return nil, err
	}
	return &Table{Trials: trials, Took: time.Since(start), Workers: cmp.Or(s.Workers, runtime.GOMAXPROCS(0))}, nil
}

// try carries out one trial.
func (s Study) try(t *Trial) error {
	i := slices.IndexFunc(s.Profiles, func(p *profiles.Profile) bool { return p.Name == t.Profile })
	p := s.Profiles[i]
	k, err := kinds.Named(p.Kind)
	if err != nil {
		return fmt.Errorf("trial: %w", err)
	}
	start := time.Now()
	rec, err := Record(p, t.Simulated)
	if err != nil {
		return err
	}
	if t.Result, err = rec.Judge(p, k, judge.Options{Conditions: s.Conditions}); err != nil {
		return err
	}
	t.Took, t.Run, t.Long, t.Ended = time.Since(start), rec.Run, rec.Long, t.Result.Ended
	return nil
}

// Score is what became of one trial.
type Score int

// The scores. Of a faulty unit that did not pass, Right names the fault's own
// side first; Named names a set of causes in which it is, with none but the
// sides of the faults that the list says cannot always be told from it; Wrong
// is any other.
const (
	Passed Score = iota
	Right
	Named
	Wrong
)

// Score tells what became of the trial; a good unit has passed or is Wrong.
func (t *Trial) Score() Score {
	r := t.Result
	if r.Verdict == result.Pass {
		return Passed
	}
	if t.Fault == "" {
		return Wrong
	}
	set := alike(t.Fault)
	if r.Cause != nil && *r.Cause == set[0] {
		return Right
	}
	if len(set) > 1 && slices.Contains(r.Inseparable, set[0]) &&
		!slices.ContainsFunc(r.Inseparable, func(c result.Cause) bool { return !slices.Contains(set, c) }) {
		return Named
	}
	return Wrong
}

const wireBroken = "broken signal wire"

// alike is the side of a fault, and then those of the faults from which the
// list says it cannot always be told.
func alike(fault string) []result.Cause {
	side := map[string]result.Cause{}
	var names []string
	for _, f := range simpump.Faults() {
		side[f.Name] = result.Cause(f.Side)
		if f.Name == fault {
			names = append([]string{fault}, f.Inseparable...)
		}
	}
	if fault == "command-lost-full" || fault == "command-lost-off" {
		// A deaf board whose pull-up is gone too shows the levels of a broken
		// signal wire, which is no fault of a unit and so not in the list.
		names = append(names, wireBroken)
		side[wireBroken] = result.Wiring
	}
	var out []result.Cause
	for _, n := range names {
		if !slices.Contains(out, side[n]) {
			out = append(out, side[n])
		}
	}
	return out
}

// Stray says that the trial is undecided although neither the rules nor a
// listed set ask for it: wiring and bench are never called failed, nor is the
// hydraulic side without the operator's word, so there undecided with the
// right cause is the right answer.
func (t *Trial) Stray() bool {
	if t.Result.Verdict != result.Undecided {
		return false
	}
	switch t.Score() {
	case Named:
		return false
	case Right:
		switch alike(t.Fault)[0] {
		case result.Wiring, result.Bench, result.Hydraulic:
			return false
		}
		r := t.Result
		set := alike(t.Fault)
		return len(r.Inseparable) == 0 || len(set) == 1 ||
			slices.ContainsFunc(r.Inseparable, func(c result.Cause) bool { return !slices.Contains(set, c) })
	}
	return true
}

// Odd says that somebody should look at the trial: a good unit refused, a
// faulty one passed or blamed on another side, or a stray.
func (t *Trial) Odd() bool {
	s := t.Score()
	return t.Stray() || s == Wrong || s == Passed && t.Fault != ""
}
