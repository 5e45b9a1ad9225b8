package trial

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"time"

	"dutybench/bench/result"
	simpump "dutybench/bench/sim/pump"
	"dutybench/signal/stat"
)

// Table is what a study found.
type Table struct {
	Trials  []Trial
	Took    time.Duration
	Workers int
}

// Count counts trials by what became of them.
type Count struct {
	N                       int
	Passed, Fail, Undecided int
	Right, Named, Stray     int
}

func (c *Count) add(t *Trial) {
	c.N++
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

// share is a count with its 95 % interval (Clopper and Pearson), in per cent.
func share(k, n int) string {
	if n == 0 {
		return "none"
	}
	low, high := stat.ClopperPearson(k, n, 0.95)
	return fmt.Sprintf("%5.1f %% (%.1f to %.1f)", 100*float64(k)/float64(n), 100*low, 100*high)
}

// WriteText prints the table for a person.
func (t *Table) WriteText(w io.Writer) error {
	var b strings.Builder
	t.faults(&b)
	t.sizes(&b)
	t.confusion(&b)
	t.summary(&b)
	_, err := io.WriteString(w, b.String())
	return err
}

// names and severities of the study, in order.
func (t *Table) axes() (sizes, faults []string, severities []float64) {
	for i := range t.Trials {
		x := &t.Trials[i]
		if !slices.Contains(sizes, x.Profile) {
			sizes = append(sizes, x.Profile)
		}
		if x.Fault == "" {
			continue
		}
		if !slices.Contains(faults, x.Fault) {
			faults = append(faults, x.Fault)
		}
		if !slices.Contains(severities, x.Severity) {
			severities = append(severities, x.Severity)
		}
	}
	return sizes, faults, severities
}

// faults is a line for each fault and severity.
func (t *Table) faults(b *strings.Builder) {
	_, faults, severities := t.axes()
	meaning := map[string]simpump.Fault{}
	for _, f := range simpump.Faults() {
		meaning[f.Name] = f
	}
	fmt.Fprintf(b, "%-18s %-13s %5s %4s %5s %5s %5s %6s %6s  %-24s  %s\n", "fault", "side", "sev.", "n", "pass", "fail", "undec", "right", "named", "attributed, 95 %", "severity means")
	for _, f := range faults {
		for _, v := range severities {
			c := t.Count(func(x *Trial) bool { return x.Fault == f && x.Severity == v })
			text := ""
			switch v {
			case 0.5:
				text = meaning[f].Half
			case 1:
				text = meaning[f].Full
			}
			fmt.Fprintf(b, "%-18s %-13s %5.2f %4d %5d %5d %5d %6d %6d  %-24s  %s\n", f, meaning[f].Side, v, c.N, c.Passed, c.Fail, c.Undecided, c.Right, c.Named, share(c.Attributed(), c.N), text)
		}
	}
}

// sizes is a line for each size, good and faulty.
func (t *Table) sizes(b *strings.Builder) {
	sizes, _, _ := t.axes()
	fmt.Fprintf(b, "\n%-26s %5s  %-26s %6s  %-26s %-26s\n", "size", "good", "refused, 95 %", "faulty", "not passed, 95 %", "attributed, 95 %")
	for _, s := range sizes {
		g := t.Count(func(x *Trial) bool { return x.Profile == s && Good(x) })
		f := t.Count(func(x *Trial) bool { return x.Profile == s && Faulty(x) })
		fmt.Fprintf(b, "%-26s %5d  %-26s %6d  %-26s %-26s\n", s, g.N, share(g.N-g.Passed, g.N), f.N, share(f.N-f.Passed, f.N), share(f.Attributed(), f.N))
	}
}

// confusion is a line for each true side, a column for each cause named.
func (t *Table) confusion(b *strings.Builder) {
	b.WriteString("\nrows: the true side; columns: the cause named first\n")
	fmt.Fprintf(b, "%-14s", "")
	for _, c := range result.Causes() {
		fmt.Fprintf(b, " %13s", c)
	}
	fmt.Fprintf(b, " %13s %13s\n", "none", "passed")
	for _, side := range append([]result.Cause{""}, result.Causes()...) {
		row := map[result.Cause]int{}
		n, none, passed := 0, 0, 0
		for i := range t.Trials {
			x := &t.Trials[i]
			if x.Fault == "" && side != "" || x.Fault != "" && alike(x.Fault)[0] != side {
				continue
			}
			n++
			switch {
			case x.Result.Verdict == result.Pass:
				passed++
			case x.Result.Cause == nil:
				none++
			default:
				row[*x.Result.Cause]++
			}
		}
		if n == 0 {
			continue
		}
		word := string(side)
		if side == "" {
			word = "good"
		}
		fmt.Fprintf(b, "%-14s", word)
		for _, c := range result.Causes() {
			fmt.Fprintf(b, " %13d", row[c])
		}
		fmt.Fprintf(b, " %13d %13d\n", none, passed)
	}
}

// summary is the figures that the bars are about, and times.
func (t *Table) summary(b *strings.Builder) {
	g, f, all := t.Count(Good), t.Count(Faulty), t.Count(func(*Trial) bool { return true })
	fmt.Fprintf(b, "\ngood units refused            %4d of %4d  %s\n", g.N-g.Passed, g.N, share(g.N-g.Passed, g.N))
	fmt.Fprintf(b, "faulty units passed           %4d of %4d  %s\n", f.Passed, f.N, share(f.Passed, f.N))
	fmt.Fprintf(b, "faulty units attributed       %4d of %4d  %s\n", f.Attributed(), f.N, share(f.Attributed(), f.N))
	fmt.Fprintf(b, "undecided outside listed sets %4d of %4d  %s\n", all.Stray, all.N, share(all.Stray, all.N))
	var long, run, took, most time.Duration
	var slope float64
	for i := range t.Trials {
		x := &t.Trials[i]
		long, run, took = long+x.Long, run+x.Run, took+x.Took
		most = max(most, x.Took)
	}
	if n := time.Duration(len(t.Trials)); n > 0 && long > 0 {
		slope = took.Seconds() / long.Seconds() * 60
		fmt.Fprintf(b, "a test: %.1f s on the rig, %.3f s in all (run %.3f s), at most %.3f s; 60 s would take %.3f s\n",
			(long / n).Seconds(), (took / n).Seconds(), (run / n).Seconds(), most.Seconds(), slope)
	}
	fmt.Fprintf(b, "%d trials in %.1f s on %d workers\n", len(t.Trials), t.Took.Seconds(), t.Workers)
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
