package trial

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"dutybench/bench/result"
	"dutybench/signal/stat"
)

// WriteText prints the table for a person, and what computing it took.
func (t *Table) WriteText(w io.Writer) error {
	if err := t.Report().WriteText(w); err != nil {
		return err
	}
	var long, run, took, most time.Duration
	for i := range t.Trials {
		x := &t.Trials[i]
		long, run, took = long+x.Long, run+x.Run, took+x.Took
		most = max(most, x.Took)
	}
	n := time.Duration(len(t.Trials))
	if n == 0 || long == 0 {
		return nil
	}
	_, err := fmt.Fprintf(w, "\na test: %.1f s on the rig, computed in %.3f s (run %.3f s), at most %.3f s\n",
		(long / n).Seconds(), (took / n).Seconds(), (run / n).Seconds(), most.Seconds())
	return err
}

// WriteText prints the report for a person, 80 columns wide: first what
// matters most.
func (r *Report) WriteText(w io.Writer) error {
	var b strings.Builder
	r.head(&b)
	r.summary(&b)
	r.misses(&b)
	r.faults(&b)
	r.sizes(&b)
	r.confusion(&b)
	_, err := io.WriteString(w, b.String())
	return err
}

func (r *Report) head(b *strings.Builder) {
	var names []string
	for _, p := range r.Profiles {
		names = append(names, fmt.Sprintf("%s (revision %d)", p.Name, p.Revision))
	}
	fmt.Fprintf(b, "Trial on simulated units: %s\n", strings.Join(names, ", "))
	fmt.Fprintf(b, "%d tests, seed %d, in %.1f s on %d workers. In brackets: 95 %% intervals.\n", r.Trials, r.Seed, r.Took, r.Workers)
	if r.Partial {
		fmt.Fprintf(b, "PARTIAL: stopped after %d of %d tests.\n", r.Trials, r.Planned)
	}
}

// summary is the figures over all units.
func (r *Report) summary(b *strings.Builder) {
	line := func(label string, x Rate) { b.WriteString(rateLine(label, x)) }
	b.WriteByte('\n')
	line("good units refused", r.Good.NotPassed)
	line("faulty units passed", r.Faulty.Pass)
	line("faulty units attributed", r.Faulty.Attributed)
	line("undecided outside listed sets", r.Stray)
	b.WriteString(r.Calibration.String())
	if len(r.Windows) > 0 {
		b.WriteString("\nOne window on the current at full command would have done instead:\n")
		for _, w := range r.Windows {
			fmt.Fprintf(b, "  %s: %.3g to %.3g A, mean ± %.2f sd of %d good units\n", w.Profile, w.Low_A, w.High_A, w.Factor, w.Good)
		}
		line("good units refused", r.Good.Window)
		f := r.Faulty.Window
		line("faulty units passed", NewRate(f.Of-f.Count, f.Of))
	}
	b.WriteString("\nTime on the bench\n")
	for _, t := range r.Times {
		fmt.Fprintf(b, "%-11s %5d tests %22s, at most %.1f s\n", t.Verdict, t.N, t.BenchTime, *t.Longest)
	}
}

// missed is a fault at a severity with a share of its units.
type missed struct {
	fault    string
	severity float64
	rate     Rate
}

// misses lists what passes and what is blamed on another side, worst first.
func (r *Report) misses(b *strings.Builder) {
	if len(r.Faults) == 0 {
		return
	}
	r.missing(b, "Passes although faulty", func(o Outcomes) Rate { return o.Pass })
	r.missing(b, "Does not pass, and another side is blamed, or none", func(o Outcomes) Rate {
		return NewRate(o.NotPassed.Count-o.Attributed.Count, o.Units)
	})
}

func (r *Report) missing(b *strings.Builder, title string, rate func(Outcomes) Rate) {
	var list []missed
	fewest, none := 0, 0
	for _, f := range r.Faults {
		for _, s := range f.Severities {
			switch x := rate(s.Outcomes); {
			case x.Of == 0:
			case x.Count > 0:
				list = append(list, missed{f.Name, s.Severity, x})
			default:
				none++
				if fewest == 0 || x.Of < fewest {
					fewest = x.Of
				}
			}
		}
	}
	slices.SortStableFunc(list, func(a, b missed) int { return cmp.Compare(*b.rate.Share, *a.rate.Share) })
	fmt.Fprintf(b, "\n%s:\n", title)
	for _, m := range list {
		fmt.Fprintf(b, "  %-18s at %.2f  %5d of %5d  %s\n", m.fault, m.severity, m.rate.Count, m.rate.Of, m.rate)
	}
	if none > 0 {
		rest := "none"
		if len(list) > 0 {
			rest = "no other"
		}
		fmt.Fprintf(b, "  %s; with %d of each tried, up to %.1f %% would be possible\n", rest, fewest, 100**NewRate(0, fewest).High)
	}
}

// faults is a line for each fault and severity.
func (r *Report) faults(b *strings.Builder) {
	if len(r.Faults) == 0 {
		return
	}
	windows := len(r.Windows) > 0
	head := "Each fault, rates in per cent. right: its side is named, alone or in a set that the list of faults says cannot be told apart. "
	if windows {
		head += "win.: what the window refuses. "
	}
	b.WriteByte('\n')
	fill(b, head+"What a severity means: dutybench run --list-faults --profile PROFILE. To look at one such unit: dutybench run --profile PROFILE --fault NAME:SEVERITY.")
	b.WriteByte('\n')
	line := func(cells ...any) {
		if !windows {
			cells[len(cells)-1] = ""
		}
		var s strings.Builder
		fmt.Fprintf(&s, "%7s %4s  %-13s%-13s%-13s%-13s%-10s%4s", cells...)
		b.WriteString(strings.TrimRight(s.String(), " ") + "\n")
	}
	line("sever.", "n", "pass", "fail", "undecided", "right", "bench, s", "win.")
	for _, f := range r.Faults {
		wrap(b, fmt.Sprintf("%s (%s): %s", f.Name, f.Side, f.Line))
		for _, s := range f.Severities {
			window := "-"
			if s.Window.Share != nil {
				window = fmt.Sprint(stat.WholePercent(*s.Window.Share))
			}
			line(fmt.Sprintf("%.2f", s.Severity), fmt.Sprint(s.Units), s.Pass.short(), s.Fail.short(), s.Undecided.short(), s.Attributed.short(), s.Time.short(), window)
		}
		if f.Caught != nil {
			fmt.Fprintf(b, "    9 of 10 caught from %s", f.Caught)
			if f.WindowCaught != nil {
				fmt.Fprintf(b, "; by the window %s", f.WindowCaught)
			}
			b.WriteByte('\n')
		}
	}
}

// sizes is two lines for each size where there are several.
func (r *Report) sizes(b *strings.Builder) {
	if len(r.Sizes) < 2 {
		return
	}
	fmt.Fprintf(b, "\n%-27s %5s  %-22s  %s\n", "size", "units", "not passed", "attributed")
	for _, s := range r.Sizes {
		fmt.Fprintf(b, "%-20s %6s %5d  %s\n", s.Profile, "good", s.Good.Units, s.Good.NotPassed)
		fmt.Fprintf(b, "%-20s %6s %5d  %-22s  %s\n", "", "faulty", s.Faulty.Units, s.Faulty.NotPassed, s.Faulty.Attributed)
	}
}

// confusion is a line for each true side, a column for each cause named.
func (r *Report) confusion(b *strings.Builder) {
	if len(r.Confusion) == 0 {
		return
	}
	var causes []result.Cause
	for _, c := range result.Causes() {
		if slices.ContainsFunc(r.Confusion, func(row ConfusionRow) bool { return row.Named[c] > 0 || row.Side == c }) {
			causes = append(causes, c)
		}
	}
	b.WriteString("\nThe true side in rows, the cause named first in columns\n")
	fmt.Fprintf(b, "%-13s", "")
	for _, c := range causes {
		fmt.Fprintf(b, " %*s", max(len(c), 5), c)
	}
	fmt.Fprintf(b, " %5s %6s\n", "none", "passed")
	for _, row := range r.Confusion {
		fmt.Fprintf(b, "%-13s", cmp.Or(string(row.Side), "good"))
		for _, c := range causes {
			fmt.Fprintf(b, " %*d", max(len(c), 5), row.Named[c])
		}
		fmt.Fprintf(b, " %5d %6d\n", row.None, row.Passed)
	}
}

// columns is how wide the text is set.
const columns = 80

// wrap writes words broken at blanks, further lines moved in.
func wrap(b *strings.Builder, words string) { set(b, words, "  ") }

// fill is wrap with all lines alike.
func fill(b *strings.Builder, words string) { set(b, words, "") }

func set(b *strings.Builder, words, indent string) {
	used := 0
	for i, w := range strings.Fields(words) {
		n := utf8.RuneCountInString(w)
		switch {
		case i == 0:
		case used+1+n > columns:
			b.WriteString("\n" + indent)
			used = len(indent)
		default:
			b.WriteByte(' ')
			used++
		}
		b.WriteString(w)
		used += n
	}
	b.WriteByte('\n')
}
