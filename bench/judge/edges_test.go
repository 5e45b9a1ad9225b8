package judge_test

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/kind"
	"dutybench/bench/kind/pump"
	"dutybench/bench/result"
)

// A trace that begins with the unit already running holds no start.
func TestRunningFromTheFirstSample(t *testing.T) {
	p := ordinary(t)
	tr := onBench().record(good(81), 81)
	from := slices.IndexFunc(tr.Time(), func(x float64) bool { return x > 5 }) // in the second step up
	cut := *tr
	cut.Columns = slices.Clone(tr.Columns)
	for i := range cut.Columns {
		cut.Columns[i].Values = cut.Columns[i].Values[from:]
	}
	r := judged(t, &cut, p)
	for _, n := range []string{pump.StartDelay, pump.StartSettle, pump.StartLevel, pump.StartPeak, pump.StartAttempts} {
		assert.Equal(t, result.NotMeasured, find(t, r, n).Result, n)
	}
	assert.NotEqual(t, result.Pass, r.Verdict, "a start that was not seen cannot have passed")
	assert.NotEqual(t, result.Fail, r.Verdict, r.Sentence)
}

// A good unit run at one low duty has its start and its level right: what is
// missing is the rest of the sweep.
func TestOneDutyOnly(t *testing.T) {
	b := stages(func(s stage) bool { return s.duty == 0 || s.name == "start" })
	r := judged(t, b.record(good(80), 80), ordinary(t))
	for _, n := range []string{pump.Full, pump.Response, pump.Hysteresis, pump.CurveDown, pump.Scale, pump.LowSpeed, pump.FlatTop} {
		assert.Equal(t, result.NotMeasured, find(t, r, n).Result, n)
	}
	require.Equal(t, result.Undecided, r.Verdict, r.Sentence)
}

// Nothing was commanded and nothing flowed: there is still a next step.
func TestAllZeroHasANextStep(t *testing.T) {
	r := judged(t, flat(0, func(int) float64 { return 0 }, 3000), ordinary(t))
	require.Equal(t, result.Undecided, r.Verdict)
}

// A unit that tries for longer than half a step of a brisk sweep does not run.
func TestTriesInABriskSweep(t *testing.T) {
	for _, c := range []struct{ try, rest float64 }{{0.6, 1.1}, {0.3, 0.7}} {
		u := changed(200, func(u *unit) { u.tries, u.try_A, u.try_s, u.rest_s = -1, u.burst_A, c.try, c.rest })
		r := judged(t, onBench().record(u, 200), ordinary(t))
		require.NotEqual(t, result.Pass, r.Verdict)
		assert.Equal(t, result.Mechanical, *r.Cause, "%v: %s", c, r.Sentence)
	}
}

// Even pulses without a gap are a stuck rotor's, at whatever height; gaps are
// what an open phase leaves.
func TestEvenLowPulsesNameTheMechanics(t *testing.T) {
	for _, share := range []float64{0.36, 0.45, 0.55} {
		u := changed(201, func(u *unit) { u.tries, u.try_A, u.try_s, u.rest_s = -1, share*u.burst_A, 0.3, 0.7 })
		r := judged(t, slow().record(u, 201), ordinary(t))
		require.NotEqual(t, result.Pass, r.Verdict)
		assert.Contains(t, append(r.Inseparable, *r.Cause), result.Mechanical, "pulses at %g: %s", share, r.Sentence)
	}
}

// A set that holds the bench is no verdict on the unit.
func TestASetWithTheBenchDoesNotFail(t *testing.T) {
	b := onBench()
	b.limit_A = 3.2
	r := judgedAs(t, without(b.record(good(210), 210), "supply_V"), ordinary(t), kind.Conditions{Primed: true})
	require.Contains(t, r.Inseparable, result.Bench)
	require.Equal(t, result.Undecided, r.Verdict, r.Sentence)
}
