package commutator

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func source(seed uint64) *rand.Rand { return rand.New(rand.NewPCG(seed, 0x636f6d)) }

// Texas Instruments, data sheet of the DRV8215 (least common multiple); 2 brushes
// and 3 segments, 6: e2e.ti.com thread 1323619; the others computed.
func TestPerTurn(t *testing.T) {
	for _, c := range []struct{ brushes, segments, want int }{
		{2, 3, 6}, {2, 5, 10}, {2, 7, 14}, {2, 8, 8}, {2, 10, 10}, {2, 12, 12}, {4, 10, 20}, {4, 22, 44}, {0, 12, 0}, {2, 0, 0}, {-2, 3, 0},
	} {
		assert.Equal(t, c.want, PerTurn(c.brushes, c.segments), "%d brushes, %d segments", c.brushes, c.segments)
	}
}

// Texas Instruments SLVAFO8A: 48 ripples in 80.3 ms at 6 a turn are 5977.58 rpm.
func TestPublishedExample(t *testing.T) {
	rpm, err := Counted(48, 80.3e-3, 6)
	require.NoError(t, err)
	assert.InDelta(t, 5977.58, rpm, 0.005)
	for _, bad := range []func() (float64, error){
		func() (float64, error) { return Counted(0, 1, 6) },
		func() (float64, error) { return Counted(5, 0, 6) },
		func() (float64, error) { return Counted(5, math.NaN(), 6) },
		func() (float64, error) { return Counted(5, 1, 0) },
	} {
		_, err := bad()
		assert.Error(t, err)
	}
	// The same motor's ripple as a current gives the same speed.
	m := motor{perTurn: 6, hz: 48 / 80.3e-3, mean: 1, depth: 0.2}.quiet(20)
	r, err := Speed(m.samples(20e3, 0.5, source(1)), 20e3, Options{PerTurn: 6, Fastest_rpm: 8000})
	require.NoError(t, err)
	assert.InDelta(t, 5977.58, r.Speed_rpm.Value, 3)
	assert.Less(t, math.Abs(r.Speed_rpm.Value-5977.58), 4*r.Speed_rpm.U())
}

func TestSpeed(t *testing.T) {
	open := func(n, gone int) []float64 {
		s := make([]float64, n)
		for i := range s {
			s[i] = 1
		}
		s[gone], s[(gone+n/2)%n] = 0, 0
		return s
	}
	base := motor{perTurn: 12, hz: 600, mean: 1.6, depth: 0.08}
	with := func(change func(*motor)) motor { m := base; change(&m); return m }
	for _, c := range []struct {
		name string
		m    motor
		o    Options
	}{
		{"steady", base, Options{}},
		{"slowing by a fifth", with(func(m *motor) { m.drift = -0.2 }), Options{}},
		{"running up by a fifth", with(func(m *motor) { m.drift = 0.2 }), Options{}},
		{"wandering", with(func(m *motor) { m.wander = 0.01 }), Options{}},
		{"current falls as it warms", with(func(m *motor) { m.slope = -0.5 }), Options{}},
		{"once a turn beyond the ripple", with(func(m *motor) { m.once = 0.2 }), Options{Expected_rpm: 2600, Within: 1.6}},
		{"twice a turn beyond the ripple", with(func(m *motor) { m.twice = 0.3 }), Options{Expected_rpm: 3500, Within: 1.6}},
		{"two of the ripples missing", with(func(m *motor) { m.scale = open(12, 3) }), Options{Expected_rpm: 3500, Within: 1.6}},
		{"pulses of an open coil", with(func(m *motor) { m.scale = open(12, 0); m.pulse = 0.5 }), Options{Expected_rpm: 2500, Within: 1.6}},
		{"uneven ripples", with(func(m *motor) { m.scale = []float64{1, .6, .8, 1, 1.3, .7, 1, .9, .5, 1, 1.2, 1} }), Options{}},
		{"under PWM of 2 kHz", with(func(m *motor) { m.pwm_Hz, m.chopped = 2000, 0.6 }), Options{PWM_Hz: 2000}},
		{"under PWM that folds", with(func(m *motor) { m.pwm_Hz, m.chopped = 19300, 0.6 }), Options{PWM_Hz: 19300}},
		{"behind a filter", with(func(m *motor) { m.filter, m.fineness = 8000, 4 }), Options{}},
		{"three segments", with(func(m *motor) { m.perTurn, m.hz = 6, 400 }), Options{}},
	} {
		t.Run(c.name, func(t *testing.T) {
			m := c.m.quiet(10)
			m.step = 0.0008
			c.o.PerTurn, c.o.Fastest_rpm = m.perTurn, 6000
			truth := 60 * m.hz / float64(m.perTurn)
			for seed := range uint64(3) {
				r, err := Speed(m.samples(20e3, 1, source(seed)), 20e3, c.o)
				require.NoError(t, err)
				assert.InDelta(t, truth, r.Speed_rpm.Value, 0.01*truth)
				if m.scale == nil {
					assert.InDelta(t, m.line(), r.Amplitude, 0.15*m.line())
					assert.InDelta(t, m.drift, r.Drift, 0.02)
				}
			}
		})
	}
}

func TestNoSpeed(t *testing.T) {
	m := motor{perTurn: 12, hz: 600, mean: 1.6, depth: 0.08}.quiet(20)
	at := func(hz float64) motor { m := m; m.hz = hz; return m }
	none := motor{perTurn: 12, mean: 1, noise: 0.05}
	for _, c := range []struct {
		name string
		m    motor
		o    Options
		want error
	}{
		{"noise alone", none, Options{Fastest_rpm: 6000}, ErrNoRipple},
		{"above 0.4 of the rate", at(430), Options{Fastest_rpm: 2400}, ErrFolded},
		{"folded once", at(650), Options{Fastest_rpm: 4000}, ErrFolded},
		{"folded twice", at(1320), Options{Fastest_rpm: 7000}, ErrFolded},
		{"may be folded", at(330), Options{Fastest_rpm: 4000}, ErrFolded},
		{"nothing known", at(330), Options{}, ErrFolded},
		{"an expectation that fits both", at(380), Options{Fastest_rpm: 4000, Expected_rpm: 2300, Within: 1.6}, ErrFolded},
		{"it moves the wrong way", at(700), Options{Fastest_rpm: 4000, Moved: -2.3}, ErrFolded},
		{"another speed expected", at(330), Options{Fastest_rpm: 2500, Expected_rpm: 400, Within: 1.6}, ErrNoRipple},
		{"on a harmonic of the switching", at(300), Options{Fastest_rpm: 2500, PWM_Hz: 5300}, ErrNoRipple},
	} {
		t.Run(c.name, func(t *testing.T) {
			c.o.PerTurn = 12
			_, err := Speed(c.m.samples(1000, 2, source(4)), 1000, c.o)
			assert.ErrorIs(t, err, c.want)
		})
	}
	_, err := Speed(make([]float64, 10), 1000, Options{PerTurn: 12})
	assert.ErrorIs(t, err, ErrSamples)
	_, err = Speed([]float64{100: math.NaN()}, 1000, Options{PerTurn: 12})
	assert.ErrorIs(t, err, ErrSamples)
	_, err = Speed(make([]float64, 100), math.Inf(1), Options{PerTurn: 12})
	assert.ErrorIs(t, err, ErrSamples)
	_, err = Speed(make([]float64, 100), 1000, Options{})
	assert.ErrorContains(t, err, "segments")
}

// What a bound does not settle, the way the line moves does: a line of 330 Hz at
// 1 kHz whose speed rises by a fifth, and one of 670 Hz that looks the same.
func TestFollow(t *testing.T) {
	var emf, u []float64
	var lower, upper []float64
	for i := range 6 {
		s := 1 + 0.04*float64(i)
		emf, u = append(emf, 8*s), append(u, 0.5)
		lower, upper = append(lower, 330*s), append(upper, 1000-670*s)
	}
	ratio, su := Follow(emf, lower, u)
	assert.InDelta(t, 1, ratio, 0.02)
	assert.Less(t, su, 0.03)
	ratio, _ = Follow(emf, upper, u)
	assert.Less(t, ratio, -1.5)
	ratio, _ = Follow(emf[:1], lower, u)
	assert.True(t, math.IsNaN(ratio))
	ratio, _ = Follow([]float64{8, 8.01}, []float64{330, 331}, []float64{1, 1})
	assert.True(t, math.IsNaN(ratio), "too small a move to say")
	m := motor{perTurn: 12, hz: 330, mean: 1.6, depth: 0.08}.quiet(20)
	r, err := Speed(m.samples(1000, 2, source(5)), 1000, Options{PerTurn: 12, Fastest_rpm: 4000, Moved: 1.03})
	require.NoError(t, err)
	assert.InDelta(t, 1650, r.Speed_rpm.Value, 16)
}

func TestTurn(t *testing.T) {
	m := motor{perTurn: 12, hz: 600, mean: 1.6, depth: 0.08, once: 0.05, twice: 0.02, drift: 0.05, wander: 0.002}.quiet(15)
	m.scale = []float64{1, 1, 1, 0, 1, 1, 1, 1, 1, 0.5, 1, 1}
	x := m.samples(20e3, 1.5, source(6))
	r, err := Speed(x, 20e3, Options{PerTurn: 12, Fastest_rpm: 5000, Expected_rpm: 3300, Within: 1.6})
	require.NoError(t, err)
	turn, err := Average(x, 20e3, 12, r)
	require.NoError(t, err)
	assert.InDelta(t, 75, turn.Turns, 1)
	once, u := turn.Order(1)
	assert.InDelta(t, 0.05, once, 0.008)
	assert.Less(t, u, 0.003)
	assert.InDelta(t, m.mean+m.depth*2/math.Pi*10.5/12, turn.Mean(), 0.01)
	weak, half := 0, 0
	for _, a := range turn.Ripples {
		switch {
		case a < 0.35*m.line():
			weak++
		case a < 0.75*m.line():
			half++
		}
	}
	assert.Equal(t, 1, weak, "%v", turn.Ripples)
	assert.GreaterOrEqual(t, half, 1)
	assert.Equal(t, 1, turn.Missing(0.4))
	uneven, _ := turn.Unevenness()
	assert.Greater(t, uneven, 0.6)
	even := m
	even.scale, even.once, even.twice = nil, 0, 0
	x = even.samples(20e3, 1.5, source(7))
	r, err = Speed(x, 20e3, Options{PerTurn: 12, Fastest_rpm: 5000, Expected_rpm: 3300, Within: 1.6})
	require.NoError(t, err)
	turn, err = Average(x, 20e3, 12, r)
	require.NoError(t, err)
	uneven, uu := turn.Unevenness()
	assert.Less(t, uneven, 0.15+4*uu)
	assert.Zero(t, turn.Missing(0.4))
	_, err = Average(x[:100], 20e3, 12, r)
	assert.ErrorIs(t, err, ErrSamples)
}
