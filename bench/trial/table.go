package trial

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"dutybench/bench/result"
)

// Table is the trials of a study that were done.
type Table struct {
	Trials  []Trial
	Planned int // more than there are trials when the study was stopped
	Seed    uint64
	Took    time.Duration
	Workers int
}

// Count counts trials by what became of them.
type Count struct {
	N, Faulty               int
	Passed, Fail, Undecided int
	Right, Named, Stray     int
}

func (c *Count) add(t *Trial) {
	c.N++
	if Faulty(t) {
		c.Faulty++
	}
	switch t.Result.Verdict {
	case result.Pass:
		c.Passed++
	case result.Fail:
		c.Fail++
	default:
		c.Undecided++
	}
	switch t.Score() {
	case Right:
		c.Right++
	case Named:
		c.Named++
	}
	if t.Stray() {
		c.Stray++
	}
}

// Attributed is how many faulty units did not pass and had their side named,
// alone or in a listed set.
func (c Count) Attributed() int { return c.Right + c.Named }

// Count counts the trials that match.
func (t *Table) Count(match func(*Trial) bool) Count {
	var c Count
	for i := range t.Trials {
		if match(&t.Trials[i]) {
			c.add(&t.Trials[i])
		}
	}
	return c
}

// Good and Faulty pick trials.
func Good(t *Trial) bool   { return t.Fault == "" }
func Faulty(t *Trial) bool { return t.Fault != "" }

// fault is one fault of a kind.
type fault struct{ kind, name string }

func (f fault) is(t *Trial) bool { return t.Fault == f.name && t.Result.Kind == f.kind }

// axes are names and severities of the study: the sizes and faults in its
// order, the severities rising.
func (t *Table) axes() (sizes []string, faults []fault, severities []float64) {
	for i := range t.Trials {
		x := &t.Trials[i]
		if !slices.Contains(sizes, x.Profile) {
			sizes = append(sizes, x.Profile)
		}
		if x.Fault == "" {
			continue
		}
		if f := (fault{x.Result.Kind, x.Fault}); !slices.Contains(faults, f) {
			faults = append(faults, f)
		}
		if !slices.Contains(severities, x.Severity) {
			severities = append(severities, x.Severity)
		}
	}
	slices.Sort(severities)
	return sizes, faults, severities
}

// Finding is one line about a finding of a trial.
func Finding(f result.Finding) string {
	s := fmt.Sprintf("%-22s", f.Name)
	if f.Value == nil {
		return s + " not measured"
	}
	s += fmt.Sprintf(" %10.4g %-3s", *f.Value, f.Unit)
	edge := func(x *float64) float64 {
		if x == nil {
			return math.NaN()
		}
		return *x
	}
	s += fmt.Sprintf(" in %.4g to %.4g", edge(f.Low), edge(f.High))
	if f.Spread != nil {
		s += fmt.Sprintf(", z %+.1f", *f.Spread)
	}
	return s + ", " + string(f.Result)
}

// Explain tells a trial with every finding that lies out, for whoever asks why.
func (t *Trial) Explain() string {
	var b strings.Builder
	r := t.Result
	cause := "none"
	if r.Cause != nil {
		cause = string(*r.Cause)
	}
	fmt.Fprintf(&b, "%s seed %d: %s at %.2f: %s, cause %s %v", t.Profile, t.Seed, strings.TrimSpace(t.Fault+" "), t.Severity, r.Verdict, cause, r.Inseparable)
	if t.Ended != "" {
		fmt.Fprintf(&b, ", ended: %s", t.Ended)
	}
	b.WriteByte('\n')
	for _, c := range r.Causes {
		if c.Probability >= 0.02 {
			fmt.Fprintf(&b, "    %s %.2f", c.Cause, c.Probability)
		}
	}
	b.WriteByte('\n')
	for _, f := range r.Findings {
		if f.Result != result.Passed && f.Result != result.NotMeasured || f.Spread != nil && math.Abs(*f.Spread) > 2 {
			b.WriteString("    " + Finding(f) + "\n")
		}
	}
	for _, w := range r.Warnings {
		b.WriteString("    warning: " + w + "\n")
	}
	return b.String()
}
