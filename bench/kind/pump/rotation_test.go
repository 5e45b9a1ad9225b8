package pump

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/kind"
	"dutybench/signal/spectrum"
	"dutybench/signal/stat"
	"dutybench/signal/trace"
)

// rotor is a unit on a staircase whose current shows its rotation: running
// current 0.6·d + 4·d³, as friction and water take it at a speed that goes
// with the duty.
type rotor struct {
	rate_Hz, step_s float64
	poles           int
	top_Hz          float64 // turns a second at full
	ripple, turn    float64 // amplitudes over the running current
	blades          float64 // of seven blades
	wander          float64 // of the speed within a step, relative
	noise_A         float64
	more            func(r *rand.Rand, t float64) float64 // over the running current
	seed            uint64
	meta            []trace.Entry
}

func (o rotor) trace() *trace.Trace {
	duty, length := stairs(o.step_s)
	r := rand.New(rand.NewPCG(o.seed, 70))
	if o.noise_A == 0 {
		o.noise_A = 0.002
	}
	turns, last := 0.0, 0.0
	tr := sampled{rate_Hz: o.rate_Hz, length_s: length, duty: duty, current: func(t float64) float64 {
		d := duty(t) / 100
		x := 0.03 + o.noise_A*r.NormFloat64()
		if d == 0 {
			return x
		}
		speed := o.top_Hz * d * (1 + o.wander*math.Sin(2*math.Pi*t/o.step_s/1.3))
		turns += speed * (t - last)
		last = t
		run := 0.6*d + 4*d*d*d
		if t < 1.3 {
			return x + run + 2
		}
		swing := o.turn*math.Cos(2*math.Pi*turns) + o.ripple*math.Cos(2*math.Pi*6*float64(o.poles)*turns)
		swing += o.blades * math.Cos(2*math.Pi*7*turns)
		if o.more != nil {
			swing += o.more(r, t)
		}
		return x + run*(1+swing)
	}}.trace()
	tr.Meta = append(tr.Meta, o.meta...)
	return tr
}

func (o rotor) rotation(t *testing.T, drive string) *kind.Measured {
	t.Helper()
	tr := o.trace()
	_, d := measured(t, tr, nil)
	m := &kind.Measured{}
	d.measureRotation(tr, Section{Drive: drive, PolePairs: o.poles}, m)
	require.Len(t, m.Values, 3)
	return m
}

func within(t *testing.T, want float64, q stat.Quantity) {
	t.Helper()
	half, _ := q.Expanded(0.99)
	assert.InDelta(t, want, q.Value, half, "%v", q)
}

// Speed within 1 %, ripple and depth within what they say of themselves, at
// the rates of the converters that benches have.
func TestRotation(t *testing.T) {
	for _, o := range []rotor{
		{rate_Hz: 500, poles: 1, top_Hz: 30, ripple: 0.05, turn: 0.02},
		{rate_Hz: 2000, poles: 2, top_Hz: 60, ripple: 0.03, turn: 0.01, wander: 0.002},
		{rate_Hz: 3012, poles: 3, top_Hz: 65, ripple: 0.02, turn: 0.05, wander: 0.003},
		{rate_Hz: 20000, poles: 4, top_Hz: 75, ripple: 0.02, turn: 0.1, wander: 0.001},
		// 10 dB over the whole of the noise at full, 4.6 A: 0.05·4.6/√20.
		{rate_Hz: 2000, poles: 2, top_Hz: 62, ripple: 0.05, turn: 0.03, noise_A: 0.051},
	} {
		t.Run(fmt.Sprintf("%g Hz, %d pole pairs, noise %g A", o.rate_Hz, o.poles, o.noise_A), func(t *testing.T) {
			o.step_s, o.meta = 1.5, []trace.Entry{{Key: trace.KeyIntegrating, Value: "0"}}
			m := o.rotation(t, "six-step")
			speed, ripple, depth := value(t, m, ShaftSpeed), value(t, m, Ripple), value(t, m, TurnDepth)
			require.Empty(t, speed.Missing+ripple.Missing+depth.Missing)
			assert.InEpsilon(t, 60*o.top_Hz, speed.Q.Value, 0.005)
			within(t, 60*o.top_Hz, speed.Q)
			assert.Less(t, speed.Q.U(), 0.01*speed.Q.Value)
			assert.InEpsilon(t, 100*o.ripple, ripple.Q.Value, 0.1)
			within(t, 100*o.turn, depth.Q)
			assert.InEpsilon(t, 100*o.turn, depth.Q.Value, 0.12)
			// A sine drive shows the same depth along the line itself.
			o.ripple = 0
			m = o.rotation(t, "sine")
			assert.Contains(t, value(t, m, ShaftSpeed).Missing, "sine")
			if depth := value(t, m, TurnDepth); o.turn >= 0.02 {
				within(t, 100*o.turn, depth.Q)
				assert.InEpsilon(t, 100*o.turn, depth.Q.Value, 0.12)
			}
		})
	}
}

// A ripple that sampling folds is refused, with a rate that would do; once a
// turn is still told.
func TestFoldedRippleIsRefused(t *testing.T) {
	for _, o := range []rotor{
		{rate_Hz: 500, poles: 2, top_Hz: 60},
		{rate_Hz: 500, poles: 4, top_Hz: 75},
		{rate_Hz: 1000, poles: 3, top_Hz: 56},
		{rate_Hz: 2000, poles: 4, top_Hz: 72},
		{rate_Hz: 2000, poles: 2, top_Hz: 75}, // 900 Hz: not folded, above 0.4 of the rate
		{rate_Hz: 3012, poles: 5, top_Hz: 60},
	} {
		t.Run(fmt.Sprintf("%g Hz, %d pole pairs", o.rate_Hz, o.poles), func(t *testing.T) {
			o.step_s, o.ripple, o.turn = 1.5, 0.05, 0.03
			m := o.rotation(t, "six-step")
			for _, n := range []string{ShaftSpeed, Ripple} {
				assert.Regexp(t, `sampl.* [0-9]+ Hz would `, value(t, m, n).Missing)
			}
			depth := value(t, m, TurnDepth)
			require.Empty(t, depth.Missing)
			assert.InEpsilon(t, 3, depth.Q.Value, 0.15)
		})
	}
}

func TestRotationNeedsTheDrive(t *testing.T) {
	o := rotor{rate_Hz: 2000, poles: 2, top_Hz: 60, ripple: 0.05, step_s: 1}
	for drive, why := range map[string]string{"sine": "sine drive", "unknown": "six-step", "": "six-step"} {
		assert.Contains(t, value(t, o.rotation(t, drive), ShaftSpeed).Missing, why)
	}
	o.poles = 0
	assert.Contains(t, value(t, o.rotation(t, "six-step"), ShaftSpeed).Missing, "pole pairs")
	// Gaps at the highest duty: the speed there is not told.
	o.poles = 2
	tr := o.trace()
	for i, at := range tr.Time() {
		if math.Abs(at-9.6) < 0.02 {
			tr.Current()[i] = 0.03
		}
	}
	_, d := measured(t, tr, nil)
	m := &kind.Measured{}
	d.measureRotation(tr, Section{Drive: "six-step", PolePairs: 2}, m)
	assert.Contains(t, value(t, m, ShaftSpeed).Missing, "gaps")
	// One duty alone cannot show a line that follows.
	d.plateaus = d.plateaus[:1]
	m = &kind.Measured{}
	d.measureRotation(tr, Section{Drive: "six-step", PolePairs: 2}, m)
	for _, v := range m.Values {
		assert.Contains(t, v.Missing, "three different speeds", v.Name)
	}
	d.plateaus = nil
	m = &kind.Measured{}
	d.measureRotation(tr, Section{Drive: "six-step", PolePairs: 2}, m)
	assert.Contains(t, value(t, m, TurnDepth).Missing, "no plateau")
	d.start.Ran = false
	m = &kind.Measured{}
	d.measureRotation(tr, Section{}, m)
	for _, v := range m.Values {
		assert.Equal(t, "the unit did not run", v.Missing)
	}
}

// Noise and bubbles give no speed and no line once a turn: only what could be
// hidden in them.
func TestNothingThatFollows(t *testing.T) {
	bubbles := func() func(r *rand.Rand, _ float64) float64 {
		low, slower := 0.0, 0.0
		return func(r *rand.Rand, _ float64) float64 {
			low += 0.1 * (r.NormFloat64() - low)
			slower += 0.02 * (low - slower)
			return 0.1 * (low - slower) // broad round 3 Hz at 500 Hz
		}
	}
	spoken := 0
	for seed := range uint64(30) {
		o := rotor{rate_Hz: 500, step_s: 0.8, poles: 2, seed: seed}
		if seed%2 == 1 {
			o.more = bubbles()
		}
		m := o.rotation(t, "six-step")
		depth := value(t, m, TurnDepth)
		if value(t, m, ShaftSpeed).Missing == "" || depth.Missing != "" || depth.Q.Budget[0].Source != "hidden in the noise" {
			spoken++
		}
	}
	assert.Zero(t, spoken)
}

// What the rig says of its filter and converter is made good; what it does not
// say widens the uncertainty.
func TestDamping(t *testing.T) {
	const rate, corner = 3012.0, 1500.0
	o := rotor{rate_Hz: rate, poles: 3, top_Hz: 60, step_s: 1.2, wander: 0.001}
	hz := 6 * 3 * o.top_Hz
	o.ripple = 0.04 * means(hz, rate) / math.Hypot(1, hz/corner)
	o.meta = []trace.Entry{{Key: trace.KeyIntegrating, Value: "1"}, {Key: keyAntiAlias, Value: "1500"}}
	ripple := value(t, o.rotation(t, "six-step"), Ripple)
	require.Empty(t, ripple.Missing)
	assert.InEpsilon(t, 4, ripple.Q.Value, 0.05)
	within(t, 4, ripple.Q)
	o.meta = nil
	unsaid := value(t, o.rotation(t, "six-step"), Ripple)
	assert.Less(t, unsaid.Q.Value, ripple.Q.Value)
	assert.Greater(t, unsaid.Q.U(), 0.05*unsaid.Q.Value)
	assert.InDelta(t, 2/math.Pi, means(250, 500), 1e-12, "half the rate: 2/π")
	assert.InDelta(t, 0, means(500, 500), 1e-12)
	assert.InDelta(t, 1, damping{}.gain(800, 1000), 0)
	assert.InDelta(t, math.Sqrt(0.5), damping{corner_Hz: 800}.gain(800, 1000), 1e-12)
}

// A line at shaft speed that fits no whole order of the shaft speaks against
// the speed.
func TestOrdersMustAgree(t *testing.T) {
	line := func(f float64) []spectrum.Line {
		return []spectrum.Line{{Frequency_Hz: f}, {Frequency_Hz: math.NaN()}, {Frequency_Hz: 2 * f}}
	}
	// Seven blades in place of a ripple that the capacitor swallows.
	o := rotor{rate_Hz: 2000, poles: 2, top_Hz: 60, step_s: 1.2, turn: 0.03, blades: 0.02}
	assert.Contains(t, value(t, o.rotation(t, "six-step"), ShaftSpeed).Missing, "no speed fits both")
	turns := []float64{20, 30, 40}
	assert.Zero(t, disagree(turns, line(20)))
	assert.Zero(t, disagree(turns, line(40.3)))
	assert.InDelta(t, 51, disagree(turns, line(34)), 1e-9)
	assert.NotZero(t, disagree(turns, line(12)), "slower than the shaft")
	assert.Zero(t, disagree(turns, []spectrum.Line{{Frequency_Hz: math.NaN()}, {Frequency_Hz: math.NaN()}, {Frequency_Hz: math.NaN()}}))
}

func BenchmarkRotation(b *testing.B) {
	o := rotor{rate_Hz: 3012, poles: 2, top_Hz: 60, ripple: 0.04, turn: 0.02, step_s: 2}
	tr := o.trace()
	_, d := measured(b, tr, nil)
	for b.Loop() {
		d.measureRotation(tr, Section{Drive: "six-step", PolePairs: 2}, &kind.Measured{})
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(tr.Len()), "ns/sample")
}
