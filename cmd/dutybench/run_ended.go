package main

import (
	"fmt"
	"math"

	"dutybench/bench/guard"
	"dutybench/bench/report"
	"dutybench/bench/run"
	"dutybench/signal/trace"
)

// cancelled keeps what there is of a test that a person or the system ended.
func (t *test) cancelled(out *run.Outcome) (report.Input, int, error) {
	off := "The supply is off"
	if out.Off.Verified {
		off += fmt.Sprintf(" (measured: %.3f A)", math.Abs(out.Off.Current_A))
	}
	fmt.Fprintf(t.stderr, "dutybench: the test was cancelled. %s.\n", off)
	if out.Trace.Len() == 0 {
		fmt.Fprintln(t.stderr, "dutybench: nothing was measured, so nothing is kept.")
		return report.Input{}, exitError, t.recorder.drop()
	}
	kept, err := t.keep(out)
	if err != nil {
		return report.Input{}, exitError, err
	}
	fmt.Fprintf(t.stderr, "dutybench: what was measured is kept as record %s, marked as cancelled.\n", kept.Result.Record)
	kept.Result.Error = kept.Result.Ended
	return kept, exitError, nil
}

// wasCancelled says that a person or the system ended a test.
func wasCancelled(out *run.Outcome) bool {
	return out.Trip != nil && (out.Trip.Rule == guard.Cancelled || out.Trip.Rule == guard.StopPressed)
}

// salvage keeps the trace of a test that failed.
func (t *test) salvage(out *run.Outcome) error {
	if out.Trace.Len() == 0 {
		return t.recorder.drop()
	}
	kept, err := t.keep(out)
	if err == nil {
		fmt.Fprintf(t.stderr, "dutybench: what was measured is kept as record %s.\n", kept.Result.Record)
	}
	return err
}

// temperature is the mean of what the rig's sensor said; nil without one.
func temperature(tr *trace.Trace) *float64 {
	sum, n := 0.0, 0.0
	for _, x := range tr.Values(trace.ColTemperature) {
		if isFinite(x) {
			sum, n = sum+x, n+1
		}
	}
	if n == 0 {
		return nil
	}
	mean := math.Round(10*sum/n) / 10
	return &mean
}
