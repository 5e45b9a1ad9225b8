package judge_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"dutybench/bench/kind/pump"
	"dutybench/bench/result"
	"dutybench/profiles"
)

// Common practice, no source: on one 12 V auxiliary coolant pump a commanded
// run at full must draw 2.8 to 6 A. 4.79 A was a good one; 0.24 A after a
// brief attempt was one whose board gave up.
func TestStatedFullCurrentWindow(t *testing.T) {
	const practice = "common practice, no source"
	p := &profiles.Profile{Format: profiles.Format, Name: "by-hand", Revision: 1, Kind: "pump",
		Command: profiles.Command{Type: "pwm", Frequency_Hz: 100, Drive: "open-drain", Wake_pct: 5, Full_pct: 100},
		Supply:  profiles.Supply{Nominal_V: 12, Low_V: 9, High_V: 16},
		Limits:  profiles.Limits{Current_A: 10, Peak_A: 20},
		Stated:  []profiles.Limit{{Finding: pump.Full, Unit: "A", Low: 2.8, High: 6, Source: practice}}}
	b := onBench()
	b.plan = []stage{{true, 0, 1, "quiet"}, {true, 100, 6, "hold"}, {true, 0, 1, "stop"}}
	at := func(full float64) unit {
		u := good(1)
		u.quiet, u.c, u.v, u.scale, u.burst_A = 0.03, 0.6, 0.1, 1, 2.5
		u.h = full - u.quiet - u.c - u.v
		return u
	}
	gaveUp := at(4.79)
	gaveUp.tries, gaveUp.try_A, gaveUp.try_s, gaveUp.rest_s = 1, 2.5, 0.4, 1000
	gaveUp.awake_A = 0.24 - gaveUp.quiet

	for _, c := range []struct {
		name    string
		u       unit
		near    float64 // A
		within  bool
		verdict []result.Verdict
	}{
		{"good", at(4.79), 4.79, true, []result.Verdict{result.Pass}},
		{"gave up after a brief attempt", gaveUp, 0.24, false, []result.Verdict{result.Fail, result.Undecided}},
		{"just inside below", at(2.85), 2.85, true, []result.Verdict{result.Pass}},
		{"just outside below", at(2.75), 2.75, false, []result.Verdict{result.Fail, result.Undecided}},
		{"just inside above", at(5.95), 5.95, true, []result.Verdict{result.Pass}},
		{"just outside above", at(6.05), 6.05, false, []result.Verdict{result.Fail, result.Undecided}},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := judged(t, b.record(c.u, 1), p)
			f := find(t, r, pump.Full)
			require.NotNil(t, f.Value)
			require.InDelta(t, c.near, *f.Value, 0.01)
			require.InDelta(t, 2.8, *f.Low, 0)
			require.InDelta(t, 6, *f.High, 0)
			require.Equal(t, c.within, f.Result == result.Passed, "the window")
			require.Contains(t, c.verdict, r.Verdict, r.Sentence)
		})
	}
}
