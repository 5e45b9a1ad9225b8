package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"dutybench/bench/plot"
	"dutybench/bench/rig"
	"dutybench/bench/upkeep"
)

func newBenchStudyPlan(a *app) *cobra.Command {
	var p upkeep.Plan
	var units string
	var anew bool
	c := &cobra.Command{
		Use:   "plan",
		Short: "Plan a gauge study, and show its order",
		Args:  cobra.NoArgs,
		Example: `  dutybench bench study plan --units A,B,C,D,E --fillings 3 --repeats 3
  dutybench bench study plan`,
		RunE: a.do(func(c *cobra.Command, _ []string) error { return a.planStudy(p, units, anew) }),
	}
	fl := c.Flags()
	fl.StringVar(&units, "units", "", "`SERIALS` of the units, with commas between; without it the plan that there is is shown")
	fl.IntVar(&p.Fillings, "fillings", 3, "`N` times each unit is mounted and the loop filled")
	fl.IntVar(&p.Repeats, "repeats", 2, "`N` tests in each filling")
	fl.Uint64Var(&p.Seed, "seed", 1, "`N` draws the order, and the simulated bench")
	fl.StringVar(&p.Rig, "rig", rig.Sim, "`RIG`: a rig file, or sim for the built-in simulated rig")
	fl.StringVar(&p.Profile, "profile", defaultProfile, "`PROFILE` that the units are judged against, by name or file")
	fl.StringVar(&p.Name, "name", "", "`NAME` of the study (default: its date)")
	fl.BoolVar(&anew, "anew", false, "put this plan in the place of one that is not finished")
	return c
}

// planStudy is the whole of `bench study plan`.
func (a *app) planStudy(p upkeep.Plan, units string, anew bool) error {
	s, err := a.ownStore()
	if err != nil {
		return err
	}
	defer a.close(s)
	if units == "" {
		g, err := a.followStudy(s)
		if err != nil {
			return err
		}
		return a.tellPlan(g)
	}
	for u := range strings.SplitSeq(units, ",") {
		u = strings.TrimSpace(u)
		if err := cleanSerial(u); err != nil {
			return usage("--units: %q: %v", u, err)
		}
		p.Units = append(p.Units, u)
	}
	if _, _, err := loadProfile(p.Profile); err != nil {
		return err
	}
	if _, err := readRig(p.Rig); err != nil {
		return err
	}
	p.Made = a.now().UTC()
	if p.Name == "" {
		p.Name = a.now().Format("2006-01-02 15:04:05")
	}
	if err := cleanSerial(p.Name); err != nil || strings.Contains(p.Name, ", filling ") {
		return usage("--name %q: give a short name of letters, figures and signs", p.Name)
	}
	if g, err := a.followStudy(s); err == nil && !anew {
		if _, _, left := g.Next(); left && g.Made() > 0 {
			return usage("study %s is under way: %d of %d tests are done. Go on with bench study next, or give it up with --anew (its records stay)", g.Plan.Name, g.Made(), g.Plan.Tests())
		}
	}
	if err := p.Check(); err != nil {
		return usage("%v", err)
	}
	if err := upkeep.WritePlan(s.Folder(), p); err != nil {
		return err
	}
	g, err := upkeep.Follow(p, nil)
	if err != nil {
		return err
	}
	return a.tellPlan(g)
}

// tellPlan shows the order of a study and what is done.
func (a *app) tellPlan(g *upkeep.Progress) error {
	var b strings.Builder
	p := &g.Plan
	fmt.Fprintf(&b, "Study %s: %d units, %d fillings each, %d tests a filling, on rig %s with profile %s.\n%d of %d tests are done.\n\n",
		plot.Plain(p.Name), len(p.Units), p.Fillings, p.Repeats, plot.Plain(p.Rig), plot.Plain(p.Profile), g.Made(), p.Tests())
	for i, m := range g.Mounts {
		mark := ""
		if n := len(g.Done[i]); n == p.Repeats {
			mark = "done"
		} else if n > 0 {
			mark = fmt.Sprintf("%d of %d tests", n, p.Repeats)
		}
		fmt.Fprintf(&b, "%s\n", strings.TrimRight(fmt.Sprintf("filling %2d  unit %-16s %s", m.Number, plot.Plain(m.Unit), mark), " "))
	}
	if g.Extra > 0 {
		fmt.Fprintf(&b, "\n%d tests of this study do not count: more than planned, or rig file, calibration or profile were changed.\n", g.Extra)
	}
	if _, _, ok := g.Next(); ok {
		fmt.Fprintf(&b, "\nGo on with %s.\n", a.command("bench study next"))
	} else {
		fmt.Fprintf(&b, "\nAll tests are done: %s.\n", a.command("bench study result"))
	}
	if _, err := a.stdout.Write([]byte(b.String())); err != nil {
		return fmt.Errorf("writing the plan: %w", err)
	}
	return nil
}
