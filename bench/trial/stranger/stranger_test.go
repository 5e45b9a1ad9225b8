package stranger

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/signal/trace"
)

func seeded(n uint64) *rand.Rand { return rand.New(rand.NewPCG(n, 77)) }

func mean(x []float64) float64 {
	s := 0.0
	for _, v := range x {
		s += v
	}
	return s / float64(len(x))
}

func deviation(x []float64) float64 {
	m, s := mean(x), 0.0
	for _, v := range x {
		s += (v - m) * (v - m)
	}
	return math.Sqrt(s / float64(len(x)))
}

// part is the current from a share to another of a step of the plan.
func part(m Model, tr *trace.Trace, step int, from, to float64) []float64 {
	start := length(m.Plan[:step])
	lo, hi := start+from*m.Plan[step].LengthS, start+to*m.Plan[step].LengthS
	var out []float64
	for i, t := range tr.Time() {
		if t >= lo && t < hi {
			out = append(out, tr.Current()[i])
		}
	}
	return out
}

// tail is the mean current in the settled end of a step.
func tail(m Model, tr *trace.Trace, step int) float64 { return mean(part(m, tr, step, 0.75, 0.98)) }

func quietStep(m Model) int { return 1 }

// fullStep is the hold at full, firstStep the first that should turn the unit.
func fullStep(m Model) int {
	for i, s := range m.Plan {
		if s.DutyPct == 100 {
			return i
		}
	}
	return -1
}

func firstStep(m Model) int {
	for i, s := range m.Plan {
		if s.DutyPct > m.StartDuty {
			return i
		}
	}
	return -1
}

// bursts counts rises of the current through a level, on means of 20 ms.
func bursts(tr *trace.Trace, level float64) (n int) {
	w := max(1, int(tr.Rate()/50))
	c, high := tr.Current(), false
	for i := 0; i+w <= len(c); i += w {
		x := mean(c[i : i+w])
		if x > level && !high {
			n++
		}
		high = x > level || high && x > 0.8*level
	}
	return n
}

func TestModelsVaryAndRepeat(t *testing.T) {
	a, b, c := Models(5), Models(5), Models(6)
	assert.Equal(t, a, b)
	assert.NotEqual(t, a, c)
	seen := map[any]int{}
	for _, m := range append(a, c...) {
		seen[m.Regulation]++
		seen[m.Drive]++
		seen[m.RateHz]++
		seen[math.Round(m.RatedW/20)]++
		seen[m.SupplyVColumn]++
		seen[m.LatchAfter > 0]++
		total := length(m.Plan)
		assert.True(t, total >= 45 && total <= 60, "%s lasts %g s", m.Name, total)
		for i, s := range m.Plan {
			assert.Greater(t, s.LengthS, 0.1, "%s step %d", m.Name, i)
		}
		require.Positive(t, fullStep(m))
	}
	for _, want := range []any{RegulatesSpeed, SetsVoltage, SixStep, Sine, 100.0, 500.0, 2000.0, 20000.0, 1.0, 3.0, 7.0, true, false} {
		assert.Positive(t, seen[want], "%v never drawn", want)
	}
}

func TestGoodUnits(t *testing.T) {
	for _, m := range Models(11) {
		m.RateHz = math.Min(m.RateHz, 500)
		t.Run(m.Name, func(t *testing.T) {
			rng := seeded(2)
			u := m.Unit(rng)
			tr := u.Trace(Good(), 0, rng)
			require.InDelta(t, length(m.Plan)*m.RateHz, float64(tr.Len()), 1)
			assert.InEpsilon(t, m.RateHz, tr.Rate(), 1e-3)
			for key, want := range map[string]string{trace.KeyTrace: "1", trace.KeyKind: "pump", trace.KeyUnit: u.Serial} {
				got, _ := tr.Get(key)
				assert.Equal(t, want, got)
			}
			assert.Equal(t, m.SupplyVColumn, tr.Column(trace.ColSupply) != nil)
			assert.Equal(t, m.SupplyOn, tr.Column(trace.ColSupplyOn) != nil)
			for i, x := range tr.Time()[1:] {
				if x <= tr.Time()[i] {
					t.Fatalf("time stands still at %g s", x)
				}
			}
			for _, c := range tr.Columns {
				require.Len(t, c.Values, tr.Len())
				for _, v := range c.Values {
					if math.IsNaN(v) || math.IsInf(v, 0) {
						t.Fatalf("%s holds %g", c.Name, v)
					}
				}
			}

			assert.InDelta(t, 0, mean(part(m, tr, 0, 0.1, 0.9)), 0.006, "supply off")
			quiet := tail(m, tr, quietStep(m))
			assert.InDelta(t, m.QuietA, quiet, 0.5*m.QuietA+0.01)
			last := 0.0
			for i := firstStep(m); i <= fullStep(m); i++ {
				got := tail(m, tr, i)
				assert.Greater(t, got, last, "step %d", i)
				assert.InEpsilon(t, u.plateau(m.Plan[i].DutyPct, &healthy), got, 0.05, "step %d against the balance", i)
				last = got
			}
			assert.InEpsilon(t, m.RatedW/m.NominalV, last, 0.25)
		})
	}
}

func TestSameSeedSameTrace(t *testing.T) {
	m := Models(1)[3]
	m.RateHz = 100
	for _, f := range Faults() {
		a, b := seeded(9), seeded(9)
		assert.Equal(t, m.Unit(a).Trace(f, 0.6, a), m.Unit(b).Trace(f, 0.6, b), f.Name)
	}
}

// The power that goes in must come out: shaft, copper and board; and the
// settled speed of a voltage board fulfils the equation of a DC motor.
func TestBalance(t *testing.T) {
	for _, m := range Models(4) {
		u := m.Unit(seeded(1))
		for _, d := range m.levels {
			w := u.settled(d, m.NominalV, &healthy, 0)
			shaft := u.torque(w, &healthy, 1, 1) * w
			im := shaft / (w * u.k)
			in := u.power(w, im, u.ohm)
			losses := u.ohm*im*im + u.idleW + u.lossV*im
			assert.InDelta(t, in, shaft+losses, 1e-9*in)
			assert.InDelta(t, im, u.motorCurrent(w, in, u.ohm), 1e-6)
			eta := shaft / in
			assert.True(t, eta > 0.25 && eta < 0.88, "%s at %g %%: efficiency %g", m.Name, d, eta)
			if m.Regulation == SetsVoltage {
				assert.InDelta(t, modulation*m.NominalV*u.reach(d), u.k*w+u.ohm*im, 1e-4)
			} else {
				assert.InDelta(t, u.w0*u.reach(d)*u.speedGain, w, 1e-9)
			}
		}
	}
}

// Affinity law: without friction and bump the shaft power goes with the
// speed to the hydraulic exponent.
func TestAffinity(t *testing.T) {
	m := Models(1)[0]
	m.CoulombShare, m.ViscousShare = 0, 0
	u := m.Unit(seeded(1))
	p := func(x float64) float64 { w := x * u.w0; return w * u.torque(w, &healthy, 1, 1) }
	assert.InDelta(t, m.HydraulicExponent, math.Log(p(1)/p(0.5))/math.Log(2), 1e-9)
}

// A constant-power board draws less from a higher supply, one that sets
// voltage draws more.
func TestRegulationShowsInSupply(t *testing.T) {
	for _, m := range Models(8) {
		u := m.Unit(seeded(1))
		low := u.plateau(70, &healthy)
		u.Model.NominalV *= 1.08
		high := u.plateau(70, &healthy)
		if m.Regulation == RegulatesSpeed {
			assert.Less(t, high, low, m.Name)
		} else {
			assert.Greater(t, high, low, m.Name)
		}
	}
}

// The charge of the peak is the capacitor's, however it is sampled.
func TestChargingPeak(t *testing.T) {
	m := Models(2)[0]
	m.ChargePeak, m.Averages = true, true
	u := m.Unit(seeded(1))
	for _, rate := range []float64{100, 2000, 20000} {
		q := 0.0
		for i := 1; i <= int(rate); i++ {
			q += u.peak((float64(i)-0.4)/rate, 1/rate, 0.04) / rate
		}
		assert.InEpsilon(t, u.capF*m.NominalV, q, 1e-6, "at %g Hz", rate)
	}
}

// Ripple of a six-step drive lies at 6 times pole pairs times shaft
// frequency; a sine drive leaves hardly any.
func TestRippleTellsSpeed(t *testing.T) {
	for _, drive := range []string{SixStep, Sine} {
		m := Models(3)[4]
		m.Drive, m.RateHz, m.Averages, m.NoiseA, m.Jitter = drive, 20000, false, 0.002, 0
		m.RippleShare = map[string]float64{SixStep: 0.05, Sine: 0.002}[drive]
		m.Plan = []Step{{0, 0.3, false}, {0, 0.5, true}, {100, 8, true}}
		u := m.Unit(seeded(4))
		tr := u.Trace(Good(), 0, seeded(5))
		c := part(m, tr, fullStep(m), 0.6, 0.8)
		f := 6 * float64(m.PolePairs) * u.settled(100, m.NominalV-0.2, &healthy, 0.3) / (2 * math.Pi)
		best, at := 0.0, 0.0
		for x := 0.97 * f; x < 1.03*f; x += 1 {
			if a := line(c, x, m.RateHz); a > best {
				best, at = a, x
			}
		}
		if drive == SixStep {
			fade := 1 / math.Hypot(1, f/m.RippleCornerHz)
			assert.InEpsilon(t, u.ripple*fade*mean(c), best, 0.4)
			assert.InEpsilon(t, f, at, 0.01)
		} else {
			assert.Less(t, best, 0.003*mean(c))
		}
	}
}

// line is the amplitude of a frequency in x by direct correlation.
func line(x []float64, f, rate float64) float64 {
	re, im, m := 0.0, 0.0, mean(x)
	for i, v := range x {
		s, c := math.Sincos(2 * math.Pi * f * float64(i) / rate)
		re, im = re+(v-m)*c, im+(v-m)*s
	}
	return 2 * math.Hypot(re, im) / float64(len(x))
}

func BenchmarkTrace(b *testing.B) {
	m := Models(1)[6]
	u := m.Unit(seeded(1))
	for b.Loop() {
		u.Trace(Good(), 0, seeded(1))
	}
}
