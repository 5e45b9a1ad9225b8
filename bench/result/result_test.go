package result_test

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/result"
)

func TestExitStatus(t *testing.T) {
	of := func(c result.Cause) *result.Cause { return &c }
	for _, c := range []struct {
		name string
		r    result.Result
		want int
	}{
		{"pass", result.Result{Verdict: result.Pass}, 0},
		{"fail", result.Result{Verdict: result.Fail, Cause: of(result.Mechanical)}, 3},
		{"fail, one of a set", result.Result{Verdict: result.Fail, Cause: of(result.Mechanical), Inseparable: []result.Cause{result.Mechanical, result.ControlBoard}}, 3},
		{"undecided without a cause", result.Result{Verdict: result.Undecided}, 4},
		{"undecided, hydraulic", result.Result{Verdict: result.Undecided, Cause: of(result.Hydraulic)}, 4},
		{"undecided, wiring", result.Result{Verdict: result.Undecided, Cause: of(result.Wiring)}, 5},
		{"undecided, bench", result.Result{Verdict: result.Undecided, Cause: of(result.Bench)}, 5},
		{"undecided, wiring or board", result.Result{Verdict: result.Undecided, Cause: of(result.Wiring), Inseparable: []result.Cause{result.Wiring, result.ControlBoard}}, 4},
		{"undecided, wiring or bench", result.Result{Verdict: result.Undecided, Cause: of(result.Wiring), Inseparable: []result.Cause{result.Wiring, result.Bench}}, 5},
		{"not read", result.Result{Error: "no such file"}, 1},
		{"an error outweighs a verdict", result.Result{Error: "x", Verdict: result.Pass}, 1},
		{"nothing at all is no pass", result.Result{}, 4},
	} {
		assert.Equal(t, c.want, c.r.Exit(), c.name)
	}
}

// The worst of several, in the order 2, 1, 5, 3, 4, 0.
func TestWorstExit(t *testing.T) {
	order := []int{2, 1, 5, 3, 4, 0}
	for i, worse := range order {
		for _, better := range order[i:] {
			require.Equal(t, worse, result.WorstExit(better, worse))
			require.Equal(t, worse, result.WorstExit(worse, better, 0))
		}
	}
	require.Zero(t, result.WorstExit())
}

// Scripts rely on these names, and on null where there is nothing.
func TestJSONKeepsItsContract(t *testing.T) {
	low := 1.0
	b, err := json.Marshal(result.Result{
		Schema: result.Schema, Source: "a.csv", Verdict: result.Pass,
		Causes:   []result.CauseProbability{{Cause: result.Bench, Probability: 1}},
		Profile:  result.Profile{Name: "p", Revision: 2, SHA256: "00"},
		Findings: []result.Finding{{Name: "full_current", Unit: "A", Low: &low, Result: result.NotMeasured}},
		Curve:    []result.Point{{Duty: 20, Direction: "up", Current: 1}},
		Startup:  result.Startup{Attempts: []result.Attempt{{Start: 1, Length: 2, Mean: 3, Peak: 4}}},
		Warnings: []string{},
	})
	require.NoError(t, err)
	require.JSONEq(t, `{
		"schema": 1, "source": "a.csv", "verdict": "pass", "cause": null,
		"causes": [{"cause": "bench", "probability": 1}],
		"profile": {"name": "p", "revision": 2, "sha256": "00"},
		"findings": [{"name": "full_current", "value": null, "unit": "A", "uncertainty": null, "low": 1, "high": null, "result": "not-measured"}],
		"curve": [{"duty_pct": 20, "direction": "up", "current_A": 1, "uncertainty_A": 0, "low_A": null, "high_A": null}],
		"startup": {"attempts": [{"start_s": 1, "length_s": 2, "mean_A": 3, "peak_A": 4}], "settled_s": null},
		"warnings": []
	}`, string(b))
}

func TestCausesAreSix(t *testing.T) {
	require.Equal(t, []result.Cause{"control-board", "mechanical", "electrical", "hydraulic", "wiring", "bench"}, result.Causes())
	result.Causes()[0] = "x"
	require.Equal(t, result.ControlBoard, result.Causes()[0], "each caller gets a list of its own")
}
