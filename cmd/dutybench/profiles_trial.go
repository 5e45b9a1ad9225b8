package main

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"runtime"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"dutybench/bench/kinds"
	"dutybench/bench/trial"
	"dutybench/profiles"
)

// trialFlags are what a person says about a study.
type trialFlags struct {
	faults            []string
	severities        []float64
	units, good       int
	seed              uint64
	jobs              int
	json, first, full bool
	plot              string
}

// The sizes of a study: usual ends in about a minute or two on two cores,
// a first look in some ten seconds. Eight of eight units say that at most 37 % are
// missed (Clopper and Pearson, 95 %), forty of forty at most 9 %.
var (
	usualTrial = trialFlags{severities: []float64{0.25, 0.5, 0.75, 1}, units: 8, good: 100}
	firstLook  = trialFlags{severities: []float64{0.5, 1}, units: 2, good: 20}
)

// mostTrials bounds a study: each trial is kept until the end.
const mostTrials = 100_000

func newProfilesTrial(a *app) *cobra.Command {
	f := usualTrial
	c := &cobra.Command{
		Use:   "trial PROFILE",
		Short: "Say what a profile would miss, by trying it on simulated units",
		Long: `Trial holds simulated units, good ones and ones with each fault at several
severities, against a profile. It tells how many pass, fail and stay undecided
and how often the right cause is named, each with its 95 % interval; from which
severity nine of ten are caught; how far the probabilities of causes can be
trusted; and what one window on the current at full command would have caught.

Each unit goes the whole way: simulated rig, plan, trace, file, judge. The
units are of the simulated size nearest to the profile's; what is found holds
for real units as far as these are like them. More units make the intervals
narrower. Ctrl-C ends the study and prints what is done so far.`,
		Example: `  dutybench profiles trial aux-pump-60w --first-look
  dutybench profiles trial my-pump.toml --fault drag --fault rub --severities 0.2,0.3,0.4,0.5 --units 40
  dutybench profiles trial aux-pump-60w --units 40 --good 300 --plot missed.svg`,
		Args: one("profile, by name or file"),
		RunE: a.do(func(c *cobra.Command, args []string) error {
			if f.first {
				f.shrink(c.Flags().Changed)
			}
			return a.trial(c.Context(), f, args[0])
		}),
	}
	fl := c.Flags()
	fl.StringSliceVar(&f.faults, "fault", nil, "`NAME` of a fault to try; may be given again (default: all of them)")
	fl.Float64SliceVar(&f.severities, "severities", f.severities, "`LIST` of severities above 0, up to 1")
	fl.Lookup("severities").DefValue = strings.Join(strings.Fields(strings.Trim(fmt.Sprint(f.severities), "[]")), ",")
	fl.IntVar(&f.units, "units", f.units, "`N` units of each fault and severity")
	fl.IntVar(&f.good, "good", f.good, "`N` good units")
	fl.Uint64Var(&f.seed, "seed", 1, "`N` draws the units and their benches; the same number, the same study")
	fl.IntVar(&f.jobs, "jobs", 0, "`N` tests at once (default: one a core)")
	fl.BoolVar(&f.json, "json", false, "print one JSON object")
	fl.StringVar(&f.plot, "plot", "", "draw the rates against severity to `FILE`, as SVG")
	fl.BoolVar(&f.full, "full", false, "run every test's whole plan, as run --full does; without it each ends when enough is known")
	fl.BoolVar(&f.first, "first-look", false, fmt.Sprintf("a first look: %d units, %d good ones, severities 0.5 and 1, where not said otherwise", firstLook.units, firstLook.good))
	return c
}

// shrink makes a first look of what was not said.
func (f *trialFlags) shrink(said func(flag string) bool) {
	if !said("severities") {
		f.severities = firstLook.severities
	}
	if !said("units") {
		f.units = firstLook.units
	}
	if !said("good") {
		f.good = firstLook.good
	}
}

func (f *trialFlags) check(p *profiles.Profile) error {
	known := kinds.Faults(p.Kind)
	for i, name := range f.faults {
		if !slices.ContainsFunc(known, func(x kinds.Fault) bool { return x.Name == name }) {
			return usage("--fault %q: there is no such fault of a %s; dutybench run --list-faults --profile %s explains those there are", name, p.Kind, p.Name)
		}
		if slices.Contains(f.faults[:i], name) {
			return usage("--fault %s is given twice", name)
		}
	}
	for i, s := range f.severities {
		switch {
		case !(s > 0 && s <= 1):
			return usage("--severities: %g is no severity above 0 and up to 1", s)
		case slices.Contains(f.severities[:i], s):
			return usage("--severities: %g is given twice", s)
		}
	}
	switch {
	case len(f.severities) == 0:
		return usage("--severities: give at least one, such as 0.5,1")
	case f.units < 1 || f.units > mostTrials:
		return usage("--units %d: give 1 to %d", f.units, mostTrials)
	case f.good < 0 || f.good > mostTrials:
		return usage("--good %d: give 0 to %d", f.good, mostTrials)
	case f.jobs < 0 || f.jobs > 1024:
		return usage("--jobs %d: give 1 to 1024, or leave it out", f.jobs)
	case f.plot == "-":
		return usage("--plot - is not possible, standard output is for the table; give the plot a file")
	}
	return nil
}

// trial is the whole of `profiles trial`.
func (a *app) trial(ctx context.Context, f trialFlags, nameOrPath string) error {
	p, _, err := loadProfile(nameOrPath)
	if err != nil {
		return err
	}
	if _, err := kinds.Bench(p, kinds.Simulated{Seed: f.seed}); errors.Is(err, kinds.ErrNoUnit) {
		return fmt.Errorf("%w; what this profile misses shows on traces of units whose fault you know: dutybench judge --profile %s TRACE", err, nameOrPath)
	} else if err != nil {
		return err
	}
	if err := f.check(p); err != nil {
		return err
	}
	if f.plot != "" {
		if err := writable(f.plot); err != nil {
			return err
		}
	}
	s := trial.Study{Profiles: []*profiles.Profile{p}, Faults: f.faults, Severities: f.severities,
		Units: f.units, Good: f.good, Seed: f.seed, Whole: f.full, Workers: cmp.Or(f.jobs, runtime.GOMAXPROCS(0))}
	if len(s.Faults) == 0 {
		for _, x := range kinds.Faults(p.Kind) {
			s.Faults = append(s.Faults, x.Name)
		}
	}
	if n := s.Trials(); n > mostTrials {
		return usage("that would be %d tests, and a study may have %d: take fewer faults, severities or units", n, mostTrials)
	}
	ctx, stop := a.interrupt(ctx)
	defer stop()
	if err := a.foretell(ctx, s); err != nil {
		return err
	}
	w := a.watch()
	s.Progress = w.show
	table, err := s.Run(ctx)
	w.end()
	stopped := errors.Is(err, context.Canceled)
	switch {
	case err != nil && !stopped:
		return err
	case stopped:
		a.status = exitError
		if len(table.Trials) == 0 {
			return errors.New("the study was stopped before a test was done")
		}
		fmt.Fprintf(a.stderr, "dutybench: the study was stopped after %d of %d tests; what follows is partial.\n", len(table.Trials), table.Planned)
	}
	return a.tellTrial(table.Report(), f)
}

// tellTrial writes the report and the plot.
func (a *app) tellTrial(r *trial.Report, f trialFlags) error {
	if f.json {
		if err := writeJSON(a.stdout, r); err != nil {
			return err
		}
	} else if err := a.trialText(r); err != nil {
		return err
	}
	if f.plot == "" {
		return nil
	}
	if len(r.Faults) == 0 {
		return errors.New("no fault was tried before the study was stopped, so there is nothing to draw")
	}
	var b bytes.Buffer
	if err := r.WriteSVG(&b); err != nil {
		return err
	}
	if err := writeFile(f.plot, b.Bytes()); err != nil {
		return err
	}
	fmt.Fprintf(a.stderr, "The plot is in %s.\n", f.plot)
	return nil
}

// trialText writes the tables, in plain letters where the locale has no others.
func (a *app) trialText(r *trial.Report) error {
	var b strings.Builder
	if err := r.WriteText(&b); err != nil {
		return err
	}
	text := b.String()
	if !a.unicode() {
		text = plainSigns.Replace(text)
	}
	if _, err := io.WriteString(a.stdout, text); err != nil {
		return fmt.Errorf("writing the table: %w", err)
	}
	return nil
}

// foretell tries one good unit, to say how long the study will take.
func (a *app) foretell(ctx context.Context, s trial.Study) error {
	n := s.Trials()
	s.Good, s.Faults = 1, nil
	first, err := s.Run(ctx)
	if errors.Is(err, context.Canceled) {
		a.status = exitError
		return errors.New("the study was stopped before a test was done")
	}
	if err != nil {
		return err
	}
	atOnce := min(s.Workers, runtime.GOMAXPROCS(0), n)
	about := first.Trials[0].Took * time.Duration(n) / time.Duration(atOnce)
	fmt.Fprintf(a.stderr, "%d tests of simulated units, %d at once: about %s. Ctrl-C ends it and prints what is done.\n", n, s.Workers, roughly(about))
	return nil
}

// roughly is a length of time for people, such as "1 min 50 s".
func roughly(d time.Duration) string {
	s := int(d.Round(time.Second).Seconds())
	switch {
	case s < 1:
		return "a second"
	case s < 60:
		return fmt.Sprintf("%d s", s)
	case s < 600:
		return fmt.Sprintf("%d min %d s", s/60, s%60/10*10)
	case s < 2*3600:
		return fmt.Sprintf("%d min", (s+30)/60)
	}
	return fmt.Sprintf("%.1f h", d.Hours())
}

// watcher shows how far a study is: on a terminal in one line that is
// rewritten, elsewhere in a line for each tenth.
type watcher struct {
	w     io.Writer
	width int // of the terminal; 0: no terminal
	now   func() time.Time

	begun, drawn time.Time
	tenth        int
	shown        bool
}

func (a *app) watch() *watcher {
	width, terminal := a.isTerminal(a.stderr)
	switch {
	case !terminal:
		width = 0
	case width < 20:
		width = 80
	}
	return &watcher{w: a.stderr, width: width, now: a.now, begun: a.now()}
}

// show is called after each test.
func (w *watcher) show(done, of int) {
	now := w.now()
	words := fmt.Sprintf("%d of %d tests", done, of)
	if done < of {
		words += ", about " + roughly(now.Sub(w.begun)*time.Duration(of-done)/time.Duration(done)) + " left"
	}
	switch {
	case w.width == 0:
		if tenth := done * 10 / of; tenth > w.tenth {
			w.tenth = tenth
			fmt.Fprintln(w.w, words)
		}
	case done == of || now.Sub(w.drawn) >= redraw:
		w.drawn, w.shown = now, true
		fmt.Fprintf(w.w, "\r%-*.*s", w.width-1, w.width-1, words)
	}
}

// end leaves a clean line.
func (w *watcher) end() {
	if w.shown {
		fmt.Fprintf(w.w, "\r%s\r", strings.Repeat(" ", w.width-1))
	}
	w.shown = false
}
