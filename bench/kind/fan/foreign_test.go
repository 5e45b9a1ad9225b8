package fan_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/judge"
	"dutybench/bench/kind"
	"dutybench/bench/kind/fan"
	"dutybench/bench/learn"
	"dutybench/bench/result"
	"dutybench/profiles"
	"dutybench/signal/trace"
)

// stranger is a fan by equations that share nothing with the simulated ones: a
// map from duty to current, with a first-order lag, on a bench that samples
// slowly and reads neither the supply nor the wire. Its air takes the power 2.8
// of the speed, its speed bends with the duty.
type stranger struct {
	rest_A, friction_A, air_A, lag_s float64
	cap_A                            float64 // a limit; 0: none
	does                             string
}

func good(r *rand.Rand) stranger {
	return stranger{rest_A: 0.11 * (1 + 0.05*r.NormFloat64()), friction_A: 0.9 * (1 + 0.1*r.NormFloat64()),
		air_A: 7.5 * (1 + 0.03*r.NormFloat64()), lag_s: 0.35 * (1 + 0.1*r.NormFloat64())}
}

// wants is the current that it settles to.
func (s stranger) wants(duty float64) float64 {
	if s.does == "deaf" {
		duty = 100
	}
	if duty < 10 || s.does == "dead" {
		return s.rest_A
	}
	w := math.Pow(duty/100, 0.85)
	i := s.rest_A + s.friction_A*w + s.air_A*math.Pow(w, 2.8)
	if s.cap_A > 0 {
		i = min(i, s.cap_A)
	}
	return i
}

// trace is its test: 200 samples a second, a staircase up and down.
func (s stranger) trace(t *testing.T, name string, seed uint64) *trace.Trace {
	t.Helper()
	r := rand.New(rand.NewPCG(seed, 99))
	var b strings.Builder
	fmt.Fprintf(&b, "# trace: 1\n# unit: %s\n# kind: fan\n# supply_nominal_V: 13\n# duty: command\n# current_gain_u: 0.003\nt_s,duty_pct,current_A,supply_on\n", name)
	type step struct{ duty, long, on float64 }
	list := []step{{0, 0.5, 0}, {0, 1.5, 1}}
	for _, d := range []float64{20, 30, 40, 50, 60, 70, 80, 90, 100, 85, 70, 55, 40, 25} {
		list = append(list, step{d, 3.5, 1})
	}
	now, i, since := 0.0, 0.0, 0.0
	for _, p := range append(list, step{0, 2, 1}) {
		for range int(p.long * 200) {
			to := s.wants(p.duty)
			switch {
			case p.on == 0:
				to, i = 0, 0
			case s.does == "stuck" && p.duty >= 10:
				// Three attempts of 0.9 s, 1.4 s apart, then none.
				to = s.rest_A
				if n := math.Floor(since / 2.3); n < 3 && since-2.3*n < 0.9 {
					to = s.rest_A + 2.2
				}
				i, since = to, since+0.005
			}
			i += (to - i) * 0.005 / s.lag_s
			fmt.Fprintf(&b, "%.3f,%g,%.5f,%g\n", now, p.duty, i+0.004*r.NormFloat64(), p.on)
			now += 0.005
		}
	}
	tr, err := trace.Read(strings.NewReader(b.String()), name)
	require.NoError(t, err)
	return tr
}

func learned(t *testing.T, n int) *profiles.Profile {
	t.Helper()
	r := rand.New(rand.NewPCG(11, 12))
	var traces []*trace.Trace
	for i := range n {
		traces = append(traces, good(r).trace(t, fmt.Sprint("good ", i), uint64(i)))
	}
	p, _, err := learn.Learn(traces, fan.Kind{}, learn.Options{Name: "stranger"})
	require.NoError(t, err)
	return p
}

// Units of another model, judged by a profile learned from that model's good
// ones of which nothing else is known.
func TestUnitsOfAnotherModel(t *testing.T) {
	p := learned(t, 15)
	r := rand.New(rand.NewPCG(21, 22))
	verdict := func(s stranger, seed uint64) *result.Result {
		res, err := judge.Judge(s.trace(t, "unit", seed), p, fan.Kind{}, judge.Options{Conditions: kind.Conditions{}})
		require.NoError(t, err)
		return res
	}
	passed := 0
	for i := range 30 {
		if res := verdict(good(r), 1000+uint64(i)); res.Verdict == result.Pass {
			passed++
		} else {
			t.Log(res.Sentence)
		}
	}
	assert.GreaterOrEqual(t, passed, 29, "of 30 good ones")
	for _, c := range []struct {
		name   string
		change func(s *stranger)
		causes []result.Cause // one of them comes first
		fails  bool
	}{
		{"bearing", func(s *stranger) { s.friction_A *= 2.2 }, []result.Cause{result.Mechanical}, true},
		// Of a type that does not say which way its air leaves, the path of the
		// air may be to blame too.
		{"half the blades", func(s *stranger) { s.air_A *= 0.55 }, []result.Cause{result.Mechanical, result.Bench}, false},
		{"path blocked", func(s *stranger) { s.air_A *= 1.35 }, []result.Cause{result.Bench}, false},
		// Neither voltage nor wire was read: supply or board, wire or board.
		{"limited", func(s *stranger) { s.cap_A = 5.5 }, []result.Cause{result.ControlBoard, result.Bench}, false},
		{"deaf", func(s *stranger) { s.does = "deaf" }, []result.Cause{result.ControlBoard, result.Wiring}, false},
		{"stuck", func(s *stranger) { s.does = "stuck" }, []result.Cause{result.Mechanical, result.ControlBoard}, false},
		{"awake and no more", func(s *stranger) { s.does = "dead" }, []result.Cause{result.ControlBoard, result.Wiring}, false},
		{"nothing", func(s *stranger) { s.does, s.rest_A = "dead", 0 }, []result.Cause{result.ControlBoard, result.Wiring}, false},
	} {
		for i := range 4 {
			s := good(r)
			c.change(&s)
			res := verdict(s, 2000+uint64(i))
			assert.NotEqual(t, result.Pass, res.Verdict, c.name)
			assert.Contains(t, c.causes, res.Causes[0].Cause, "%s: %s", c.name, res.Sentence)
			if c.fails {
				assert.Equal(t, result.Fail, res.Verdict, "%s: %s", c.name, res.Sentence)
			}
		}
	}
}
