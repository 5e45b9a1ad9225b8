package travel

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/signal/step"
	"dutybench/signal/trace"
)

// made is a unit of known doings: after each command it waits, goes at one speed
// to where it is told and draws more while it goes, and more still at a place.
type made struct {
	rate, every      float64 // samples a second, and every so many one of the position
	delay, speed     float64 // s, %/s
	noise            float64
	quiet, moving    float64 // A
	spotAt, spot     float64 // %, A
	standsAt, stands float64 // %, s
	duties           []float64
	hold             float64 // s
}

func (u made) trace(seed uint64) *trace.Trace {
	r := rand.New(rand.NewPCG(seed, 1))
	var t, duty, amps, place []float64
	x, stood, n := u.duties[0], 0.0, 0
	for _, d := range u.duties {
		for k := range int(u.hold * u.rate) {
			since := float64(k) / u.rate
			i := u.quiet
			if e := d - x; since >= u.delay && math.Abs(e) > 1e-9 {
				i += u.moving
				if math.Abs(x-u.spotAt) < 2 {
					i += u.spot
				}
				if u.stands > 0 && math.Abs(x-u.standsAt) < u.speed/u.rate && stood < u.stands {
					stood += 1 / u.rate
				} else {
					x += math.Copysign(min(math.Abs(e), u.speed/u.rate), e)
				}
			}
			p := math.NaN()
			if n%int(u.every) == 0 {
				p = x + u.noise*r.NormFloat64()
			}
			n++
			t, duty, amps, place = append(t, float64(n)/u.rate), append(duty, d), append(amps, i+1e-4*r.NormFloat64()), append(place, p)
		}
	}
	return &trace.Trace{Columns: []trace.Column{{Name: trace.ColTime, Values: t}, {Name: trace.ColDuty, Values: duty}, {Name: trace.ColCurrent, Values: amps}, {Name: trace.ColPosition, Values: place}}}
}

func usual() made {
	return made{rate: 1000, every: 5, delay: 0.05, speed: 50, noise: 0.05, quiet: 0.02, moving: 0.1, spotAt: math.NaN(), duties: []float64{10, 90, 10, 20, 20.3, 30}, hold: 2.5}
}

func (u made) moves(t *testing.T, seed uint64) (*trace.Trace, Samples, []Move) {
	t.Helper()
	tr := u.trace(seed)
	s := Of(tr.Time(), tr.Values(trace.ColPosition))
	return tr, s, Moves(tr, s, step.Find(tr), 0.3)
}

// What is found is what was made, at several rates.
func TestMoves(t *testing.T) {
	for _, c := range []struct{ rate, every float64 }{{1000, 5}, {200, 1}, {100, 1}} {
		u := usual()
		u.rate, u.every = c.rate, c.every
		_, s, moves := u.moves(t, 1)
		require.GreaterOrEqual(t, len(moves), 4)
		assert.True(t, math.IsNaN(moves[0].Before_pct))
		up, down := moves[1], moves[2]
		pitch := c.every / c.rate
		assert.InDelta(t, pitch, s.Pitch_s(), 1e-9)
		for _, m := range []Move{up, down} {
			assert.True(t, m.Moved)
			assert.True(t, m.Settled)
			assert.InDelta(t, u.speed, math.Abs(m.Speed_pct_s), max(4*m.SpeedU, 0.1))
			assert.InDelta(t, u.delay+0.2*80/u.speed, m.Delay_s, 2*pitch)
			assert.InDelta(t, u.quiet+u.moving, m.Moving_A, 1e-3)
			assert.InDelta(t, u.quiet, m.Standing_A, 1e-3)
			assert.InDelta(t, u.moving*80/u.speed, m.Charge_As, 0.01*u.moving*80/u.speed+u.moving*2*pitch)
			assert.InDelta(t, u.delay+80/u.speed, m.Settle_s, 0.8/u.speed+2*pitch+1e-3) // near: a hundredth of the way
			assert.Less(t, m.Over_pct, 6*u.noise)
		}
		assert.InDelta(t, 80, up.Way(), 0.1)
		assert.InDelta(t, -80, down.Way(), 0.1)
		assert.Less(t, down.Speed_pct_s, 0.0)
	}
}

func TestNoise(t *testing.T) {
	u := usual()
	tr, s, _ := u.moves(t, 2)
	assert.InEpsilon(t, u.noise, Noise(s, step.Find(tr), tr.Time()), 0.15)
	assert.True(t, math.IsNaN(Noise(Samples{}, step.Find(tr), tr.Time())))
}

// A place that binds and one where it stands are found where they are, and none
// where there is none.
func TestPlaces(t *testing.T) {
	u := usual()
	tr, s, moves := u.moves(t, 3)
	above, _ := moves[1].Bins(tr, s, 2.5, 0.15, 0.85).Excess()
	assert.Less(t, above, 1e-3)
	share, _, _, ok := moves[1].Slowest(tr, s, 1)
	require.True(t, ok)
	assert.Greater(t, share, 0.5)

	u.spotAt, u.spot, u.standsAt, u.stands = 40, 0.05, 60, 0.15
	tr, s, moves = u.moves(t, 3)
	above, place := moves[1].Bins(tr, s, 2.5, 0.15, 0.85).Excess()
	assert.InDelta(t, 0.05, above, 0.005)
	assert.InDelta(t, 40, place, 2.5)
	share, place, amps, ok := moves[1].Slowest(tr, s, 1)
	require.True(t, ok)
	assert.Less(t, share, 0.2)
	assert.InDelta(t, 60, place, 1.5)
	assert.InDelta(t, u.quiet+u.moving, amps, 2e-3)
}

func TestJumps(t *testing.T) {
	s := Samples{T_s: []float64{0, 0.01, 0.02, 0.03, 0.04, 1}, P_pct: []float64{10, 10.4, -12, 11.2, 11.6, 50}}
	assert.Equal(t, []int{2, 3}, s.Jumps(200, 2), "away and back; what lies across a hole is none")
	assert.Empty(t, Samples{}.Jumps(1, 1))
}

func TestSamples(t *testing.T) {
	nan := math.NaN()
	s := Of([]float64{0, 1, 2, 3}, []float64{nan, 10, nan, 30})
	assert.Equal(t, 2, s.Len())
	assert.Equal(t, 20.0, s.At(2))
	assert.Equal(t, 10.0, s.At(1))
	assert.True(t, math.IsNaN(s.At(0.5)))
	assert.True(t, math.IsNaN(s.At(3.5)))
	assert.Equal(t, 1, s.In(0, 3).Len())
	assert.Zero(t, s.In(5, 2).Len())
	assert.True(t, math.IsNaN(s.In(0, 2).Pitch_s()))
}
