package fan_test

import (
	"errors"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/judge"
	"dutybench/bench/kind/fan"
	"dutybench/bench/kinds"
	"dutybench/bench/result"
	"dutybench/bench/socket"
	fansocket "dutybench/bench/socket/fan"
	"dutybench/bench/trial"
	"dutybench/profiles"
)

func builtin(t *testing.T) *profiles.Profile {
	t.Helper()
	p, err := profiles.Load("fan-12v-150w", kinds.Section)
	require.NoError(t, err)
	return p
}

// Faults are named and stand by a known side; a size is found by what the type
// draws, and where none fits that is said.
func TestSocket(t *testing.T) {
	p := builtin(t)
	for _, f := range (fansocket.Socket{}).Faults() {
		assert.Contains(t, []string{"control-board", "mechanical", "wiring", "bench"}, f.Side, f.Name)
		assert.NotEmpty(t, f.Half)
		o, err := kinds.Bench(p, kinds.Simulated{Seed: 1, Fault: f.Name, Severity: 0.5})
		require.NoError(t, err, f.Name)
		assert.NotNil(t, o.Unit)
	}
	for _, g := range (fansocket.Socket{}).Perturbations() {
		_, err := kinds.Bench(p, kinds.Simulated{Seed: 1, Perturb: kinds.Perturbation{Group: g, Factor: 2}})
		assert.NoError(t, err, g)
	}
	p.Good, p.Limits.Current_A = nil, 100
	_, err := kinds.Bench(p, kinds.Simulated{Seed: 1})
	assert.True(t, errors.Is(err, socket.ErrNoUnit), "%v", err)
}

// A small trial, whole tests on the simulated rig: good units pass, faults are
// refused and their side is named. The campaigns of bench/trial try more.
func TestSmallTrial(t *testing.T) {
	if testing.Short() {
		t.Skip("whole simulated tests")
	}
	p := builtin(t)
	for i, c := range []struct {
		fault    string
		severity float64
		side     result.Cause
		verdict  result.Verdict
	}{
		{"", 0, "", result.Pass}, {"bearing-drag", 0.7, result.Mechanical, result.Fail}, {"blade-rub", 0.6, result.Mechanical, result.Fail},
		{"blades-lost", 0.6, result.Mechanical, result.Fail}, {"rotor-seized", 0.5, result.Mechanical, result.Fail},
		{"open-phase", 1, result.ControlBoard, result.Fail}, {"power-limit", 0.6, result.ControlBoard, result.Fail},
		{"command-lost-full", 0.5, result.ControlBoard, result.Fail}, {"blocked-air", 0.8, result.Bench, result.Undecided},
		{"line-resistance", 0.7, result.Wiring, result.Undecided}, {"unplugged", 1, result.Wiring, result.Undecided},
	} {
		rec, err := trial.Record(p, kinds.Simulated{Seed: 700_000 + uint64(i), Fault: c.fault, Severity: c.severity})
		require.NoError(t, err)
		r, err := rec.Judge(p, fan.Kind{}, judge.Options{})
		require.NoError(t, err)
		assert.Equal(t, c.verdict, r.Verdict, "%s: %s", c.fault, r.Sentence)
		if c.fault != "" {
			assert.Equal(t, c.side, r.Causes[0].Cause, "%s: %s", c.fault, r.Sentence)
		}
	}
}
