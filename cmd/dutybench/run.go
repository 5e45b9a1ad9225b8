package main

import (
	"context"
	"errors"

	"github.com/spf13/cobra"

	"dutybench/bench/record"
	"dutybench/bench/result"
	"dutybench/bench/rig"
)

// defaultProfile is what `run` tests when nobody says.
const defaultProfile = "aux-pump-60w"

// runFlags are what a person says about one test.
type runFlags struct {
	rigFlags
	inspectFlags
	circumstanceFlags
	profile, pace                        string
	unit, operator, fixture, fluid, note string
	filling, purpose                     string
	role                                 string // what the record says the test was for, where that is no rule of judging
	primed, json, ascii, list            bool
	full, explain                        bool
	soak                                 float64 // minutes
	page, trace                          string
	width                                int
	facts                                []record.Fact // kept with the rig's: a lot's settings
}

func newRun(a *app) *cobra.Command {
	var f runFlags
	c := &cobra.Command{
		Use:   "run",
		Short: "Test a unit on a rig, or on the simulated one",
		Long: `Run tests one unit and judges it by the plan of its kind: of a pump start-up, sweep
of duty, a hold at full; dutybench profiles list names the kinds. It
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
  dutybench run --list-faults --profile aux-pump-60w
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
	f.addTest(c)
	fl := c.Flags()
	fl.BoolVar(&f.list, "list-faults", false, "explain the simulated faults of the profile's kind, and end")
	fl.StringVar(&f.unit, "unit", "", "`SERIAL` of the unit")
	fl.BoolVar(&f.explain, "explain", false, "tell where each uncertainty comes from, and what it decides")
	fl.BoolVar(&f.json, "json", false, "print the result as one JSON object")
	fl.StringVar(&f.page, "page", "", "write the page to `FILE`, - for standard output, instead of beside the record")
	fl.StringVar(&f.trace, "trace", "", "write the trace to `FILE` too")
	textFlags(c, &f.width, &f.ascii)
	return c
}

// addTest defines the flags of a test, without those that name one unit or say
// how it is told.
func (f *runFlags) addTest(c *cobra.Command) {
	fl := c.Flags()
	fl.StringVar(&f.profile, "profile", defaultProfile, "`PROFILE` that the unit is judged against, by name or file")
	fl.StringVar(&f.rig, "rig", rig.Sim, "`RIG`: a rig file, or sim for the built-in simulated rig")
	fl.BoolVar(&f.simulate, "simulate", false, "play the rig file's bench on a simulated board, in real time")
	fl.BoolVar(&f.attended, "attended", false, "your word that somebody stands by the supply for the whole test, for a bench without a hardware cut-off")
	fl.StringVar(&f.fault, "fault", "", "simulated fault, as `NAME[:SEVERITY]` with a severity of 0 to 1 (1 when left out)")
	fl.Uint64Var(&f.seed, "seed", 1, "`N` draws the simulated unit and bench; the same number, the same test")
	fl.StringVar(&f.pace, "pace", "fast", "`PACE`: fast, or real, where simulated time keeps to real time")
	fl.StringVar(&f.operator, "operator", "", "`NAME` of who runs the test")
	fl.StringVar(&f.fixture, "fixture", "", "`WORDS` on what the unit is mounted in, such as \"loop, 19 mm\"")
	fl.StringVar(&f.fluid, "fluid", "", "`WORDS` on what the unit runs in, such as water")
	fl.StringVar(&f.filling, "filling", "", "`WORDS` that name this filling of the loop, such as a date")
	fl.BoolVar(&f.primed, "primed", false, "your word that the loop is primed, bled and open")
	purposeFlag(c, &f.purpose)
	fl.BoolVar(&f.full, "full", false, "run the whole plan, whatever the first steps show")
	fl.Float64Var(&f.soak, "soak", 0, "`MINUTES` at full command with restarts, 1 to 30, after the sweep up")
	fl.BoolVar(&f.inspect, "inspect", false, "ask for the inspection on a simulated rig too; a real one asks always")
	fl.StringVar(&f.inspection, "inspection", "", "`ANSWERS` for scripts, such as leak=no,seal=good,plug=dry,pins=good,free=yes,noise=no")
	fl.StringVar(&f.note, "note", "", "`WORDS` for the record")
	f.circumstanceFlags.add(c)
}

// textFlags are how text is set.
func textFlags(c *cobra.Command, width *int, ascii *bool) {
	widthFlag(c, width)
	c.Flags().BoolVar(ascii, "ascii", false, "plain letters and signs only")
}

func widthFlag(c *cobra.Command, width *int) {
	c.Flags().IntVar(width, "width", 0, "`N` characters a line (default: the terminal's, else 80)")
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
	for _, t := range []struct {
		flag string
		text *string
	}{{"unit", &f.unit}, {"operator", &f.operator}, {"fixture", &f.fixture}, {"fluid", &f.fluid}, {"filling", &f.filling}, {"note", &f.note}} {
		if err := trimText(t.flag, t.text); err != nil {
			return err
		}
	}
	if err := f.circumstanceFlags.check(); err != nil {
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
	if f.list {
		return a.explainFaults(f)
	}
	in, status, err := a.runOnce(ctx, f)
	a.status = result.WorstExit(a.status, status)
	switch r := in.Result; {
	case r.Schema == 0:
		return err
	case r.Error != "" && f.json:
		return errors.Join(err, writeJSON(a.stdout, refusal{r.Schema, r.Source, r.Error, r.Record}))
	case r.Error != "":
		return err
	}
	// What was found is not lost when only its keeping failed.
	return errors.Join(err, tell(a.stdout, in, f.json, f.page == "-" && err == nil, a.explained(f.width, f.ascii, f.explain)))
}

// explainFaults tells of the simulated faults.
func (a *app) explainFaults(f runFlags) error {
	if err := f.check(); err != nil {
		return err
	}
	p, _, err := loadProfile(f.profile)
	if err != nil {
		return err
	}
	return a.listFaults(p, f.width)
}
