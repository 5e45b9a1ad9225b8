package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"runtime"
	"strings"
	"sync"

	"github.com/spf13/cobra"

	"dutybench/bench/kind"
	"dutybench/bench/kinds"
	"dutybench/bench/learn"
	"dutybench/profiles"
	"dutybench/signal/trace"
)

// learnFlags are what a person says about a profile to learn.
type learnFlags struct {
	name, out, like, mapping, kind string
	force, json                    bool
	tolerance                      tolerance
}

// tolerance is what tolerance intervals are asked for, in per cent.
type tolerance struct{ coverage, confidence float64 }

// flags adds --coverage and --confidence.
func (t *tolerance) flags(c *cobra.Command) {
	c.Flags().Float64Var(&t.coverage, "coverage", 100*learn.Usual, "`PERCENT` of good units that a tolerance interval is to hold")
	c.Flags().Float64Var(&t.confidence, "confidence", 100*learn.Usual, "`PERCENT` of confidence that it holds them")
}

// check refuses what is no per cent of use; 0.95 is most likely a share.
func (t tolerance) check() error {
	for _, f := range []struct {
		name    string
		percent float64
	}{{"coverage", t.coverage}, {"confidence", t.confidence}} {
		if !(f.percent >= 50 && f.percent <= 99.99) {
			return usage("--%s %g: give per cent from 50 to 99.99, such as 95", f.name, f.percent)
		}
	}
	return nil
}

func newProfilesLearn(a *app) *cobra.Command {
	var f learnFlags
	c := &cobra.Command{
		Use:   "learn --name NAME --out FILE TRACE...",
		Short: "Make a profile from traces of known-good units",
		Long: fmt.Sprintf(`Learn measures traces of known-good units and writes a profile that judge and
run take as it is. Distinct units count, not traces: under %d it refuses, under
%d the profile is marked provisional. A unit that does not belong is named and
left out; one that is only unusual is named and kept.

It prints a tolerance interval for each quantity, the refusals when each unit is
judged by the others, what so few units can and cannot support, and what they
all have in common: one day, one filling of the loop or one mounting, one rig, one
part revision.
record:ID stands for the trace of a record.

With --like the command, supply, limits and fixture of another profile are
taken over; without it they are assumed and must be checked before a run.`, learn.Fewest, learn.Provisional),
		Example: "  dutybench profiles learn --name my-pump --out my-pump.toml --like aux-pump-60w good-*.csv",
		Args:    some("trace file"),
		RunE:    a.do(func(_ *cobra.Command, traces []string) error { return a.learn(f, traces) }),
	}
	fl := c.Flags()
	fl.StringVar(&f.name, "name", "", "`NAME` of the new profile: small letters, digits and hyphens")
	fl.StringVar(&f.out, "out", "", "`FILE` to write")
	fl.StringVar(&f.like, "like", "", "`PROFILE` whose command, supply, limits and fixture hold for this type too, by name or file")
	fl.StringVar(&f.mapping, "map", "", "mapping `FILE` that says how foreign recordings are read")
	fl.StringVar(&f.kind, "kind", "", "`KIND` of unit (default: as --like or the traces say, else pump)")
	fl.BoolVar(&f.force, "force", false, "overwrite the file when it is there")
	fl.BoolVar(&f.json, "json", false, "print what was learned as one JSON object")
	f.tolerance.flags(c)
	return c
}

// learn is the whole of `profiles learn`.
func (a *app) learn(f learnFlags, paths []string) error {
	switch {
	case f.name == "":
		return usage("give the new profile a name with --name")
	case f.out == "":
		return usage("say where to write the profile with --out FILE")
	}
	if err := f.tolerance.check(); err != nil {
		return err
	}
	if err := writable(f.out); err != nil {
		return err
	}
	if _, err := os.Lstat(f.out); err == nil && !f.force {
		return fmt.Errorf("%s is there already: choose another name, or overwrite it with --force", f.out)
	}
	var like *profiles.Profile
	if f.like != "" {
		var err error
		if like, _, err = loadProfile(f.like); err != nil {
			return err
		}
	}
	m, err := readMapping(f.mapping)
	if err != nil {
		return err
	}
	traces, err := a.readTraces(paths, m)
	if err != nil {
		return err
	}
	k, err := kindFor(f.kind, like, traces)
	if err != nil {
		return err
	}
	p, rep, err := learn.Learn(traces, k, learn.Options{Name: f.name, On: a.now().Format("2006-01-02"), Program: program(), Like: like,
		Coverage: f.tolerance.coverage / 100, Confidence: f.tolerance.confidence / 100})
	if err != nil {
		return err
	}
	if err := profiles.WriteFile(f.out, p, f.force); err != nil {
		if errors.Is(err, fs.ErrExist) {
			return fmt.Errorf("%s is there already: choose another name, or overwrite it with --force", f.out)
		}
		return err
	}
	if f.json {
		return writeJSON(a.stdout, learnedObject(p, rep, f))
	}
	return a.tellLearned(p, rep, f)
}

// readTraces reads all, some at once. The first that fails, in their order,
// is the error.
func (a *app) readTraces(paths []string, m *trace.Mapping) ([]*trace.Trace, error) {
	traces, errs := make([]*trace.Trace, len(paths)), make([]error, len(paths))
	var wg sync.WaitGroup
	places := make(chan struct{}, runtime.GOMAXPROCS(0))
	kept := &recordTraces{app: a}
	defer kept.done()
	for i, path := range paths {
		places <- struct{}{}
		wg.Go(func() {
			defer func() { <-places }()
			traces[i], errs[i] = kept.read(new(trace.Reader), path, m, a.stdin)
		})
	}
	wg.Wait()
	for _, err := range errs {
		if err != nil {
			return nil, fmt.Errorf("nothing was learned: %w", err)
		}
	}
	return traces, nil
}

// kindFor is the kind that is asked for, or that the profile or traces name.
func kindFor(name string, like *profiles.Profile, traces []*trace.Trace) (kind.Kind, error) {
	switch {
	case name != "":
		k, err := kinds.Named(name)
		if err != nil {
			return nil, usage("%v", err)
		}
		if like != nil && like.Kind != name {
			return nil, usage("--kind %s, but profile %s is for a %s", name, like.Name, like.Kind)
		}
		return k, nil
	case like != nil:
		return kinds.Named(like.Kind)
	}
	for _, t := range traces {
		if s, ok := t.Get(trace.KeyKind); ok && s != "" {
			return kinds.Named(s)
		}
	}
	return kinds.All()[0], nil
}

// tellLearned says what the profile is worth.
func (a *app) tellLearned(p *profiles.Profile, rep *learn.Report, f learnFlags) error {
	var b strings.Builder
	grade := ""
	if p.Learned.Provisional {
		grade = "provisional "
	}
	fmt.Fprintf(&b, "%s: %sprofile %s, learned from %d distinct units.\n", f.out, grade, p.Name, rep.Units)
	for _, s := range rep.LeftOut {
		fill(&b, "Left out", s, keyColumn, textWidth)
	}
	for _, s := range p.Learned.Statement {
		fill(&b, "", s, keyColumn, textWidth)
	}
	for _, s := range rep.Notes {
		fill(&b, "Note", s, keyColumn, textWidth)
	}
	showIntervals(&b, rep.Intervals, f.tolerance, true)
	if _, err := a.stdout.Write([]byte(b.String())); err != nil {
		return fmt.Errorf("writing what was learned: %w", err)
	}
	return nil
}

// learnedJSON is what was learned, for scripts. Shares are fractions.
type learnedJSON struct {
	File          string         `json:"file"`
	Name          string         `json:"name"`
	Kind          string         `json:"kind"`
	Units         int            `json:"units"`
	Provisional   bool           `json:"provisional"`
	Refused       int            `json:"refused_by_the_others"`
	LeftOut       []string       `json:"left_out"`
	Unusual       []string       `json:"unusual"`
	Rigs          []string       `json:"rigs"`
	GainU         float64        `json:"current_gain_u"`
	Days          int            `json:"days"`
	Fillings      int            `json:"fillings"`
	PartRevisions []string       `json:"part_revisions"`
	Confidence    float64        `json:"confidence"`
	Intervals     []intervalJSON `json:"intervals"`
	Statement     []string       `json:"statement"`
	Notes         []string       `json:"notes"`
}

// intervalJSON is one tolerance interval. K is null where it is a range.
type intervalJSON struct {
	Quantity string   `json:"quantity"`
	Unit     string   `json:"unit"`
	Units    int      `json:"units"`
	Mean     float64  `json:"mean"`
	SD       float64  `json:"sd"`
	Low      float64  `json:"low"`
	High     float64  `json:"high"`
	K        *float64 `json:"k"`
	Log      bool     `json:"of_logarithms"`
	Coverage float64  `json:"coverage"`
}

func learnedObject(p *profiles.Profile, rep *learn.Report, f learnFlags) learnedJSON {
	l := p.Learned
	o := learnedJSON{File: f.out, Name: p.Name, Kind: p.Kind, Units: l.Units, Provisional: l.Provisional, Refused: rep.Refused,
		LeftOut: list(rep.LeftOut), Unusual: list(rep.Unusual), Rigs: list(l.Rigs), GainU: l.GainU, Days: l.Days, Fillings: l.Fillings,
		PartRevisions: list(l.PartRevisions), Confidence: f.tolerance.confidence / 100, Intervals: []intervalJSON{},
		Statement: list(l.Statement), Notes: list(rep.Notes)}
	for _, v := range rep.Intervals {
		i := intervalJSON{v.Quantity, v.Unit, v.Units, v.Mean, v.SD, v.Low, v.High, nil, v.Ratio, v.Coverage}
		if v.K > 0 {
			i.K = &v.K
		}
		o.Intervals = append(o.Intervals, i)
	}
	return o
}
