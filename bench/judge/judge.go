// Package judge turns a trace and a profile into a result: findings from the
// kind, a verdict by the decision rules, and the sentence that says so. It
// gets traces only; labels that a plan left in them are not looked at.
package judge

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"dutybench/bench/kind"
	"dutybench/bench/result"
	"dutybench/profiles"
	"dutybench/signal/trace"
)

// Options for one judgement.
type Options struct {
	Conditions kind.Conditions
}

// doubt is the share of probability outside the unit, or outside what a
// repeat could rule out, from which on a unit is not called failed: one in
// five, the other side of the four to one that names a cause alone.
const doubt = 0.2

// Judge holds a trace against a profile of its kind.
func Judge(tr *trace.Trace, p *profiles.Profile, k kind.Kind, o Options) (*result.Result, error) {
	r, _, err := judged(tr, p, k, o)
	return r, err
}

// state is what the kind says of a test under way: that nothing can follow that
// would change its result, or that too little is known for one.
type state struct{ final, sketchy bool }

// judged is Judge, and how far the test has got.
func judged(tr *trace.Trace, p *profiles.Profile, k kind.Kind, o Options) (res *result.Result, at state, err error) {
	if named, ok := tr.Get(trace.KeyKind); ok && named != "" && named != p.Kind {
		return nil, at, fmt.Errorf("judge: %s is a trace of a %s and profile %s is for a %s: give a profile of its kind", tr.Source, named, p.Name, p.Kind)
	}
	tr = asCommand(tr, p)
	m, err := k.Measure(tr, p)
	if err != nil {
		return nil, at, fmt.Errorf("judge: %w", err)
	}
	a := k.Assess(m, p, o.Conditions)
	r := &result.Result{
		Schema: result.Schema, Source: tr.Source, Kind: p.Kind,
		Profile:  result.Profile{Name: p.Name, Revision: p.Revision, SHA256: p.SHA256},
		Findings: a.Findings, Curve: a.Curve, Views: a.Views, Startup: startup(m),
		Causes: a.Causes, NotTested: a.NotTested,
		Warnings: slices.Concat(tr.Warnings, m.Warnings, a.Warnings),
	}
	r.Early, _ = tr.Get(trace.KeyEnough)
	r.Unit, _ = tr.Get(trace.KeyUnit)
	r.Ended, _ = tr.Get(trace.KeyEnded)
	if p.Learned.Provisional {
		r.Warnings = append(r.Warnings, fmt.Sprintf("profile %s is provisional: it was learned from %d units", p.Name, p.Learned.Units))
	}
	if why := wrongSupply(m, p); why != "" && !a.Stark {
		r.Warnings = append(r.Warnings, why)
		decideBench(r, why, "set the supply to what the profile asks for, or judge with a profile for this supply")
		return r, at, nil
	}
	if a.Elsewhere != "" && !a.Stark {
		decideBench(r, a.Elsewhere, a.ElsewhereNext)
		return r, at, nil
	}
	if a.OnlyHollow() {
		decideBench(r, tooUnsteady(a.Hollow), "make refilling and mounting steadier and study the bench again (dutybench bench study plan), or learn the profile from good units over several fillings")
		return r, at, nil
	}
	decide(r, a, o.Conditions, kind.Whole(k))
	if r.Verdict != result.Fail {
		r.Warnings = append(r.Warnings, a.Lacking...)
	}
	r.Risk = riskOf(r, a, o.Conditions.Purpose)
	if r.Verdict == result.Pass && o.Conditions.Purpose != kind.Return && barely(r.Risk) {
		r.NextStep = again(r)
	}
	r.Sentence = sentence(r, a, o.Conditions.Purpose)
	return r, state{final: a.Final, sketchy: a.Sketchy}, nil
}

// tooUnsteady says in a clause that the bench cannot decide these findings.
func tooUnsteady(findings []string) string {
	if n := len(findings) - 3; n > 1 {
		findings = append(slices.Clone(findings[:3]), fmt.Sprintf("%d more findings", n))
	}
	return "by its gauge study, this bench is too unsteady for the limits of " + strings.ReplaceAll(strings.Join(findings, ", "), "_", " ") + ", and nothing else lies out"
}

// asCommand turns a duty column that holds what was on the wire into the
// command, through the profile's law. The trace given is not touched.
func asCommand(tr *trace.Trace, p *profiles.Profile) *trace.Trace {
	if which, _ := tr.Get(trace.KeyDuty); which != "line" {
		return tr
	}
	c := *tr
	c.Columns = slices.Clone(tr.Columns)
	for i := range c.Columns {
		if c.Columns[i].Name == trace.ColDuty {
			v := make([]float64, len(c.Columns[i].Values))
			for j, d := range c.Columns[i].Values {
				v[j] = p.Command.CommandOf(d)
			}
			c.Columns[i].Values = v
		}
	}
	return &c
}

// passedNext is the next step after a pass, by what it is for.
func passedNext(p kind.Purpose, soaked bool) string {
	switch p {
	case kind.NewPart:
		return "fit it"
	case kind.Core:
		return "reuse it whole"
	case kind.Return:
		if soaked {
			return "give it back"
		}
		return "give it back; where the complaint shows only warm or after hours, test it with --soak"
	}
	return "fit it, or give it back as good"
}

// again is the next step after a pass that a repeat may turn.
func again(r *result.Result) string {
	if r.Early != "" {
		return "repeat the test whole (--full); where it passes again, " + r.NextStep
	}
	return "repeat the test; where it passes again, " + r.NextStep
}

// decide sets verdict and cause. whole is the next step when a trace does not hold
// enough.
func decide(r *result.Result, a *kind.Assessment, c kind.Conditions, whole string) {
	if len(a.Causes) == 0 {
		r.Causes = even()
	}
	if a.Flawless() {
		r.Verdict, r.NextStep = result.Pass, passedNext(c.Purpose, a.Soaked)
		return
	}
	r.Verdict = result.Undecided
	failed := a.Stark || slices.ContainsFunc(a.Findings, func(f result.Finding) bool { return f.Result == result.Failed })
	if !failed && len(a.Lacking) > 0 {
		r.NextStep = whole
		return
	}
	r.Disproof, r.NextStep, r.Reusable, r.Carried = a.Disproof, a.NextStep, a.Reusable, a.Carried
	if !failed { // only doubtful findings
		r.NextStep = "repeat the test: what lies out does so by less than the measurement is sure of"
	}
	if r.NextStep == "" {
		r.NextStep = whole
	}
	if len(a.Causes) == 0 {
		return
	}
	top := a.Causes[0].Cause
	r.Cause = &top
	r.Inseparable, r.SeparatedBy = a.Inseparable, a.SeparatedBy
	if len(r.Inseparable) > 1 && r.SeparatedBy != "" && failed {
		r.NextStep = r.SeparatedBy // one next step: the test that tells them apart
	}
	if !failed {
		return
	}
	var outside float64 // probability that the unit is not to blame, or not shown to be
	for _, x := range a.Causes {
		switch x.Cause {
		case result.Wiring, result.Bench:
			outside += x.Probability
		case result.Hydraulic:
			if !c.Primed {
				outside += x.Probability
			}
		}
	}
	named := slices.ContainsFunc(r.Inseparable, func(x result.Cause) bool {
		return x == result.Wiring || x == result.Bench || x == result.Hydraulic && !c.Primed
	})
	if outside <= doubt && !named {
		r.Verdict = result.Fail
	}
}

// even is a probability for each cause when nothing speaks for any.
func even() []result.CauseProbability {
	var out []result.CauseProbability
	all := result.Causes()
	for _, c := range all {
		out = append(out, result.CauseProbability{Cause: c, Probability: 1 / float64(len(all))})
	}
	return out
}

func decideBench(r *result.Result, why, next string) {
	b := result.Bench
	r.Verdict, r.Cause, r.Surroundings = result.Undecided, &b, true
	r.Causes = []result.CauseProbability{{Cause: b, Probability: 1, For: []string{why}}}
	r.NextStep = next
	r.Sentence = "Undecided: " + why + ". Next: " + next + "."
}

// wrongSupply says so when the unit was run at a supply that the profile does
// not hold for.
func wrongSupply(m *kind.Measured, p *profiles.Profile) string {
	if p.Supply.Nominal_V <= 0 {
		return ""
	}
	var v []float64
	for _, q := range m.Curve {
		if !math.IsNaN(q.Supply_V) {
			v = append(v, q.Supply_V)
		}
	}
	if len(v) == 0 {
		return ""
	}
	// Half of the lowest supply is no setting of any 12 or 24 V system.
	if slices.Max(v) < 0.5*p.Supply.Low_V {
		return "" // no supply at all, or none under load: a finding, not a setting
	}
	// The highest plateau voltage is the nearest to the supply's own: a sag
	// under load is a finding, not a wrong supply.
	// Two per cent either way are the sense dividers' (1 % resistors).
	x := slices.Max(v)
	if x > 1.02*p.Supply.High_V || x < 0.98*p.Supply.Low_V {
		return fmt.Sprintf("the unit was run at %.1f V, and profile %s holds for %.1f to %.1f V", x, p.Name, p.Supply.Low_V, p.Supply.High_V)
	}
	return ""
}

func startup(m *kind.Measured) result.Startup {
	s := result.Startup{Attempts: []result.Attempt{}}
	for _, a := range m.Startup.Attempts {
		s.Attempts = append(s.Attempts, result.Attempt{Start: a.Start_s, Length: a.Length_s, Mean: a.Mean_A, Peak: a.Peak_A})
	}
	if t := m.Startup.Settled_s; !math.IsNaN(t) {
		s.Settled = &t
	}
	return s
}

// Probability of the cause that a result names.
func Probability(r *result.Result) float64 {
	for _, c := range r.Causes {
		if r.Cause != nil && c.Cause == *r.Cause {
			return c.Probability
		}
	}
	return 0
}
