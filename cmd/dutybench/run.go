package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"time"

	"github.com/spf13/cobra"

	"dutybench/bench/kind"
	"dutybench/bench/result"
	"dutybench/bench/rig"
	"dutybench/bench/run"
	"dutybench/profiles"
	"dutybench/signal/matter"
	"dutybench/signal/trace"
)

// defaultProfile is what `run` tests when nobody says.
const defaultProfile = "aux-pump-60w"

// runFlags are what a person says about one test.
type runFlags struct {
	rigFlags
	inspectFlags
	profile, pace                        string
	unit, operator, fixture, fluid, note string
	filling, part, purpose               string
	primed, json, ascii, list            bool
	full, explain                        bool
	soak                                 float64 // minutes
	page, trace                          string
	width                                int
}

func newRun(a *app) *cobra.Command {
	var f runFlags
	c := &cobra.Command{
		Use:   "run",
		Short: "Test a unit on a rig, or on the simulated one",
		Long: `Run tests one unit and judges it: start-up, sweep of duty, a hold at full. It
ends as soon as no further step is expected to change verdict or cause; a unit
that is neither clearly good nor clearly at fault gets the whole plan, with the
sweep down and what it does without a command. --full runs the whole plan in any
case, and so does --purpose return. --soak keeps it at full for so many minutes,
with restarts, for a complaint that shows only warm. The trace and the verdict
are kept as a record, with a page beside it.

Without --rig a simulated one is used, with a unit of the profile's type; dutybench
rig check FILE looks whether a rig file's bench is ready. The supply is off before the first step and after the last, and goes off first when
anything fails or Ctrl-C is pressed.`,
		Example: `  dutybench run
  dutybench run --fault drag:0.5
  dutybench run --list-faults
  dutybench run --purpose return --soak 12
  dutybench run --profile aux-pump-20w --unit A17 --primed --json`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) > 0 {
				return usage("run takes no argument %q; the profile is named with --profile, recorded traces are for judge", args[0])
			}
			return nil
		},
		RunE: a.do(func(c *cobra.Command, _ []string) error { return a.run(c.Context(), f) }),
	}
	fl := c.Flags()
	fl.StringVar(&f.profile, "profile", defaultProfile, "`PROFILE` that the unit is judged against, by name or file")
	fl.StringVar(&f.rig, "rig", rig.Sim, "`RIG`: a rig file, or sim for the built-in simulated rig")
	fl.BoolVar(&f.simulate, "simulate", false, "play the rig file's bench on a simulated board, in real time")
	fl.BoolVar(&f.attended, "attended", false, "your word that somebody stands by the supply for the whole test, for a bench without a hardware cut-off")
	fl.StringVar(&f.fault, "fault", "", "simulated fault, as `NAME[:SEVERITY]` with a severity of 0 to 1 (1 when left out)")
	fl.BoolVar(&f.list, "list-faults", false, "explain the simulated faults, and end")
	fl.Uint64Var(&f.seed, "seed", 1, "`N` draws the simulated unit and bench; the same number, the same test")
	fl.StringVar(&f.pace, "pace", "fast", "`PACE`: fast, or real, where simulated time keeps to real time")
	fl.StringVar(&f.unit, "unit", "", "`SERIAL` of the unit")
	fl.StringVar(&f.operator, "operator", "", "`NAME` of who runs the test")
	fl.StringVar(&f.fixture, "fixture", "", "`WORDS` on what the unit is mounted in, such as \"loop, 19 mm\"")
	fl.StringVar(&f.fluid, "fluid", "", "`WORDS` on what the unit runs in, such as water")
	fl.StringVar(&f.filling, "filling", "", "`WORDS` that name this filling of the loop, such as a date")
	fl.StringVar(&f.part, "part-revision", "", "`REVISION` of the part, as on its label")
	fl.BoolVar(&f.primed, "primed", false, "your word that the loop is primed, bled and open")
	purposeFlag(c, &f.purpose)
	fl.BoolVar(&f.full, "full", false, "run the whole plan, whatever the first steps show")
	fl.Float64Var(&f.soak, "soak", 0, "`MINUTES` at full command with restarts, 1 to 30, after the sweep up")
	fl.BoolVar(&f.explain, "explain", false, "tell where each uncertainty comes from, and what it decides")
	fl.BoolVar(&f.inspect, "inspect", false, "ask for the inspection on a simulated rig too; a real one asks always")
	fl.StringVar(&f.inspection, "inspection", "", "`ANSWERS` for scripts, such as leak=no,seal=good,plug=dry,pins=good,free=yes,noise=no")
	fl.StringVar(&f.note, "note", "", "`WORDS` for the record")
	fl.BoolVar(&f.json, "json", false, "print the result as one JSON object")
	fl.StringVar(&f.page, "page", "", "write the page to `FILE`, - for standard output, instead of beside the record")
	fl.StringVar(&f.trace, "trace", "", "write the trace to `FILE` too")
	textFlags(c, &f.width, &f.ascii)
	return c
}

// textFlags are how text is set.
func textFlags(c *cobra.Command, width *int, ascii *bool) {
	c.Flags().IntVar(width, "width", 0, "`N` characters a line (default: the terminal's, else 80)")
	c.Flags().BoolVar(ascii, "ascii", false, "plain letters and signs only")
}

func (f *runFlags) check() error {
	switch {
	case f.pace != "fast" && f.pace != "real":
		return usage("--pace %q: it is fast or real", f.pace)
	case f.json && f.page == "-":
		return usage("--json and --page - both want standard output; give the page a file")
	case f.trace == "-":
		return usage("--trace - is not possible, standard output is for the result; give the trace a file")
	case f.explain && f.json:
		return usage("--explain is for people; with --json the budgets are in every finding")
	case f.soak != 0 && !(f.soak >= 1 && f.soak <= 30):
		return usage("--soak %g: give 1 to 30 minutes, or leave it out", f.soak)
	case f.rig != rig.Sim && !f.simulate && f.fault != "":
		return usage("--fault is for simulated rigs only: add --simulate")
	case f.rig == rig.Sim && (f.simulate || f.attended):
		return usage("--simulate and --attended are for rig files; the built-in rig is simulated as it is")
	}
	if _, err := purposeOf(f.purpose); err != nil {
		return err
	}
	return checkWidth(f.width)
}

func checkWidth(width int) error {
	if width != 0 && (width < 60 || width > 1000) {
		return usage("--width %d: give 60 to 1000 characters, or leave it out", width)
	}
	return nil
}

// run is the whole of `run`.
func (a *app) run(ctx context.Context, f runFlags) error {
	if err := f.check(); err != nil {
		return err
	}
	p, k, err := loadProfile(f.profile)
	if err != nil {
		return err
	}
	if f.list {
		return a.listFaults(p.Kind, f.width)
	}
	if matter.OtherFluid(f.fluid, p.Fixture.Fluid) {
		return usage("--fluid %s: profile %s was learned in %s, so nothing could be decided: fill the bench with that, or name a profile for this fluid", f.fluid, p.Name, p.Fixture.Fluid)
	}
	for _, path := range []string{f.page, f.trace} {
		if path != "" && path != "-" {
			if err := writable(path); err != nil {
				return err
			}
		}
	}
	text, err := profileText(p)
	if err != nil {
		return err
	}
	store, err := a.openStore()
	if err != nil {
		return err
	}
	if err := store.Writable(); err != nil {
		return err // before a test of many minutes, not after it
	}
	if f.unit == "" && (f.rig == rig.Sim || f.simulate) {
		f.unit = fmt.Sprintf("simulated-%d", f.seed)
	}
	bench, err := a.openBench(f.rigFlags, p)
	if err != nil {
		return err
	}
	r := bench.Rig
	if drawing := connectorText(p.Connector); drawing != "" && (f.rig != rig.Sim && !f.simulate || f.inspect) {
		fmt.Fprint(a.stderr, "The unit's plug: ", drawing)
	}
	inspection, err := a.inspected(ctx, f)
	if err != nil {
		return errors.Join(err, r.Close())
	}
	t := &test{app: a, flags: f, profile: p, text: text, kind: k, rig: r, bench: bench, clock: a.watchClock(bench), store: store}
	if err := t.choosePlan(); err != nil {
		return errors.Join(err, r.Close())
	}
	t.heed(inspection)
	t.findRest()
	out, err := t.drive(ctx)
	if out == nil {
		return err
	}
	if errors.Is(err, context.Canceled) {
		return t.cancelled(out)
	}
	if err != nil && len(out.Faults) == 0 {
		return errors.Join(err, t.salvage(out))
	}
	if err != nil {
		fmt.Fprintln(a.stderr, "dutybench:", err)
	}
	return t.report(out)
}

// test is one test under way.
type test struct {
	*app
	flags   runFlags
	profile *profiles.Profile
	text    []byte // of the profile
	kind    kind.Kind
	rig     *rig.Rig
	bench   *openBench
	clock   *watchedClock
	store   keeper
	// inspection is what the person saw; nil when nobody was asked.
	inspection *result.Inspection
	said       []result.UnitReport // what the unit said of itself
	plan       kind.Plan
	decider    run.Decider   // nil: the plan is carried out whole
	rested     time.Duration // since this unit was last tested; 0 not known
}

// drive carries out the plan. The supply is off when it returns.
func (t *test) drive(ctx context.Context) (*run.Outcome, error) {
	ctx, stop := t.interrupt(ctx)
	defer stop()
	width, terminal := t.isTerminal(t.stderr)
	switch {
	case !terminal:
		width = 0
	case width < 20:
		width = 80
	}
	p := &progress{w: t.stderr, width: width, now: t.now}
	o := run.Options{Unit: t.flags.unit, Program: program(), Progress: p.show, Decider: t.decider, Circumstances: t.circumstances(),
		Salvage: func(out *run.Outcome) {
			p.end()
			if err := t.salvage(out); err != nil {
				fmt.Fprintln(t.stderr, "dutybench:", err)
			}
		}}
	if t.flags.pace == "real" {
		o.Pace = run.RealTime(t.now, t.sleep)
	}
	heard := t.listenToUnit()
	out, err := run.Run(ctx, t.rig, t.plan, t.profile, o)
	p.end()
	if c := t.bench.calibrated; c != nil && out != nil {
		out.Warnings = append(out.Warnings, c.Check(t.now(), out.Zero, t.rig.Accuracy.CurrentStep_A)...)
	}
	t.said = t.reports(heard, out)
	if cerr := t.rig.Close(); cerr != nil {
		fmt.Fprintln(t.stderr, "dutybench: the rig did not close cleanly:", cerr)
	}
	return out, err
}

// cancelled keeps what there is of a test that a person or the system ended.
func (t *test) cancelled(out *run.Outcome) error {
	off := "The supply is off"
	if out.Off.Verified {
		off += fmt.Sprintf(" (measured: %.3f A)", math.Abs(out.Off.Current_A))
	}
	fmt.Fprintf(t.stderr, "dutybench: the test was cancelled. %s.\n", off)
	t.status = exitError
	if out.Trace.Len() == 0 {
		fmt.Fprintln(t.stderr, "dutybench: nothing was measured, so nothing is kept.")
		return nil
	}
	kept, err := t.keep(out)
	if err != nil {
		return err
	}
	fmt.Fprintf(t.stderr, "dutybench: what was measured is kept as record %s, marked as cancelled:\n%s\n", kept.Result.Record, kept.TracePath)
	if t.flags.json {
		return writeJSON(t.stdout, refusal{kept.Result.Schema, kept.Result.Source, kept.Result.Ended, kept.Result.Record})
	}
	return nil
}

// salvage keeps the trace of a test that failed.
func (t *test) salvage(out *run.Outcome) error {
	if out.Trace.Len() == 0 {
		return nil
	}
	kept, err := t.keep(out)
	if err == nil {
		fmt.Fprintf(t.stderr, "dutybench: what was measured is kept as record %s:\n%s\n", kept.Result.Record, kept.TracePath)
	}
	return err
}

// temperature is the mean of what the rig's sensor said; nil without one.
func temperature(tr *trace.Trace) *float64 {
	sum, n := 0.0, 0.0
	for _, x := range tr.Values(trace.ColTemperature) {
		if isFinite(x) {
			sum, n = sum+x, n+1
		}
	}
	if n == 0 {
		return nil
	}
	mean := math.Round(10*sum/n) / 10
	return &mean
}
