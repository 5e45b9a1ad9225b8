package judge_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/kind"
	"dutybench/bench/kind/pump"
	"dutybench/bench/result"
)

// soak is a whole test with a long run at full and two later starts.
func soak() bench {
	b := onBench()
	b.rate_Hz, b.noise_A = 256, 0.004
	p := whole()
	down := len(p) - 9
	long := []stage{{true, 100, 40, "soak"}, {true, 0, 2, "rest"}, {true, 20, 3, "restart"},
		{true, 100, 40, "soak"}, {true, 0, 2, "rest"}, {true, 20, 3, "restart"}, {true, 100, 2, "hold"}}
	b.plan = append(append(append([]stage{}, p[:down]...), long...), p[down:]...)
	return b
}

// In the second soak, and in the rest after it.
const inSoak_s, inRest_s = 75, 96

func TestComplaintsThatShowOnlyWarm(t *testing.T) {
	b := onBench()
	b.rate_Hz = 256
	p := profileOf(t, b, 15)
	for _, c := range []struct {
		name   string
		at_s   float64
		warm   func(u *unit)
		cause  result.Cause
		out    string
		passes bool
	}{
		{name: "nothing changes", at_s: inSoak_s, warm: func(*unit) {}, passes: true},
		{"no start once warm", inRest_s, func(u *unit) { u.asleep = true }, result.ControlBoard, pump.Restarts, false},
		{"stuck once warm", inRest_s, func(u *unit) { u.tries, u.try_A, u.try_s, u.rest_s = -1, u.burst_A, 0.3, 0.5 }, result.Mechanical, pump.Restarts, false},
		{"sticks once warm", inRest_s, func(u *unit) { u.tries, u.try_A, u.try_s, u.rest_s = 1, u.burst_A, 0.3, 0.5 }, result.Mechanical, pump.RestartTrys, false},
		{"takes power back", inSoak_s, func(u *unit) { u.limit_A = 3 }, result.ControlBoard, pump.WarmDrift, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			u := good(301)
			u.warmAt_s, u.warm = c.at_s, c.warm
			r := judgedAs(t, soak().record(u, 301), p, kind.Conditions{Primed: true})
			if c.passes {
				require.Equal(t, result.Pass, r.Verdict, r.Sentence)
				assert.Equal(t, result.Passed, find(t, r, pump.Restarts).Result)
				assert.InDelta(t, 0, *find(t, r, pump.WarmDrift).Value, 0.2)
				assert.NotContains(t, r.NotTested, "hot running")
				return
			}
			require.Equal(t, result.Fail, r.Verdict, r.Sentence)
			assert.Equal(t, c.cause, *r.Cause, r.Sentence)
			f := find(t, r, c.out)
			require.NotNil(t, f.Value)
			if c.out == pump.WarmDrift {
				assert.Less(t, *f.Value, -20.0)
				return
			}
			assert.Equal(t, result.Failed, f.Result)
		})
	}
}

// A fall in a held duty is found where it happens, and is none of settling.
func TestFallInAHold(t *testing.T) {
	b := onBench()
	p := profileOf(t, b, 15)
	fall := func(at float64) *float64 {
		u := good(302)
		u.warmAt_s, u.warm = at, func(u *unit) { u.limit_A = 3.6 }
		return find(t, judged(t, b.record(u, 302), p), pump.HoldFall).Value
	}
	const hold = 0.3 + 1.2 + 2 + 7*0.8 // where the hold at full begins, 1.5 s long
	never, midst := fall(1e9), fall(hold+0.9)
	if never != nil { // else known to less than good units spread, which is as good
		assert.Less(t, *never, 2.0)
	}
	require.NotNil(t, midst)
	full := good(302)
	want := 100 * (1 - 3.6/(full.scale*(full.c+full.v+full.h)))
	assert.InDelta(t, want, *midst, 4)
}
