package main

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"dutybench/bench/kinds"
)

// faultColumn is where words begin beside a fault's name.
const faultColumn = 19

// parseFault reads NAME[:SEVERITY].
func parseFault(s, kind string) (name string, severity float64, err error) {
	if s == "" {
		return "", 0, nil
	}
	name, grade, graded := strings.Cut(s, ":")
	known := slices.Concat(kinds.Faults(kind), kinds.BenchFaults())
	if !slices.ContainsFunc(known, func(f kinds.Fault) bool { return f.Name == name }) {
		return "", 0, usage("--fault %q: there is no such fault of a %s; dutybench run --list-faults explains those there are", name, kind)
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

// listFaults explains the faults of a kind's simulated units, each in a line;
// on a terminal the line is broken at blanks.
func (a *app) listFaults(kind string, width int) error {
	faults := kinds.Faults(kind)
	if len(faults) == 0 {
		return fmt.Errorf("no %s is simulated, so there are no faults to choose", kind)
	}
	if w, terminal := a.isTerminal(a.stdout); width == 0 && terminal {
		width = max(w, 60)
	}
	if width == 0 {
		width = math.MaxInt
	}
	var b strings.Builder
	for _, f := range faults {
		fill(&b, f.Name, fmt.Sprintf("%s (%s). 0.5: %s. 1: %s.", f.Line, f.Side, f.Half, f.Full), faultColumn, width)
	}
	b.WriteByte('\n')
	fill(&b, "sd", "standard deviations of good units; figures in amperes are for a unit of about 60 W", faultColumn, width)
	b.WriteString("\nFaults of the bench itself, at a time that the seed draws:\n\n")
	for _, f := range kinds.BenchFaults() {
		fill(&b, f.Name, fmt.Sprintf("%s (%s). 0.5: %s. 1: %s.", f.Line, f.Side, f.Half, f.Full), faultColumn, width)
	}
	if _, err := io.WriteString(a.stdout, b.String()); err != nil {
		return fmt.Errorf("writing the list: %w", err)
	}
	return nil
}
