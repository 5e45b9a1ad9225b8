package positioner_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/judge"
	"dutybench/bench/kind/positioner"
	"dutybench/bench/learn"
	"dutybench/bench/result"
	"dutybench/profiles"
	"dutybench/signal/trace"
)

// stranger is a positioner from other equations than the simulator's: a stepping
// motor that goes at one speed or stands, in whole steps, whose current does not
// know the load but for what binds; or one that approaches like a low-pass against
// a spring, with a current that holds it. It is recorded at a rate of its own, by
// one column of the position.
type stranger struct {
	sprung bool
	rate   float64

	speed, step, delay, play float64 // %/s, %, s, %
	tau                      float64 // s, of the sprung one
	quiet, moves, holds      float64 // A
	low, high                float64 // %, stops
	noise                    float64 // %

	spotAt, spot    float64 // a place that binds: share of its current more
	all             float64 // binds all over: share of its current more
	wornAt, worn    float64 // a noisy place
	skipAt          float64 // a place where it stands for skip seconds at half the current
	skip            float64
	deaf, mute, jam bool
}

func goodStranger(sprung bool, r *rand.Rand) stranger {
	vary := func(x, sd float64) float64 { return x * (1 + sd*min(3, max(-3, r.NormFloat64()))) }
	u := stranger{sprung: sprung, rate: 200, speed: vary(38, 0.02), step: 0.5, delay: vary(0.06, 0.05), play: vary(0.4, 0.1), tau: vary(0.12, 0.04),
		quiet: vary(0.06, 0.03), moves: vary(0.21, 0.04), low: -1 + 0.2*r.NormFloat64(), high: 101 + 0.2*r.NormFloat64(), noise: 0.08,
		spotAt: math.NaN(), wornAt: math.NaN(), skipAt: math.NaN()}
	if sprung {
		u.rate, u.holds = 1000, vary(0.4, 0.03)
	}
	return u
}

// record runs a sweep of tens up and down, strokes, and steps of ten that turn
// round: what somebody with a signal generator would do.
func (u stranger) record(name string, r *rand.Rand) *trace.Trace {
	var duties []float64
	for d := 0.0; d <= 100; d += 10 {
		duties = append(duties, d)
	}
	for d := 90.0; d >= 0; d -= 10 {
		duties = append(duties, d)
	}
	duties = append(duties, 100, 0, 100, 0, 50, 60, 50, 60, 50)
	var t, duty, amps, place []float64
	x, gear, now := 30.0, 30.0, 0.0 // the output, and what drives it
	if u.sprung {
		x = 0
	}
	asked, since, way := x, 0.0, 1.0
	held := 0.0
	for k, d := range append([]float64{0, 0}, duties...) {
		long := 0.9 + math.Abs(d-asked)/30
		if k == 0 {
			long = 0.5 // without supply
		}
		if k == 1 {
			long = 3
		}
		asked, since = d, now
		for now < since+long {
			dt := 1 / u.rate
			now += dt
			i := 0.0
			if k > 0 {
				i, x, gear, way, held = u.move(asked, now-since, dt, x, gear, way, held)
			}
			told := math.Round((x+u.noise*r.NormFloat64())/0.1) * 0.1
			if math.Abs(x-u.wornAt) < 3 {
				told += u.worn * r.NormFloat64()
			}
			if u.mute {
				told = -12
			}
			if k == 0 {
				told = math.NaN()
			}
			t, duty, place = append(t, now), append(duty, d), append(place, told)
			amps = append(amps, i+0.0006*r.NormFloat64())
		}
	}
	supply := make([]float64, len(t))
	for i := range supply {
		if t[i] > 0.5 {
			supply[i] = 1
		}
	}
	return &trace.Trace{Source: name, SHA256: name, Meta: []trace.Entry{{Key: trace.KeyUnit, Value: name}, {Key: trace.KeyKind, Value: "positioner"}},
		Columns: []trace.Column{{Name: trace.ColTime, Values: t}, {Name: trace.ColDuty, Values: duty}, {Name: trace.ColCurrent, Values: amps, Resolution: 0.0001},
			{Name: trace.ColSupplyOn, Values: supply}, {Name: trace.ColPosition, Values: place, Resolution: 0.1}}}
}

func (u stranger) move(asked, since, dt, x, gear, way, held float64) (amps, _, _, _, _ float64) {
	amps = u.quiet
	bind := 1 + u.all
	if !math.IsNaN(u.spotAt) {
		bind += u.spot * math.Exp(-(x-u.spotAt)*(x-u.spotAt)/8)
	}
	if u.deaf || since < u.delay {
		return amps + u.holds*x/100, x, gear, way, held
	}
	if u.sprung {
		goal := min(max(asked, u.low), u.high)
		if u.jam {
			return amps + u.holds*math.Abs(asked-x)/50, x, gear, way, held
		}
		v := (goal - x) / u.tau / bind
		v = min(max(v, -4*u.speed), 4*u.speed)
		if math.Abs(goal-x) < 0.15 {
			v = 0
		}
		return amps + u.holds*x/100 + u.moves*math.Abs(v)/u.speed*bind, x + v*dt, gear, way, held
	}
	e := asked - gear
	if math.Abs(e) < u.step {
		return amps, x, gear, way, held
	}
	amps += u.moves * bind
	if u.jam {
		if since > 1 {
			amps = u.quiet
		}
		return amps, x, gear, way, held
	}
	if !math.IsNaN(u.skipAt) && math.Abs(x-u.skipAt) < 0.6 && held < u.skip {
		return u.quiet + u.moves/2, x, gear, way, held + dt
	}
	if math.Abs(x-u.skipAt) > 2 {
		held = 0
	}
	gear += math.Copysign(u.speed*dt/bind, e)
	was := x
	x = min(max(x, gear-u.play/2), gear+u.play/2)
	x = min(max(x, u.low), u.high)
	if x == was && (x == u.low || x == u.high) && since > 2 { // it gives up
		amps = u.quiet
	}
	gear = min(max(gear, u.low-u.play), u.high+u.play)
	return amps, x, gear, way, held
}

// strangers' profile, learned from their own good units without any word on them.
func strangersProfile(t *testing.T, sprung bool) *profiles.Profile {
	t.Helper()
	var good []*trace.Trace
	for seed := range uint64(25) {
		r := rand.New(rand.NewPCG(seed, 7))
		good = append(good, goodStranger(sprung, r).record(fmt.Sprintf("good-%d", seed), r))
	}
	p, _, err := learn.Learn(good, positioner.Kind{}, learn.Options{Name: "stranger", On: "2026-01-01"})
	require.NoError(t, err)
	return p
}

func TestStrangers(t *testing.T) {
	for _, sprung := range []bool{false, true} {
		p := strangersProfile(t, sprung)
		try := func(seed uint64, change func(u *stranger)) *result.Result {
			r := rand.New(rand.NewPCG(seed, 8))
			u := goodStranger(sprung, r)
			change(&u)
			res, err := judge.Judge(u.record(fmt.Sprintf("unit-%d", seed), r), p, positioner.Kind{}, judge.Options{})
			require.NoError(t, err)
			return res
		}
		refused := 0
		for seed := range uint64(20) {
			if r := try(seed, func(*stranger) {}); r.Verdict != result.Pass {
				refused++
				t.Logf("sprung %v good %d: %s", sprung, seed, r.Sentence)
				for _, f := range r.Findings {
					if f.Result == result.Failed || f.Result == result.Doubtful {
						t.Logf("   %s %g", f.Name, *f.Value)
					}
				}
			}
		}
		assert.LessOrEqual(t, refused, 1, "sprung %v", sprung)
		for _, c := range []struct {
			name   string
			cause  result.Cause
			change func(u *stranger)
			not    bool // with the spring
		}{
			{"binds at a place", result.Mechanical, func(u *stranger) { u.spotAt, u.spot = 43, 1 }, false},
			{"binds all over", result.Mechanical, func(u *stranger) { u.all = 0.4 }, true},
			{"obstructed", result.Mechanical, func(u *stranger) { u.high = 72 }, false},
			{"worn track", result.ControlBoard, func(u *stranger) { u.wornAt, u.worn = 60, 1.5 }, false},
			{"play", result.Mechanical, func(u *stranger) { u.play = 6 }, true},
			{"teeth", result.Mechanical, func(u *stranger) { u.skipAt, u.skip = 62, 0.2 }, true},
			{"deaf", result.ControlBoard, func(u *stranger) { u.deaf = true }, false},
			{"mute", result.ControlBoard, func(u *stranger) { u.mute = true }, false},
			{"jammed", result.Mechanical, func(u *stranger) { u.jam = true }, false},
			{"slow", result.ControlBoard, func(u *stranger) { u.speed *= 0.7; u.tau /= 0.7 }, false},
			{"dead", result.ControlBoard, func(u *stranger) { u.deaf, u.quiet, u.holds = true, 0, 0 }, false},
		} {
			if c.not && sprung {
				continue
			}
			r := try(100, c.change)
			named := "nobody"
			if r.Cause != nil {
				named = string(*r.Cause)
			}
			t.Logf("sprung %v %-17s %s %s %v: %s", sprung, c.name, r.Verdict, named, r.Inseparable, r.Sentence)
			for _, f := range r.Findings {
				if f.Result == result.Failed && testing.Verbose() {
					z := 0.0
					if f.Spread != nil {
						z = *f.Spread
					}
					t.Logf("      %s %.4g z %.1f %s", f.Name, *f.Value, z, f.Note)
				}
			}
			assert.NotEqual(t, result.Pass, r.Verdict, c.name)
			assert.True(t, r.Cause != nil && (*r.Cause == c.cause || slices.Contains(r.Inseparable, c.cause)), "sprung %v, %s: %s", sprung, c.name, r.Sentence)
		}
	}
}
