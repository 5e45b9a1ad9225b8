package main

import (
	"fmt"
	"runtime"

	"github.com/spf13/cobra"

	"dutybench/bench/kind"
)

// judgeFlags are what a person says about traces to judge.
type judgeFlags struct {
	profile, mapping, page string
	purpose                string
	json, primed, ascii    bool
	explain                bool
	jobs, width            int
}

func newJudge(a *app) *cobra.Command {
	var f judgeFlags
	c := &cobra.Command{
		Use:   "judge --profile NAME|FILE TRACE...",
		Short: "Judge recorded traces, whoever recorded them",
		Long: `Judge holds recorded traces against a profile. A trace is a CSV file with at
least the columns t_s, duty_pct and current_A; "-" reads one from standard
input. Steps are found from the duty, so no plan is needed. A foreign recording
is read unedited through a mapping. record:ID stands for the trace of a record.

Several traces are judged at once and told in the order given; one that cannot
be read is named, and the rest go on.`,
		Example: `  dutybench judge --profile aux-pump-60w trace.csv
  dutybench judge --profile my.toml --json *.csv
  dutybench judge --profile my.toml --map logger.toml export.txt`,
		Args: some("trace file, or - for standard input"),
		RunE: a.do(func(c *cobra.Command, args []string) error { return a.judge(f, args) }),
	}
	fl := c.Flags()
	fl.StringVar(&f.profile, "profile", "", "`PROFILE` that the traces are judged against, by name or file")
	fl.StringVar(&f.mapping, "map", "", "mapping `FILE` that says how foreign recordings are read")
	fl.BoolVar(&f.json, "json", false, "print one JSON object a line")
	fl.BoolVar(&f.primed, "primed", false, "your word that the loop was primed, bled and open")
	purposeFlag(c, &f.purpose)
	fl.BoolVar(&f.explain, "explain", false, "tell where each uncertainty comes from, and what it decides")
	fl.StringVar(&f.page, "page", "", "write a page for people to `FILE`, - for standard output; for one trace")
	fl.IntVar(&f.jobs, "jobs", 0, "`N` traces judged at once (default: one a core)")
	textFlags(c, &f.width, &f.ascii)
	return c
}

func (f *judgeFlags) check(traces []string) error {
	stdin := 0
	for _, t := range traces {
		if t == "-" {
			stdin++
		}
	}
	switch {
	case f.profile == "":
		return usage("say what to judge against: --profile NAME or FILE; dutybench profiles list shows the built-ins")
	case stdin > 1:
		return usage("- stands for standard input and can be read only once")
	case f.page != "" && len(traces) > 1:
		return usage("--page is for one trace, and %d were given", len(traces))
	case f.page == "-" && f.json:
		return usage("--json and --page - both want standard output; give the page a file")
	case f.explain && f.json:
		return usage("--explain is for people; with --json the budgets are in every finding")
	case f.jobs < 0 || f.jobs > 1024:
		return usage("--jobs %d: give 1 to 1024, or leave it out", f.jobs)
	}
	if _, err := purposeOf(f.purpose); err != nil {
		return err
	}
	return checkWidth(f.width)
}

// purposeFlag adds --purpose.
func purposeFlag(c *cobra.Command, purpose *string) {
	c.Flags().StringVar(purpose, "purpose", "", "`WHAT` the verdict is for, which sets how doubt counts: new-part (do not fit a doubtful part), core (no guard band), return (do not call a good part bad)")
}

// purposeOf reads --purpose.
func purposeOf(s string) (kind.Purpose, error) {
	p, err := kind.ParsePurpose(s)
	if err != nil {
		return p, usage("--purpose %q: it is new-part, core or return", s)
	}
	return p, nil
}

// judge is the whole of `judge`.
func (a *app) judge(f judgeFlags, traces []string) error {
	if err := f.check(traces); err != nil {
		return err
	}
	p, k, err := loadProfile(f.profile)
	if err != nil {
		return err
	}
	m, err := readMapping(f.mapping)
	if err != nil {
		return err
	}
	if f.page != "" && f.page != "-" {
		if err := writable(f.page); err != nil {
			return err
		}
	}
	if f.jobs == 0 {
		f.jobs = runtime.GOMAXPROCS(0)
	}
	kept := &recordTraces{app: a}
	defer kept.done()
	j := judgement{app: a, kept: kept, flags: f, profile: p, kind: k, mapping: m, conditions: kind.Conditions{Primed: f.primed, Purpose: kind.Purpose(f.purpose)}, many: len(traces) > 1}
	if err := j.all(traces); err != nil {
		return err
	}
	if j.many && !f.json {
		fmt.Fprintln(a.stderr, j.count())
	}
	return nil
}
