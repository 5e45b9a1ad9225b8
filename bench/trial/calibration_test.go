package trial_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/result"
	"dutybench/bench/trial"
)

// told is a result with the probabilities of causes.
func told(v result.Verdict, p map[result.Cause]float64) *result.Result {
	r := &result.Result{Verdict: v}
	for _, c := range result.Causes() {
		if x, ok := p[c]; ok {
			r.Causes = append(r.Causes, result.CauseProbability{Cause: c, Probability: x})
		}
	}
	return r
}

func is(causes ...result.Cause) func(result.Cause) bool {
	return func(c result.Cause) bool {
		for _, x := range causes {
			if x == c {
				return true
			}
		}
		return false
	}
}

func TestCalibration(t *testing.T) {
	const board, mech, water = result.ControlBoard, result.Mechanical, result.Hydraulic
	var c trial.Calibration
	c.Add(told(result.Fail, map[result.Cause]float64{board: 0.95, mech: 0.05}), is(board)) // 0.05² + 0.05²
	c.Add(told(result.Fail, map[result.Cause]float64{board: 0.9, mech: 0.1}), is(mech))    // 0.9² + 0.9²
	c.Add(told(result.Fail, map[result.Cause]float64{board: 0.3, mech: 0.7}), is(mech))    // 0.3² + 0.3²
	c.Add(told(result.Undecided, nil), is(board))                                          // nothing told: 1
	c.Add(told(result.Pass, nil), is(board))                                               // passed
	c.Add(told(result.Fail, map[result.Cause]float64{water: 1}), is())                     // a good unit
	got := c.Result()
	assert.Equal(t, 4, got.Units)
	assert.Equal(t, []int{1, 2}, []int{got.SureRight.Count, got.SureRight.Of})
	assert.Equal(t, []int{1, 4}, []int{got.RightSure.Count, got.RightSure.Of})
	require.NotNil(t, got.Brier)
	assert.InDelta(t, (0.005+1.62+0.18+1)/4, *got.Brier, 1e-12)
	assert.InDelta(t, 0.5, *got.Base, 1e-12, "two causes, each of half the units: 0.5² + 0.5²")
	assert.InDelta(t, 1-*got.Brier/0.5, *got.Skill, 1e-12)
	assert.Less(t, *got.Low, *got.Brier)
	assert.Greater(t, *got.High, *got.Brier)
	assert.Contains(t, got.String(), "1 of     2")
}

// Where two causes are right, what is spread over them is no error.
func TestCalibrationOfSets(t *testing.T) {
	const board, wire, mech = result.ControlBoard, result.Wiring, result.Mechanical
	var c trial.Calibration
	c.Add(told(result.Undecided, map[result.Cause]float64{board: 0.5, wire: 0.5}), is(board, wire))
	c.Add(told(result.Fail, map[result.Cause]float64{mech: 1}), is(mech))
	got := c.Result()
	assert.InDelta(t, 0, *got.Brier, 1e-12)
	assert.Equal(t, []int{1, 1}, []int{got.RightSure.Count, got.RightSure.Of}, "one unit has a single right cause")
	// Base rates: a quarter, a quarter, a half. The set: 0.5² + 0.5²; the
	// other: 0.25² + 0.25² + 0.5².
	assert.InDelta(t, (0.5+0.375)/2, *got.Base, 1e-12)
	assert.InDelta(t, 1, *got.Skill, 1e-12)
}

func TestCalibrationOfNothing(t *testing.T) {
	var c trial.Calibration
	got := c.Result()
	assert.Nil(t, got.Brier)
	assert.Nil(t, got.Skill)
	assert.Nil(t, got.SureRight.Share)
	assert.NotEmpty(t, got.String())
	c.Add(told(result.Fail, map[result.Cause]float64{result.Bench: 1}), is(result.Bench))
	got = c.Result()
	assert.Zero(t, *got.Brier)
	assert.Nil(t, got.Skill, "with one cause only there is nothing to tell")
	assert.Nil(t, got.Low)
}
