package main

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"dutybench/bench/plot"
	"dutybench/bench/record"
	"dutybench/bench/record/store"
	"dutybench/bench/result"
	"dutybench/bench/rig"
	"dutybench/bench/upkeep"
)

// benchCheckFlags are those of a check of the bench.
type benchCheckFlags struct {
	runFlags
	baseline int
	newUnit  bool // the person's word that it is another check unit than the last
}

func newBenchCheck(a *app) *cobra.Command {
	var f benchCheckFlags
	c := &cobra.Command{
		Use:   "check",
		Short: "Test today's check unit, and say whether the bench is in control",
		Long: `Check tests the check unit with the whole plan and keeps the test as a record
for that purpose. Then it says whether the bench is in control.

Choose a good unit that stays at the bench and is used for nothing else. Mount
and bleed it each working day as any unit, before the first core. The first
tests set the limits; dutybench bench chart shows them. Another serial than that
of the last check is refused without --new-unit: it has no limits of its own yet,
and would hide what the last one said of the bench.

Exit status: 0 in control, or no limits yet; 5 out of control; 1 error.`,
		Example: `  dutybench bench check --unit CHECK-1 --primed
  dutybench bench check`,
		Args: cobra.NoArgs,
		RunE: a.do(func(c *cobra.Command, _ []string) error {
			return a.checkBench(c.Context(), f, c.Flags().Changed("profile"))
		}),
	}
	fl := c.Flags()
	fl.StringVar(&f.unit, "unit", "", "`SERIAL` of the check unit (default: that of the last check)")
	fl.BoolVar(&f.newUnit, "new-unit", false, "your word that --unit is meant to be another check unit than the last one")
	fl.StringVar(&f.profile, "profile", defaultProfile, "`PROFILE` of the check unit (default: that of the last check, else "+defaultProfile+")")
	f.addBench(c)
	fl.Uint64Var(&f.seed, "seed", 1, "`N` draws the simulated bench; the serial draws the unit")
	fl.StringVar(&f.fault, "fault", "", "simulated fault of unit or bench, as `NAME[:SEVERITY]`")
	fl.IntVar(&f.baseline, "baseline", upkeep.Baseline, "`N` first tests that the limits rest on")
	fl.BoolVar(&f.json, "json", false, "print what the charts say as one JSON object")
	fl.BoolVar(&f.ascii, "ascii", false, "plain letters and signs only")
	return c
}

// addBench defines the flags that every test of the bench itself has.
func (f *runFlags) addBench(c *cobra.Command) {
	fl := c.Flags()
	fl.StringVar(&f.rig, "rig", rig.Sim, "`RIG`: a rig file, or sim for the built-in simulated rig")
	fl.BoolVar(&f.simulate, "simulate", false, "play the rig file's bench on a simulated board, in real time")
	fl.BoolVar(&f.attended, "attended", false, "your word that somebody stands by the supply for the whole test, for a bench without a hardware cut-off")
	fl.StringVar(&f.operator, "operator", "", "`NAME` of who runs the test")
	fl.StringVar(&f.fixture, "fixture", "", "`WORDS` on what the unit is mounted in")
	fl.StringVar(&f.fluid, "fluid", "", "`WORDS` on what the unit runs in, such as water")
	fl.BoolVar(&f.primed, "primed", false, "your word that the loop is primed, bled and open")
	fl.StringVar(&f.inspection, "inspection", "", "`ANSWERS` for scripts, such as leak=no,seal=good,plug=dry,pins=good,free=yes,noise=no")
	fl.StringVar(&f.note, "note", "", "`WORDS` for the record")
}

// checkBench is the whole of `bench check`.
func (a *app) checkBench(ctx context.Context, f benchCheckFlags, ownProfile bool) error {
	earlier, err := a.earlierChecks(&f, ownProfile)
	if err != nil {
		return err
	}
	if p, _, err := loadProfile(f.profile); err == nil && len(charted(p.Kind)) == 0 {
		return usage("profile %s: nothing that is measured of a %s is known to say something of the bench: take a check unit of another kind", p.Name, p.Kind)
	}
	f.pace, f.full, f.role = "fast", true, upkeep.CheckUnit
	if f.rig == rig.Sim || f.simulate {
		// The unit is mounted anew for each check.
		f.unitSeed, f.again, f.fillingSeed = simulatedUnit(f.unit), uint64(earlier+1), uint64(earlier+1)
	}
	in, status, err := a.runOnce(ctx, f.runFlags)
	if r := in.Result; err != nil || r.Schema == 0 || r.Error != "" {
		a.status = status
		return err
	}
	name, err := a.rigName(f.rigFlags)
	if err != nil {
		return err
	}
	// This bench's own store has the test, also where a server holds the rest.
	s, err := a.ownStore()
	if err != nil {
		return err
	}
	defer a.close(s)
	h, err := watchBench(s, upkeep.Chosen{Unit: f.unit, Rig: name, Findings: charted(in.Result.Kind), Baseline: f.baseline})
	if err != nil {
		return err
	}
	if err := upkeep.KeepWord(s.Folder(), h); err != nil {
		fmt.Fprintln(a.stderr, "dutybench:", err) // later tests go by the verdict alone
	}
	if h.Out {
		a.status = exitBench
	}
	if f.json {
		return writeJSON(a.stdout, h.JSON())
	}
	a.tellCheck(in.Result, f.unit, h)
	return nil
}

// tellCheck says what a check came to.
func (a *app) tellCheck(r result.Result, unit string, h *upkeep.Health) {
	say := func(format string, args ...any) { fmt.Fprintln(a.stdout, fill80(fmt.Sprintf(format, args...))) }
	say("Check unit %s: %s, record %s.", plot.Plain(unit), r.Verdict, r.Record)
	say("%s", h.Sentence())
	if r.Verdict != result.Pass {
		say("The test says: %s", plot.Plain(r.Sentence))
		say("All of it: dutybench records show %s", r.Record)
	}
	if n := h.Next(); n != "" {
		say("Next step: %s", n)
	}
	for _, s := range h.OpenWords() {
		say("%s", s)
	}
	for _, o := range h.Others {
		say("%s", o.Words())
	}
}

// earlierChecks completes the flags from the last check on this rig, and counts
// those of the unit.
func (a *app) earlierChecks(f *benchCheckFlags, ownProfile bool) (n int, err error) {
	name, err := a.rigName(f.rigFlags)
	if err != nil {
		return 0, err
	}
	s, err := a.ownStore()
	if err != nil {
		return 0, err
	}
	defer a.close(s)
	last, any, err := upkeep.LastCheck(s, name, f.rig == rig.Sim || f.simulate)
	if err != nil {
		return 0, err
	}
	if any {
		if f.unit == "" || strings.EqualFold(f.unit, last.At.Unit) {
			f.unit = last.At.Unit
		} else if !f.newUnit {
			return 0, otherUnit(s, f, last)
		}
		if !ownProfile {
			if f.profile = last.Profile.Name; f.profile != defaultProfile {
				if _, _, err := loadProfile(f.profile); err != nil {
					return 0, usage("the last check unit was tested with profile %s, which is not built in: name its file with --profile", plot.Plain(last.Profile.Name))
				}
			}
		}
	}
	if f.unit == "" {
		return 0, usage("say which unit is the check unit: --unit SERIAL; later checks remember it")
	}
	entries, err := s.List(record.Filter{Purpose: upkeep.CheckUnit, Rig: name, Unit: f.unit})
	return len(entries), err
}

// otherUnit refuses another check unit than the last one.
func otherUnit(s *store.Store, f *benchCheckFlags, last record.Entry) error {
	was := ""
	if upkeep.Unwell(s, s.Folder(), last.Rig.Name, simulated(last.Rig)) != "" {
		was = ", and the bench was out of control by it"
	}
	return usage("the last check unit was %s (record %s)%s; %s is another. Check %s again with --unit %s, or say with --new-unit that %s is meant: it has limits of its own, and clears no alarm of %s",
		plot.Plain(last.At.Unit), last.ID, was, plot.Plain(f.unit), plot.Plain(last.At.Unit), plot.Plain(last.At.Unit), plot.Plain(f.unit), plot.Plain(last.At.Unit))
}

// rigName is the name that records of a rig bear.
func (a *app) rigName(f rigFlags) (string, error) {
	if f.rig == rig.Sim {
		return rig.Sim, nil
	}
	d, err := readRig(f.rig)
	return d.Name, err
}

// watchBench charts a check unit from the records.
func watchBench(s upkeep.Source, c upkeep.Chosen) (*upkeep.Health, error) {
	h, err := upkeep.Watch(s, c)
	if errors.Is(err, upkeep.ErrNoCheck) {
		return nil, usage("%v", err)
	}
	return h, err
}
