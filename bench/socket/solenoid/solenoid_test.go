package solenoid_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/judge"
	"dutybench/bench/kinds"
	"dutybench/bench/result"
	"dutybench/bench/socket"
	"dutybench/bench/socket/solenoid"
	"dutybench/bench/trial"
	"dutybench/profiles"
)

// Every built-in valve has a unit, the same for the same seed; a profile that none
// fits is told so.
func TestBench(t *testing.T) {
	for _, name := range []string{"valve-12v", "valve-prop-12v"} {
		p, err := profiles.Load(name, kinds.Section)
		require.NoError(t, err)
		a, err := solenoid.Socket{}.Bench(p, socket.Simulated{Seed: 3})
		require.NoError(t, err, name)
		b, err := solenoid.Socket{}.Bench(p, socket.Simulated{Seed: 3})
		require.NoError(t, err)
		assert.Equal(t, a.TwoWire, b.TwoWire)
		again, err := solenoid.Socket{}.Bench(p, socket.Simulated{Seed: 3, Again: 2, Filling: 1})
		require.NoError(t, err)
		assert.NotEqual(t, a.Supply, again.Supply)
		p.Supply.Nominal_V = 48
		_, err = solenoid.Socket{}.Bench(p, socket.Simulated{Seed: 3})
		assert.ErrorIs(t, err, socket.ErrNoUnit)
	}
}

func TestFaultsTellThemselves(t *testing.T) {
	p, err := profiles.Load("valve-12v", kinds.Section)
	require.NoError(t, err)
	for _, f := range (solenoid.Socket{}).Faults() {
		for _, s := range []string{f.Name, f.Side, f.Line, f.Half, f.Full} {
			assert.NotEmpty(t, s, f.Name)
		}
		for _, severity := range []float64{0, 0.3, 0.5, 1} {
			_, err := solenoid.Socket{}.Bench(p, socket.Simulated{Seed: 3, Fault: f.Name, Severity: severity})
			assert.NoError(t, err, f.Name)
		}
	}
	_, err = solenoid.Socket{}.Bench(p, socket.Simulated{Fault: "gremlins"})
	assert.ErrorContains(t, err, "gremlins")
	for _, g := range (solenoid.Socket{}).Perturbations() {
		_, err := solenoid.Socket{}.Bench(p, socket.Simulated{Seed: 3, Perturb: socket.Perturbation{Group: g, Factor: 1.2}})
		assert.NoError(t, err, g)
	}
}

// The whole way from a unit in the socket to a verdict: a few seeds; rates are the
// campaign's. A stuck plunger shows no motion in any pulse.
func TestWholeWay(t *testing.T) {
	p, err := profiles.Load("valve-12v", kinds.Section)
	require.NoError(t, err)
	k, err := kinds.Named(p.Kind)
	require.NoError(t, err)
	for _, c := range []struct {
		fault    string
		severity float64
		verdict  result.Verdict
		cause    result.Cause
	}{
		{"", 0, result.Pass, ""},
		{"shorted-turns", 1, result.Fail, result.Electrical},
		{"stuck-closed", 1, result.Fail, result.Mechanical},
		{"coil-open", 1, result.Undecided, result.Electrical},
		{"line-resistance", 1, result.Undecided, result.Wiring},
		{"supply-limit", 0.6, result.Undecided, result.Bench},
	} {
		rec, err := trial.Record(p, kinds.Simulated{Seed: 6001, Fault: c.fault, Severity: c.severity})
		require.NoError(t, err)
		r, err := rec.Judge(p, k, judge.Options{})
		require.NoError(t, err)
		assert.Equal(t, c.verdict, r.Verdict, "%s: %s", c.fault, r.Sentence)
		if c.cause == "" {
			assert.NotEmpty(t, r.Views)
			continue
		}
		if assert.NotNil(t, r.Cause, c.fault) {
			assert.Equal(t, c.cause, *r.Cause, "%s: %s", c.fault, r.Sentence)
		}
		for _, f := range r.Findings {
			if c.fault == "stuck-closed" && f.Name == "switching_time" {
				assert.Equal(t, result.NotMeasured, f.Result, "no motion is reported of a plunger that is stuck")
			}
		}
		if c.fault == "coil-open" {
			assert.Equal(t, []result.Cause{result.Electrical, result.Wiring}, r.Inseparable)
		}
	}
}
