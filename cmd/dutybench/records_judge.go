package main

import (
	"bytes"
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"dutybench/bench/kind"
	"dutybench/bench/kinds"
	"dutybench/bench/record"
	"dutybench/bench/result"
	"dutybench/bench/run"
	"dutybench/profiles"
	"dutybench/signal/trace"
)

// rejudgeFlags are how records are judged again.
type rejudgeFlags struct {
	profile      string
	asKept, json bool
	width        int
	keys         []string // for a bundle
}

// recordSource is where a record is got by its name.
type recordSource interface {
	get(name string) (*record.Record, error)
}

func newRecordsJudge(a *app) *cobra.Command {
	var f rejudgeFlags
	c := &cobra.Command{
		Use: "judge ID... | judge FILE.zip [ID...]", Short: "Judge records again with today's profile and rules, and show what changes and why",
		Long: `Judge takes the trace of a record and judges it again: with the profile of the
same name as it is today, with the one that --profile names, or with the record's
own, --as-kept, so that only the program's rules may differ. What the bench and
the person saw during the test is taken as it was. The record stays as it is.

FILE.zip is a bundle, as records bundle makes it. It is verified first; then all
its records are judged again, or those that are named. No store is needed. With
the bench's public key, --key, somebody else than the bundle vouches for them.`,
		Example: `  dutybench records judge 12
  dutybench records judge 12 14 --as-kept
  dutybench records judge claim-4711.zip --as-kept --key bench.key.pub`,
		Args: some("record, by its name or number, or a bundle"),
		RunE: a.do(func(_ *cobra.Command, args []string) error { return a.rejudge(f, args) }),
	}
	fl := c.Flags()
	fl.StringVar(&f.profile, "profile", "", "`PROFILE` to judge against, by name or file (default: today's of the record's name)")
	fl.BoolVar(&f.asKept, "as-kept", false, "judge against the record's own profile")
	fl.BoolVar(&f.json, "json", false, "print one JSON object a line")
	keyFlag(c, &f.keys)
	widthFlag(c, &f.width)
	return c
}

func (a *app) rejudge(f rejudgeFlags, names []string) error {
	if f.asKept && f.profile != "" {
		return usage("--as-kept judges by the record's own profile, so --profile has nothing to name: give one of the two")
	}
	if err := checkWidth(f.width); err != nil {
		return err
	}
	path, names := fromBundle(names)
	if path == "" && len(f.keys) > 0 {
		return usage("--key is for a bundle; name one")
	}
	for _, n := range names {
		if _, err := record.ParseID(strings.TrimPrefix(n, traceScheme)); err != nil {
			return usage("%v", err)
		}
	}
	if path == "" {
		kept := &recordTraces{app: a}
		defer kept.done()
		return a.rejudgeAll(kept, names, f, nil)
	}
	b, err := a.openBundle(path, f.keys)
	if err != nil {
		return err
	}
	defer a.close(b)
	if len(names) == 0 {
		names = b.names()
	}
	if f.json {
		return a.rejudgeAll(b, names, f, b.object())
	}
	var says strings.Builder
	fill(&says, "", b.vouched(), 0, cmp.Or(f.width, textWidth))
	if err := a.writeLines(says.String() + "\n"); err != nil {
		return err
	}
	return a.rejudgeAll(b, names, f, nil)
}

// rejudgeAll judges records of one source again and tells of each; from is the
// bundle that they came from, for scripts.
func (a *app) rejudgeAll(kept recordSource, names []string, f rejudgeFlags, from *bundleObject) error {
	var status []int
	for i, n := range names {
		c, err := a.rejudgeOne(kept, n, f)
		if err != nil {
			status = append(status, exitError)
			if f.json {
				err = writeJSON(a.stdout, refusal{Schema: result.Schema, Source: n, Error: plainly(err), Record: ""})
			} else {
				complain(a.stderr, err)
				err = nil
			}
		} else {
			status = append(status, c.now.Exit())
			switch {
			case f.json:
				o := c.object()
				o.Bundle = from
				err = writeJSON(a.stdout, o)
			case i > 0:
				err = a.writeLines("\n" + c.text(f.width))
			default:
				err = a.writeLines(c.text(f.width))
			}
		}
		if err != nil {
			return err
		}
	}
	a.status = result.WorstExit(append(status, a.status)...)
	return nil
}

// rejudgeOne judges one record again.
func (a *app) rejudgeOne(kept recordSource, name string, f rejudgeFlags) (*comparison, error) {
	rec, err := kept.get(name)
	if err != nil {
		return nil, err
	}
	own, ownErr := kinds.Parse(rec.Profile.Text, rec.Profile.Name)
	p := own
	switch {
	case f.asKept:
		if ownErr != nil {
			return nil, fmt.Errorf("record %s: its profile cannot be read by this program: %w; name another with --profile", rec.ID, ownErr)
		}
	case f.profile != "":
		if p, _, err = loadProfile(f.profile); err != nil {
			return nil, err
		}
	default:
		// The name out of a record is no path: a bundle may come from anybody.
		if _, ok := profiles.Builtin(rec.Profile.Name); !ok {
			return nil, fmt.Errorf("today's profile %q is none of the built-ins: name its file with --profile, or take the record's own with --as-kept", rec.Profile.Name)
		}
		if p, _, err = loadProfile(rec.Profile.Name); err != nil {
			return nil, err
		}
	}
	c := &comparison{rec: rec, profile: p, program: program()}
	if rec.Result != nil {
		c.then = new(result.Result)
		if err := json.Unmarshal(rec.Result, c.then); err != nil {
			return nil, fmt.Errorf("record %s: its result cannot be read: %w", rec.ID, err)
		}
	}
	if c.now, err = judgeAgain(rec, c.then, p); err != nil {
		return nil, err
	}
	if ownErr == nil && p.SHA256 != rec.Profile.SHA256 {
		if r, err := judgeAgain(rec, c.then, own); err == nil {
			c.rules = &r
		}
	} else if ownErr == nil {
		c.rules = &c.now
	}
	return c, nil
}

// judgeAgain judges a record's trace, and puts into it what bench and person
// saw, as far as the result kept then (nil: none) tells it.
func judgeAgain(rec *record.Record, then *result.Result, p *profiles.Profile) (result.Result, error) {
	k, err := kinds.Named(p.Kind)
	if err != nil {
		return result.Result{}, err
	}
	tr, err := trace.Read(bytes.NewReader(rec.Trace), traceName(rec.ID))
	if err != nil {
		return result.Result{}, err
	}
	conditions := kind.Conditions{Primed: rec.At.Primed}
	purpose := rec.Purpose
	if then != nil && then.Risk != nil {
		purpose = then.Risk.Purpose // the rule that was judged by
	}
	if p, err := kind.ParsePurpose(purpose); err == nil {
		conditions.Purpose = p
	}
	var r result.Result
	judged, err := judgeTrace(tr, p, k, conditions)
	switch {
	case err == nil:
		r = *judged
	case then == nil || then.Verdict != result.Undecided:
		return r, err
	default: // too little to judge, then as now
		r = unjudged(tr, p)
		r.Warnings = append(r.Warnings, err.Error())
	}
	out := run.Remembered(tr, then, rec.Interrupted)
	var seen *result.Inspection
	if rec.At.Inspection != nil {
		seen = &result.Inspection{Answers: rec.At.Inspection}
	}
	r = clean(result.Inspected(run.Merge(r, out), seen, !simulated(rec.Rig)))
	if then != nil {
		r.Reports = then.Reports
	}
	r.Record, r.Source = rec.ID.String(), traceName(rec.ID)
	if r.Schema == 0 {
		return r, errors.New("the trace was not judged")
	}
	return r, nil
}
