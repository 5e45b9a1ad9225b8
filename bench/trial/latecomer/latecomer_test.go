package latecomer

import (
	"bytes"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/signal/trace"
)

func seeded(n uint64) *rand.Rand { return rand.New(rand.NewPCG(n, 77)) }

// plateau is the mean and the scatter of a column over the late part of the
// k-th step of the model's plan; NaN where nothing was sampled.
func plateau(m *Model, tr *trace.Trace, column string, k int) (mean, sd float64) {
	from := beforeS
	for _, h := range m.plan[:k] {
		from += h.seconds
	}
	until := from + 0.95*m.plan[k].seconds
	from += 0.6 * m.plan[k].seconds
	var n, sum, square float64
	values := tr.Values(column)
	for i, t := range tr.Time() {
		if values == nil || t < from || t >= until || math.IsNaN(values[i]) {
			continue
		}
		n++
		sum += values[i]
		square += values[i] * values[i]
	}
	mean = sum / n
	return mean, math.Sqrt(max(square/n-mean*mean, 0))
}

// top is the step of the plan at full duty.
func (m *Model) top() int {
	for k, h := range m.plan {
		if h.duty == 100 {
			return k
		}
	}
	return -1
}

func current(m *Model, tr *trace.Trace, k int) float64 {
	mean, _ := plateau(m, tr, trace.ColCurrent, k)
	return mean
}

func TestRepeatsBySeed(t *testing.T) {
	a, b := Models(3), Models(3)
	require.GreaterOrEqual(t, len(a), 8)
	other := Models(4)
	for k := range a {
		require.Equal(t, bytesOf(t, a[k].Good(seeded(1))), bytesOf(t, b[k].Good(seeded(1))))
		x, y := a[k].Faulty("air", 0.7, seeded(2)), b[k].Faulty("air", 0.7, seeded(2))
		require.Equal(t, bytesOf(t, x), bytesOf(t, y))
		assert.NotEqual(t, a[k].topA.mid, other[k].topA.mid)
	}
	serials := map[string]bool{}
	rng := seeded(5)
	for range 30 {
		id, _ := a[1].Good(rng).Get(trace.KeyUnit)
		serials[id] = true
	}
	assert.Len(t, serials, 30)
}

func bytesOf(t *testing.T, tr *trace.Trace) []byte {
	var out bytes.Buffer
	require.NoError(t, trace.Write(&out, tr))
	return out.Bytes()
}

func TestRoundTrip(t *testing.T) {
	for _, m := range Models(6) {
		for _, tr := range []*trace.Trace{m.Good(seeded(1)), m.Faulty("input-short", 0.5, seeded(1))} {
			text := bytesOf(t, tr)
			back, err := trace.Read(bytes.NewReader(text), m.Name())
			require.NoError(t, err)
			assert.Empty(t, back.Warnings, m.Name())
			assert.Equal(t, tr.Meta, back.Meta)
			require.Len(t, back.Columns, len(tr.Columns))
			for k, c := range tr.Columns {
				assert.Equal(t, c.Name, back.Columns[k].Name)
				assert.Equal(t, c.Missing, back.Columns[k].Missing)
				assert.Equal(t, c.Values[(len(c.Values)-1)/4*4], back.Columns[k].Values[(len(c.Values)-1)/4*4])
			}
			assert.Equal(t, text, bytesOf(t, back))
		}
	}
}

// The steady state again, by hand. With the torque T = D + B·ω + H·ω²:
//
//	voltage: K·ω + (R/K)·T = m·V, a quadratic in ω
//	speed:   ω is given
//	power:   V·(I − I_board) is given, above the lowest speed
//
// The winding is up to 12 K warmer, which is allowed for by 3 %.
func TestSteadyStateInClosedForm(t *testing.T) {
	for _, m := range Models(7) {
		m.bench.gain, m.bench.offsetA = 1, 0
		u := m.mid
		u.settle()
		tr := m.record(&u, seeded(1))
		k := m.top()
		v := u.openV - u.sourceOhm*current(m, tr, k)
		d, b, h := u.dryNm, u.shearNms, u.load
		var w, want float64
		switch m.law {
		case bySpeed:
			w = m.fullRadS
		case byVoltage:
			qa, qb, qc := u.rOhm/u.kVs*h, u.kVs+u.rOhm/u.kVs*b, u.rOhm/u.kVs*d-m.board.fullAt*v
			w = (-qb + math.Sqrt(qb*qb-4*qa*qc)) / (2 * qa)
		case byPower:
			want = u.awakeA + u.speedGain/v
		}
		if w > 0 {
			i := (d + b*w + h*w*w) / u.kVs
			want = u.awakeA + u.switching*i + (u.kVs*w*i+u.rOhm*i*i)/v
		}
		assert.InEpsilon(t, want, current(m, tr, k), 0.03, m.Name())
		static, _, _ := m.steady(&u, 100)
		assert.InEpsilon(t, want, static, 0.005, m.Name())
		if volts, _ := plateau(m, tr, trace.ColSupply, k); m.bench.voltEvery > 0 {
			assert.InDelta(t, v, volts, 0.02, m.Name())
		}
	}
}

func TestWater(t *testing.T) {
	flow := meet(1)
	assert.InDelta(t, 1, flow, 1e-6, "a loop through the best point")
	for _, loop := range []float64{0.9, 1, 1.3, 1.8} {
		flow := meet(loop)
		head, _ := at(flow)
		assert.InDelta(t, head, loop*flow*flow, 1e-6)
		fall := 1 - loaded(1e6)/loaded(loop)
		assert.True(t, fall > 0.3 && fall < 0.5, "shut: the torque falls by %.2f", fall)
	}
}

func TestGoodUnitsArePlausible(t *testing.T) {
	voltless, uneven, upward := 0, 0, 0
	for _, m := range Models(8) {
		rng := seeded(2)
		k := m.top()
		watts := m.topA.mid * m.volts
		assert.True(t, watts > 14 && watts < 190, "%s: %.0f W", m.Name(), watts)
		assert.Less(t, m.topA.sd/m.topA.mid, 0.05)
		assert.Less(t, m.lowA.sd/m.lowA.mid, 0.06)
		for range 4 {
			tr := m.Good(rng)
			_, ended := tr.Get(trace.KeyEnded)
			assert.False(t, ended, m.Name())
			assert.InDelta(t, 0, (current(m, tr, k)-m.topA.mid)/m.topA.sd, 8, m.Name())
			for j := 2; j <= k; j++ {
				assert.Greater(t, current(m, tr, j), current(m, tr, j-1)*0.99, m.Name())
			}
			if down := k + 1; m.plan[down].duty > 0 {
				assert.InEpsilon(t, current(m, tr, k-1), current(m, tr, down), 0.04, m.Name())
			}
			length := tr.Time()[tr.Len()-1]
			assert.True(t, length > 25 && length < 61, "%s: %.1f s", m.Name(), length)
			assert.InEpsilon(t, m.bench.rateHz, tr.Rate(), 0.03, m.Name())
		}
		if m.bench.voltEvery == 0 {
			voltless++
		}
		if m.bench.uneven {
			uneven++
		}
		if m.plan[k+1].duty == 0 {
			upward++
		}
	}
	assert.Equal(t, []int{1, 1, 1}, []int{voltless, uneven, upward})
}

// Charging shows at switch-on, unless nothing is there to charge.
func TestCharging(t *testing.T) {
	peak := func(tr *trace.Trace) float64 {
		most := 0.0
		for k, now := range tr.Time() {
			if now > beforeS-0.01 && now < beforeS+0.05 {
				most = max(most, tr.Current()[k])
			}
		}
		return most
	}
	for _, m := range Models(9) {
		for _, c := range []struct {
			fault string
			some  bool
		}{{"no-attempt", true}, {"dead-board-charges", true}, {"dead-board", false}, {"unplugged", false}} {
			got := peak(m.Faulty(c.fault, 0.5, seeded(3)))
			if c.some {
				assert.Greater(t, got, 0.2*m.topA.mid, "%s %s", m.Name(), c.fault)
			} else {
				assert.Less(t, got, 0.06*m.topA.mid, "%s %s", m.Name(), c.fault)
			}
		}
	}
}

// Six-step drive ripples where its speed says: the power at the folded line
// stands above its surroundings.
func TestRippleFolds(t *testing.T) {
	m := Models(10)[5]
	require.True(t, m.sixStep)
	u := m.mid
	tr := m.record(u.settle(), seeded(4))
	line := 6 * m.polePairs * m.fullRadS / (2 * math.Pi)
	folded := math.Abs(line - m.bench.rateHz*math.Round(line/m.bench.rateHz))
	from := int((beforeS + 3) * m.bench.rateHz)
	for _, h := range m.plan[1:m.top()] {
		from += int(h.seconds * m.bench.rateHz)
	}
	values := tr.Current()[from-int(1.2*m.bench.rateHz) : from-int(0.7*m.bench.rateHz)]
	power := func(f float64) float64 {
		var re, im float64
		for k, x := range values {
			s, c := math.Sincos(2 * math.Pi * f * float64(k) / m.bench.rateHz)
			re, im = re+(x-m.topA.mid)*c, im+(x-m.topA.mid)*s
		}
		return math.Hypot(re, im) / float64(len(values))
	}
	assert.Greater(t, power(folded), 8*power(folded+41))
}

func BenchmarkGood(b *testing.B) {
	for _, m := range Models(1) {
		b.Run(m.Name(), func(b *testing.B) {
			rng := rand.New(rand.NewPCG(1, 2))
			for b.Loop() {
				m.Good(rng)
			}
		})
	}
}

func TestUnknownFaultPanics(t *testing.T) {
	assert.Panics(t, func() { Models(1)[0].Faulty("no such", 1, seeded(1)) })
}
