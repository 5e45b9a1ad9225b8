package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"dutybench/bench/kind"
	"dutybench/bench/plot"
	"dutybench/bench/rig"
	"dutybench/bench/upkeep"
)

// nextFlags are those of the next test of a study.
type nextFlags struct {
	runFlags
	all, yes bool
}

func newBenchStudyNext(a *app) *cobra.Command {
	var f nextFlags
	c := &cobra.Command{
		Use:   "next",
		Short: "Do the next test of the study: says what to mount, and runs it",
		Long: `Next says which unit to mount and whether to fill the loop, waits for Enter, and
runs the test. A filling that is tested again is left as it is. Whatever was
interrupted is simply done again: what counts are the records.`,
		Args: cobra.NoArgs,
		RunE: a.do(func(c *cobra.Command, _ []string) error {
			return a.nextTests(c.Context(), f)
		}),
	}
	f.addBench(c)
	_ = c.Flags().MarkHidden("rig") // the plan names it
	fl := c.Flags()
	fl.BoolVar(&f.all, "all", false, "go on until the study is done; a simulated one asks nothing")
	fl.BoolVar(&f.yes, "yes", false, "your word, without being asked, that the unit named is mounted and the loop primed, bled and open")
	fl.BoolVar(&f.ascii, "ascii", false, "plain letters and signs only")
	return c
}

// errStudyStopped is a person who stops at a question.
var errStudyStopped = errors.New("stopped; nothing was switched on. Go on with dutybench bench study next")

// nextTests is the whole of `bench study next`.
func (a *app) nextTests(ctx context.Context, f nextFlags) error {
	for {
		more, err := a.nextTest(ctx, f)
		if err != nil || !more || !f.all {
			return err
		}
	}
}

// nextTest does one test; more says that another follows.
func (a *app) nextTest(ctx context.Context, f nextFlags) (more bool, err error) {
	g, err := a.standOfStudy()
	if err != nil {
		return false, err
	}
	m, repeat, ok := g.Next()
	if !ok {
		fmt.Fprintf(a.stdout, "All tests of the study are done: %s.\n", a.command("bench study result"))
		return false, nil
	}
	p := &g.Plan
	f.rig, f.profile, f.seed = p.Rig, p.Profile, p.Seed
	_, k, err := loadProfile(p.Profile)
	if err != nil {
		return false, err
	}
	wet := kind.Wet(k)
	f.unit, f.filling, f.role, f.full, f.pace, f.primed = m.Unit, m.Label, upkeep.GaugeStudy, true, "fast", wet
	simulated := f.rig == rig.Sim || f.simulate
	fmt.Fprintf(a.stdout, "Test %d of %d. %s\n", g.Made()+1, p.Tests(), whatToDo(m, repeat, p, wet))
	if !simulated && !f.yes {
		if err := a.ready(); err != nil {
			return false, err
		}
	}
	if simulated {
		f.unitSeed, f.fillingSeed = simulatedUnit(m.Unit), uint64(mountOf(g, m.Label))
		f.again = uint64(m.Number*p.Repeats + repeat)
	}
	in, status, err := a.runOnce(ctx, f.runFlags)
	if r := in.Result; err != nil || r.Schema == 0 || r.Error != "" {
		a.status = status
		return false, err
	}
	fmt.Fprintf(a.stdout, "Unit %s: %s, record %s.\n", plot.Plain(m.Unit), in.Result.Verdict, in.Result.Record)
	if g.Made()+1 == p.Tests() {
		fmt.Fprintf(a.stdout, "That was the last test: %s.\n", a.command("bench study result"))
		return false, nil
	}
	return true, nil
}

// standOfStudy reads how far the study is.
func (a *app) standOfStudy() (*upkeep.Progress, error) {
	s, err := a.ownStore()
	if err != nil {
		return nil, err
	}
	defer a.close(s)
	return a.followStudy(s)
}

// whatToDo says what the person does before a test.
func whatToDo(m upkeep.Mount, repeat int, p *upkeep.Plan, wet bool) string {
	switch {
	case repeat > 1 && !wet:
		return fmt.Sprintf("Unit %s stays as it is: touch neither unit nor plug (test %d of %d in this mounting).", plot.Plain(m.Unit), repeat, p.Repeats)
	case !wet:
		return fmt.Sprintf("Take off what is mounted, also if it is the same unit; mount unit %s and plug it in (mounting %d of %d).", plot.Plain(m.Unit), m.Number, len(p.Units)*p.Fillings)
	case repeat > 1:
		return fmt.Sprintf("Unit %s stays as it is: touch neither unit, plug nor loop (test %d of %d in this filling).", plot.Plain(m.Unit), repeat, p.Repeats)
	}
	return fmt.Sprintf("Drain the loop, take off what is mounted, also if it is the same unit; mount unit %s, plug it in, fill and bleed the loop (filling %d of %d).", plot.Plain(m.Unit), m.Number, len(p.Units)*p.Fillings)
}

// ready waits for Enter. It reads byte by byte, as the test may ask too.
func (a *app) ready() error {
	fmt.Fprint(a.stdout, "Enter when it is so, q to stop: ")
	var line strings.Builder
	for b := make([]byte, 1); ; {
		n, err := a.stdin.Read(b)
		if n == 1 && b[0] == '\n' {
			break
		}
		if n == 1 && line.Len() < 100 {
			line.WriteByte(b[0])
		}
		if errors.Is(err, io.EOF) {
			return errStudyStopped
		}
		if err != nil {
			return fmt.Errorf("reading the answer: %w", err)
		}
	}
	if strings.TrimSpace(line.String()) != "" {
		return errStudyStopped
	}
	return nil
}
