package main

import (
	"fmt"

	"dutybench/bench/kind"
	"dutybench/bench/kinds"
	"dutybench/bench/report"
)

// aboutKind tells a report what of the unit's kind bears on it.
func aboutKind(in report.Input) report.Input {
	in.Wet, in.Cautions = kindFacts(in.Result.Kind)
	return in
}

// kindFacts is whether units of a kind run in a liquid, and what may hurt whoever
// tests one. A record of a kind that this program does not know says neither.
func kindFacts(name string) (wet bool, cautions []string) {
	k, err := kinds.Named(name)
	if err != nil {
		return false, nil
	}
	return kind.Wet(k), kind.Cautions(k)
}

// dryOf refuses the word that a loop is primed, for a kind that has none.
func (f *runFlags) dryOf(k kind.Kind) error {
	if f.primed && !kind.Wet(k) {
		return usage("--primed: a %s runs in no loop; leave it out", k.Name())
	}
	return nil
}

// warn says before anything is switched on what may hurt. Who learns on a
// simulated bench learns it too.
func (t *test) warn() {
	for _, s := range kind.Cautions(t.kind) {
		fmt.Fprintln(t.stderr, "Take care:", s)
	}
}
