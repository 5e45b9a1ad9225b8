package main

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"dutybench/bench/kinds"
	"dutybench/bench/run"
	"dutybench/profiles"
)

// faultColumn is where words begin beside a fault's name.
const faultColumn = 19

// parseFault reads NAME[:SEVERITY].
func parseFault(s, kind string) (name string, severity float64, err error) {
	if s == "" {
		return "", 0, nil
	}
	name, grade, graded := strings.Cut(s, ":")
	if !kinds.IsBenchFault(name) && !slices.ContainsFunc(kinds.Faults(kind), func(f kinds.Fault) bool { return f.Name == name }) {
		return "", 0, usage("--fault %q: there is no such fault of a %s; dutybench run --list-faults with the same --profile explains those there are", name, kind)
	}
	if !graded {
		return name, 1, nil
	}
	severity, err = strconv.ParseFloat(grade, 64)
	if err != nil || !(severity >= 0 && severity <= 1) {
		return "", 0, usage("--fault %s: the severity %q is no number from 0 to 1", name, grade)
	}
	return name, severity, nil
}

// listFaults explains the faults of the simulated units of a profile's kind and of
// their bench, each in a line;
// on a terminal the line is broken at blanks.
func (a *app) listFaults(p *profiles.Profile, width int) error {
	faults := kinds.Faults(p.Kind)
	if len(faults) == 0 {
		return fmt.Errorf("no %s is simulated, so there are no faults to choose", p.Kind)
	}
	if w, terminal := a.isTerminal(a.stdout); width == 0 && terminal {
		width = max(w, 60)
	}
	if width == 0 {
		width = math.MaxInt
	}
	var b strings.Builder
	column := faultColumn
	ofBench := kinds.BenchFaultsFor(p)
	for _, f := range slices.Concat(faults, ofBench) {
		column = max(column, len(f.Name)+2)
	}
	for _, f := range faults {
		fill(&b, f.Name, fmt.Sprintf("%s (%s). 0.5: %s. 1: %s.", f.Line, f.Side, f.Half, f.Full), column, width)
	}
	b.WriteByte('\n')
	sd := "standard deviations of good units"
	if s := kinds.FaultsFor(p.Kind); s != "" {
		sd += "; " + s
	}
	fill(&b, "sd", sd, column, width)
	b.WriteString("\nFaults of the bench itself, at a time that the seed draws:\n\n")
	for _, f := range ofBench {
		fill(&b, f.Name, fmt.Sprintf("%s (%s). 0.5: %s. 1: %s.", f.Line, f.Side, f.Half, f.Full), column, width)
	}
	if _, err := io.WriteString(a.stdout, b.String()); err != nil {
		return fmt.Errorf("writing the list: %w", err)
	}
	return nil
}

// dueLater says that a fault of the simulated bench, which the seed gives its time,
// was due after the test had ended: what was found is that of a whole bench.
func (t *test) dueLater(out *run.Outcome) {
	if t.bench.armed.Name == "" || out == nil {
		return
	}
	at, ended := t.bench.armed.At, out.LastOff
	if ended <= 0 || at <= ended || len(out.Faults)+len(out.Doubts) > 0 { // it may show as late as that
		return
	}
	fmt.Fprintf(t.stderr, "dutybench: the fault %s was due at %.1f s, and the test was over at %.1f s: nothing of it is in this test. Another --seed draws another time; --full makes the test longer.\n",
		t.bench.armed.Name, at.Seconds(), ended.Seconds())
}
