package run

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/guard"
	"dutybench/bench/result"
	"dutybench/bench/rig"
	"dutybench/bench/sim"
)

// What falls is a capacitor, what stands still is a switch, whatever the noise.
func TestFallsAlong(t *testing.T) {
	const step = 1.4e-3 // of an ADS1115 at 4.096 V behind a divider of 11 (SBAS444E table 3)
	for _, c := range []struct {
		name  string
		volts func(t_s float64) float64
		noise float64
		falls bool
	}{
		// 1 mF and 2.2 mF on 110 kohm: 110 s and 242 s.
		{"1 mF", func(t float64) float64 { return 13.5 * math.Exp(-t/110) }, 1e-3, true},
		{"2.2 mF at 6 V", func(t float64) float64 { return 6 * math.Exp(-t/242) }, 1e-3, true},
		{"10 mF at 6 V", func(t float64) float64 { return 6 * math.Exp(-t/1100) }, 1e-3, true},
		{"a supply", func(float64) float64 { return 13.5 }, 1e-3, false},
		{"a noisy supply", func(float64) float64 { return 13.5 }, 0.3, false},
		{"a supply that warms up", func(t float64) float64 { return 13.5 - 0.001*t }, 1e-3, false},
		{"a battery that recovers", func(t float64) float64 { return 12 + 0.05*t }, 1e-3, false},
		{"less than the noise tells", func(t float64) float64 { return 6 * math.Exp(-t/1100) }, 2, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			rng, wrong := rand.New(rand.NewPCG(7, 11)), 0
			for range 200 {
				var at, volts []float64
				for i := range 1500 { // 5 s, a reading in every third sample
					s := float64(i) / 300
					at = append(at, s)
					v := math.NaN()
					if i%3 == 0 {
						v = step * math.Round((c.volts(s)+c.noise*rng.NormFloat64())/step)
					}
					volts = append(volts, v)
				}
				if fallsAlong(at, volts, step) != c.falls {
					wrong++
				}
			}
			assert.Zero(t, wrong, "of 200")
		})
	}
	assert.False(t, fallsAlong(nil, nil, step))
	assert.False(t, fallsAlong([]float64{1, 1, 1}, []float64{3, 2, 1}, step), "at one instant")
	nan := math.NaN()
	assert.False(t, fallsAlong([]float64{0, 1, 2, 3}, []float64{nan, nan, nan, 1}, step))
}

// A unit asleep whose capacitor is still charged is no welded switch.
func TestChargedCapacitorIsNotAWeldedSwitch(t *testing.T) {
	b := newBench(t, steady, nil)
	b.load.tau_s, b.load.plug_V = 242, 6 // 2.2 mF on 110 kohm
	out := b.run(t, Options{})
	require.Len(t, out.Faults, 1)
	f := out.Faults[0]
	assert.Equal(t, result.Bench, f.Cause)
	assert.Regexp(t, `capacitor still holds 5\.\d\d V, and falls`, f.Sentence)
	assert.Contains(t, f.Next, "discharge it through 100 ohm")
	assert.NotContains(t, f.Sentence+f.Next, "welded")
	assert.Empty(t, b.spy.moves, "nothing was switched on")

	b = newBench(t, steady, nil)
	b.load.tau_s, b.load.plug_V = 1e9, 6 // stands still
	out = b.run(t, Options{})
	require.Len(t, out.Faults, 1)
	assert.Contains(t, out.Faults[0].Sentence, "welded")
}

// 1 mF on 110 kohm loses 9 % in ten seconds after the test, and is none either.
func TestSlowCapacitorAfterTheTest(t *testing.T) {
	for _, c := range []struct {
		tau_s float64
		off   bool
	}{{110, true}, {1e9, false}} {
		b := newBench(t, steady, nil)
		b.load.tau_s = c.tau_s
		out := b.run(t, Options{})
		assert.Equal(t, c.off, out.Off.Verified)
		assert.Equal(t, c.off, len(out.Faults) == 0, "%v", out.Faults)
	}
}

// What a capacitor still holds is no supply that came through one contact
// alone.
func TestRestOfChargeIsNotAWeldedContact(t *testing.T) {
	o := contactOptions{second: true, preCharge: 22}
	b := newContactBench(t, o)
	x := newRunner(b.rig, short(), b.profile, Options{})
	x.supply_V = math.NaN()
	assert.Equal(t, x.dead_V(), x.plugLeast_V(), "not sampled")
	x.supply_V = x.dead_V() - 0.1
	assert.InDelta(t, x.dead_V()-0.1+0.1*b.profile.Supply.Nominal_V, x.plugLeast_V(), 1e-12)
	x.supply_V = 0
	assert.Equal(t, x.dead_V(), x.plugLeast_V())
}

// With the supply off a push-pull line is let go; the command is there just
// before the supply.
func TestPushPullLineIsLetGoWithTheSupply(t *testing.T) {
	for _, o := range []contactOptions{{profile: "circulator-solar-24v"}, {profile: "circulator-solar-24v", second: true, preCharge: 22}, {second: true, preCharge: 22}} {
		b := newContactBench(t, o)
		pushPull := b.rig.Line.Feeds()
		assert.Equal(t, o.profile != "", pushPull)
		driven, came := 0, 0
		b.rig.Sampler = &flaky{Sampler: b.rig.Sampler, then: func(int, *rig.Sample) {
			if b.watched.now == guard.NoPath && b.World.Line().State != sim.LineReleased {
				driven++
			}
		}}
		b.watched.onSet = func(p guard.Path) {
			if p != 0 && b.World.Line().State != sim.LineReleased {
				came++
			}
		}
		out := b.run(t)
		require.Empty(t, out.Faults)
		assert.Equal(t, pushPull, driven == 0, "%d samples with a driven line and no supply", driven)
		assert.Equal(t, len(b.watched.closed), came, "the command first")
	}
}
