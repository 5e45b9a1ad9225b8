package main

import (
	"slices"

	"github.com/spf13/cobra"

	"dutybench/bench/record"
	"dutybench/bench/upkeep"
)

func newBenchStudy(a *app) *cobra.Command {
	c := &cobra.Command{
		Use:   "study",
		Short: "Find out how much the bench scatters: repeating, refilling and remounting",
		Long: `A gauge study tests several units, each mounted and the loop filled several
times, and several times in each filling. It tells how much of the scatter
comes from repeating a test, from refilling and remounting, and from the units,
and how much of the profile's limits that takes. The result goes into the
uncertainty of later tests on this rig with this profile.

  dutybench bench study plan --units A,B,C,D,E
  dutybench bench study next      (as often as it asks; it may rest for days)
  dutybench bench study result`,
	}
	group(c, a)
	c.AddCommand(newBenchStudyPlan(a), newBenchStudyNext(a), newBenchStudyResult(a))
	return c
}

// studyStore is what a study needs of a store.
type studyStore interface {
	upkeep.Source
	Folder() string
}

// followStudy finds how far the planned study is.
func (a *app) followStudy(s studyStore) (*upkeep.Progress, error) {
	p, err := upkeep.ReadPlan(s.Folder())
	if err != nil {
		return nil, err
	}
	tests, err := upkeep.Load(s, record.Filter{Purpose: upkeep.GaugeStudy})
	if err != nil {
		return nil, err
	}
	return upkeep.Follow(p, tests)
}

// mountOf finds a filling's number in the order, for simulated tests.
func mountOf(g *upkeep.Progress, label string) int {
	return slices.IndexFunc(g.Mounts, func(m upkeep.Mount) bool { return m.Label == label }) + 1
}
