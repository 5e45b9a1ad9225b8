package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"dutybench/bench/kind"
	"dutybench/bench/record"
	"dutybench/bench/record/store"
	"dutybench/bench/report"
	"dutybench/bench/result"
	"dutybench/bench/rig"
	"dutybench/bench/run"
	"dutybench/profiles"
	"dutybench/signal/matter"
)

// runOnce is one whole test: carried out, kept, and its page written. It gives
// what is to be told and the exit status. An input without a schema says that
// nothing was measured and all is told; one with an error in its result, that
// the test was cancelled. With an error beside it, a result is what was found
// and not kept whole.
func (a *app) runOnce(ctx context.Context, f runFlags) (report.Input, int, error) {
	none := report.Input{}
	t, err := a.prepare(&f)
	if err != nil {
		return none, exitError, err
	}
	defer a.close(t.own)
	t.warn()
	inspection, err := a.inspected(ctx, f)
	if err != nil {
		return none, exitError, errors.Join(err, t.rig.Close())
	}
	if err := t.choosePlan(); err != nil {
		return none, exitError, errors.Join(err, t.rig.Close())
	}
	t.heed(inspection)
	t.findEarlier()
	t.heedBench()
	if err := t.rest(ctx); err != nil {
		return none, exitError, errors.Join(err, t.rig.Close())
	}
	if err := t.beginRecord(); err != nil {
		return none, exitError, errors.Join(err, t.rig.Close()) // before a test of many minutes, not after it
	}
	defer t.toHandOver()
	out, err := t.drive(ctx)
	if out == nil {
		return none, exitError, errors.Join(err, t.recorder.drop())
	}
	if errors.Is(err, context.Canceled) {
		return t.cancelled(out)
	}
	if err != nil && len(out.Faults) == 0 {
		return none, exitError, errors.Join(err, t.salvage(out))
	}
	if err != nil {
		complain(a.stderr, err)
	}
	return t.report(out)
}

// test is one test under way.
type test struct {
	*app
	status   int // the exit status that it calls for
	flags    runFlags
	profile  *profiles.Profile
	text     []byte // of the profile
	kind     kind.Kind
	rig      *rig.Rig
	bench    *openBench
	clock    *watchedClock
	store    keeper
	own      *store.Store  // the same, whole; nil in tests
	files    []record.File // that belong to the test
	workshop record.Workshop
	kept     bool // there is a record of it
	// recorder keeps the trace while it is measured; nil: it is kept at the end.
	recorder *recorder
	// inspection is what the person saw; nil when nobody was asked.
	inspection *result.Inspection
	said       []result.UnitReport // what the unit said of itself
	plan       kind.Plan
	decider    run.Decider   // nil: the plan is carried out whole
	rested     time.Duration // since this unit was last tested; 0 not known
	unwell     string        // the bench's last check was out of control; empty: it was not
	attempt    int           // of this serial, from 1; 0: it has none
	doubts     []string      // what is to be known of the circumstances, as sentences
}

// prepare opens all that a test needs, before anybody is asked anything. It
// completes the flags.
func (a *app) prepare(f *runFlags) (*test, error) {
	if err := f.check(); err != nil {
		return nil, err
	}
	p, k, err := loadProfile(f.profile)
	if err != nil {
		return nil, err
	}
	if err := f.dryOf(k); err != nil {
		return nil, err
	}
	if kind.Wet(k) && matter.OtherFluid(f.fluid, p.Fixture.Fluid) {
		return nil, usage("--fluid %s: profile %s was learned in %s, so nothing could be decided: fill the bench with that, or name a profile for this fluid", f.fluid, p.Name, p.Fixture.Fluid)
	}
	for _, path := range []string{f.page, f.trace} {
		if path != "" && path != "-" {
			if err := writable(path); err != nil {
				return nil, err
			}
		}
	}
	text, err := profileText(p)
	if err != nil {
		return nil, err
	}
	files, err := readPhotos(f.photos)
	if err != nil {
		return nil, err
	}
	own, err := a.ownStore()
	if err != nil {
		return nil, err
	}
	w, err := readWorkshop(own.Folder())
	if err != nil {
		return nil, errors.Join(err, own.Close())
	}
	if f.authorisedBy == "" {
		f.authorisedBy = w.AuthorisedBy
	}
	if f.unit == "" && (f.rig == rig.Sim || f.simulate) {
		f.unit = fmt.Sprintf("simulated-%d", f.seed)
	}
	bench, err := a.openBench(f.rigFlags, p)
	if err != nil {
		return nil, errors.Join(err, own.Close())
	}
	if drawing := connectorText(p.Connector); drawing != "" && (f.rig != rig.Sim && !f.simulate || f.inspect) {
		fmt.Fprint(a.stderr, "The unit's plug: ", drawing)
	}
	t := &test{app: a, flags: *f, profile: p, text: text, kind: k, rig: bench.Rig, bench: bench, clock: a.watchClock(bench), store: own, own: own,
		files: append(files, bench.files...), workshop: w.record()}
	return t, nil
}

// watched is a progress that also says when the trace is not kept as it comes.
func (t *test) watched(p *progress) func(run.Progress) {
	return func(q run.Progress) {
		p.show(q)
		if t.recorder == nil {
			return
		}
		if s := t.recorder.news(); s != "" {
			p.aside("dutybench: " + s)
		}
	}
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
	o := run.Options{Unit: t.flags.unit, Program: program(), Progress: t.watched(p), Decider: t.decider, Circumstances: t.circumstances(),
		Salvage: func(out *run.Outcome) {
			p.end()
			if err := t.salvage(out); err != nil {
				complain(t.stderr, err)
			}
		}}
	if t.recorder != nil {
		o.Sink = func(rows run.Rows) { t.recorder.take(rows) }
	}
	if t.flags.pace == "real" {
		o.Pace = run.RealTime(t.now, t.sleep)
	}
	heard := t.listenToUnit()
	out, err := run.Run(ctx, t.rig, t.plan, t.profile, o)
	p.end()
	if c := t.bench.calibrated; c != nil && out != nil {
		out.Warnings = append(out.Warnings, c.Check(t.now(), out.Zero, t.rig.Accuracy.CurrentStep_A)...)
	}
	t.dueLater(out)
	t.said = t.reports(heard, out)
	if cerr := t.rig.Close(); cerr != nil {
		fmt.Fprintln(t.stderr, "dutybench: the rig did not close cleanly:", cerr)
	}
	return out, err
}
