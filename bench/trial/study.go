package trial

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"runtime"
	"slices"
	"sync"
	"time"

	"dutybench/bench/judge"
	"dutybench/bench/kind"
	"dutybench/bench/kinds"
	"dutybench/bench/result"
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
	// Whole carries out the whole plan of every test; without it a test ends
	// when enough is known, as a person's does who asks for nothing else.
	Whole bool
	// Perturb changes the simulator's own constants in every unit, good or
	// faulty. Only a profile learned from such units fits them.
	Perturb kinds.Perturbation
	// Progress is called after every trial, one call at a time.
	Progress func(done, of int)
}

// Trial is one unit, tested and judged.
type Trial struct {
	Profile string
	kinds.Simulated
	Result *result.Result
	// Full_A is the mean current of the last second at full command, as a
	// meter would show it; NaN when the test did not get there.
	Full_A float64
	Ended  string
	Long   time.Duration // of the test, in the rig's time
	Run    time.Duration // what the run alone took the computer
	Took   time.Duration // with export, reading back and judging
}

// planned are the trials of the study, in their order. The seed of each
// follows from its place.
func (s Study) planned() (trials []Trial, order []int) {
	var due []float64 // how far into the study each trial's turn comes
	for _, p := range s.Profiles {
		add := func(fault string, severity float64, n int) {
			for k := range n {
				seed := s.Seed<<32 + uint64(len(trials))
				due = append(due, (float64(k)+0.5)/float64(n))
				order = append(order, len(trials))
				trials = append(trials, Trial{Profile: p.Name,
					Simulated: kinds.Simulated{Seed: seed, Fault: fault, Severity: severity, Perturb: s.Perturb}})
			}
		}
		add("", 0, s.Good)
		for _, f := range s.Faults {
			for _, v := range s.Severities {
				add(f, v, s.Units)
			}
		}
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(due[a], due[b]) })
	return trials, order
}

// Trials is how many the study would carry out.
func (s Study) Trials() int {
	return len(s.Profiles) * (s.Good + len(s.Faults)*len(s.Severities)*s.Units)
}

// Run carries out the study. The same study gives the same trials, times but
// for what they took, whatever the number of workers. All groups advance
// together, so that a study that ctx ends holds some of each: then the table
// has the trials that were done, and the error is that of ctx.
func (s Study) Run(ctx context.Context) (*Table, error) {
	trials, order := s.planned()
	table := &Table{Planned: len(trials), Seed: s.Seed, Workers: cmp.Or(s.Workers, runtime.GOMAXPROCS(0))}
	start := time.Now()
	var mu sync.Mutex
	done := 0
	err := parallel(ctx, s.Workers, len(trials), func(i int) error {
		if err := s.try(&trials[order[i]]); err != nil {
			return err
		}
		mu.Lock()
		defer mu.Unlock()
		if done++; s.Progress != nil {
			s.Progress(done, len(trials))
		}
		return nil
	})
	if err != nil && !errors.Is(err, context.Canceled) && !errors.Is(err, context.DeadlineExceeded) {
		return nil, err
	}
	table.Trials = slices.DeleteFunc(trials, func(t Trial) bool { return t.Result == nil })
	table.Took = time.Since(start)
	return table, err
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
	var rec *Recording
	if s.Whole {
		rec, err = Record(p, t.Simulated)
	} else {
		rec, err = RecordQuick(p, t.Simulated, s.Conditions)
	}
	if err != nil {
		return err
	}
	tr, err := rec.Read()
	if err != nil {
		return fmt.Errorf("trial: %w", err)
	}
	r, err := rec.judge(tr, p, k, judge.Options{Conditions: s.Conditions})
	if err != nil {
		return err
	}
	t.Full_A = fullCurrent(tr, p.Command.Full_pct)
	t.Took, t.Run, t.Long, t.Ended = time.Since(start), rec.Run, rec.Long, r.Ended
	t.Result = r
	return nil
}
