package outsider

import (
	"bytes"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/signal/trace"
)

func seeded(seed uint64) *rand.Rand { return rand.New(rand.NewPCG(seed, 1)) }

func TestModelsCoverSizesBoardsDrivesAndRetries(t *testing.T) {
	models := Models(1)
	require.GreaterOrEqual(t, len(models), 6)
	names, sizes, retries := map[string]bool{}, map[[2]bool]int{}, map[retry]bool{}
	boards := map[bool]int{}
	for _, m := range models {
		names[m.Name()] = true
		sizes[[2]bool{m.powerW > 40, m.powerW > 90}]++
		retries[m.board.retry] = true
		boards[m.board.regulates]++
		assert.InDelta(t, 12.75, m.bench.nominalV, 0.76)
		assert.GreaterOrEqual(t, len(m.bench.up), 8)
		assert.LessOrEqual(t, len(m.bench.up), 12)
	}
	assert.Len(t, names, len(models))
	assert.Len(t, sizes, 3)
	assert.Len(t, retries, 3)
	assert.GreaterOrEqual(t, boards[true], 3)
	assert.GreaterOrEqual(t, boards[false], 3)
	assert.Equal(t, models, Models(1))
	assert.NotEqual(t, models, Models(2))
}

func TestRepeatsBySeed(t *testing.T) {
	m := Models(3)[1]
	a, b, c := m.Faulty("drop-outs", 0.8, seeded(4)), m.Faulty("drop-outs", 0.8, seeded(4)), m.Faulty("drop-outs", 0.8, seeded(5))
	assert.Equal(t, a, b)
	assert.NotEqual(t, a.Current(), c.Current())
}

func TestGoodIsPlausible(t *testing.T) {
	for i, m := range Models(1) {
		t.Run(m.Name(), func(t *testing.T) {
			u := m.draw(seeded(uint64(i)))
			on := u.onAt
			tr := u.record(seeded(uint64(i)))
			assert.Equal(t, 1, u.begun, "it starts at the first attempt")
			assert.InDelta(t, rate, tr.Rate(), 1e-6)
			assert.InDelta(t, 52.5, tr.Time()[tr.Len()-1], 7.5)
			for key, want := range map[string]string{trace.KeyTrace: "1", trace.KeyKind: "pump", trace.KeySampleRate: "2000"} {
				got, _ := tr.Get(key)
				assert.Equal(t, want, got)
			}
			v, ok := tr.Number(trace.KeyNominal)
			assert.True(t, ok)
			assert.Equal(t, m.bench.nominalV, v)

			c := tr.Current()
			before, after := int(on*rate)-2, int((on+0.05)*rate)
			assert.InDelta(t, 0, mean(c[:before]), 0.004)
			charge := 0.0
			for _, x := range c[before:after] {
				charge += x / rate
			}
			assert.Greater(t, slices.Max(c[before:after]), 0.4, "the input capacitor charges")
			assert.Greater(t, charge, 0.0)

			_, amps, volts, ragged := settled(tr)
			n := len(m.bench.up)
			full := amps[2+n]
			assert.InEpsilon(t, m.fullA, full, 0.15)
			assert.InDelta(t, m.bench.nominalV, volts[2+n], 0.08*m.bench.nominalV)
			assert.Less(t, amps[0], 0.02)
			assert.Greater(t, amps[2], m.board.awakeA)
			for k := range n {
				assert.Less(t, amps[2+k], amps[3+k]*1.01, "the curve rises")
				down := amps[len(amps)-2-k]
				if m.bench.up[k] < 100 {
					assert.InEpsilon(t, amps[2+k], down, 0.06, "up and down agree at %v %%", m.bench.up[k])
				}
			}
			assert.Less(t, ragged[2+n]/full, 0.06)
		})
	}
}

// The settled current of a noiseless unit against the closed form of the
// torque and voltage balance, found by bisection of the speed.
func TestSteadyStateMatchesTheBalance(t *testing.T) {
	for _, m := range Models(2) {
		if m.board.regulates {
			continue
		}
		u := m.draw(seeded(1))
		u.motor.noise, u.bench.noiseA, u.board.ripple, u.motor.unbalance = 0, 0, 0, 0
		u.gain, u.offset, u.motor.warmTau = 1, 0, 1e9
		o, b := u.motor, u.board
		rs := u.bench.ohm + min(0.04, b.inrushOhm)
		low, high := 0.0, 2*o.full
		var amps float64
		for range 60 {
			speed := (low + high) / 2
			w := speed / o.full
			i := (o.coulomb + o.viscous*w + o.hydraulic*w*w) / o.k
			v := (o.k*speed + o.ohm*i) / b.fullMod
			amps = b.awakeA + o.loss*b.fullMod*i
			if v+amps*rs < u.bench.nominalV {
				low = speed
			} else {
				high = speed
			}
		}
		_, got, _, _ := settled(u.record(seeded(2)))
		assert.InEpsilon(t, amps, got[2+len(m.bench.up)], 0.005, m.Name())
	}
}

func TestUnitsSpread(t *testing.T) {
	m := Models(1)[3]
	rng := seeded(8)
	var full []float64
	for range 7 {
		_, amps, _, _ := settled(m.Good(rng))
		full = append(full, amps[2+len(m.bench.up)])
	}
	center := mean(full)
	square := 0.0
	for _, x := range full {
		square += (x - center) * (x - center) / 6
	}
	relative := math.Sqrt(square) / center
	assert.Greater(t, relative, 0.01)
	assert.Less(t, relative, 0.08)
}

func TestCSVRoundTrip(t *testing.T) {
	tr := Models(1)[4].Good(seeded(2)) // samples the supply now and then
	var b bytes.Buffer
	require.NoError(t, trace.Write(&b, tr))
	back, err := trace.Read(&b, "x.csv")
	require.NoError(t, err)
	assert.Empty(t, back.Warnings)
	assert.Equal(t, tr.Current(), back.Current())
	assert.Equal(t, tr.Column(trace.ColSupply).Missing, back.Column(trace.ColSupply).Missing)
}

func TestUnknownFaultPanics(t *testing.T) {
	assert.Panics(t, func() { Models(1)[0].Faulty("no such", 1, seeded(1)) })
}

func TestFaultsAreListedWell(t *testing.T) {
	known := []string{controlBoard, mechanical, hydraulic, wiring, benchItself}
	names, covered := map[string]bool{}, map[string]bool{}
	for _, f := range Faults() {
		assert.False(t, names[f.Name], f.Name)
		names[f.Name] = true
		assert.NotEmpty(t, f.Causes)
		for _, c := range f.Causes {
			assert.Contains(t, known, c)
			covered[c] = true
		}
	}
	assert.Len(t, covered, len(known))
	assert.GreaterOrEqual(t, len(names), 19)
}

func mean(x []float64) float64 {
	s := 0.0
	for _, v := range x {
		s += v
	}
	return s / float64(len(x))
}
