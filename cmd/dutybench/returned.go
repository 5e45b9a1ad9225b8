package main

import (
	"fmt"

	"dutybench/bench/result"
	"dutybench/bench/rig"
	"dutybench/bench/run"
)

// listenToUnit begins to collect the unit's return signal beside a test; nil
// where the profile has no table for it or the rig no input.
func (t *test) listenToUnit() *rig.Returned {
	if run.ReturnTable(t.profile) == nil {
		return nil
	}
	d := t.bench.description
	if t.bench.simulated != nil {
		d.Return = &rig.Input{Pin: "RETURN", Pull: "up"}
	}
	heard, err := rig.OpenReturn(t.bench.board, &d)
	if err != nil {
		// What the unit says decides nothing, so a test goes on without it.
		fmt.Fprintln(t.stderr, "dutybench: the unit's return signal is not read:", err)
		return nil
	}
	return heard
}

// reports are what the unit said of itself during a test.
func (t *test) reports(heard *rig.Returned, out *run.Outcome) []result.UnitReport {
	if heard == nil {
		return nil
	}
	record := heard.Heard()
	if err := heard.Close(); err != nil {
		fmt.Fprintln(t.stderr, "dutybench:", err)
	}
	if out == nil || out.Trace == nil || out.Trace.Len() == 0 {
		return nil
	}
	list, err := run.ReadReturn(t.profile, record, out.Began, out.Trace)
	if err != nil {
		fmt.Fprintln(t.stderr, "dutybench:", err)
	}
	return list
}
