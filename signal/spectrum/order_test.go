package spectrum

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// turning is a sweep of something that turns: a line that follows the speed,
// in white noise of deviation 1.
type turning struct {
	rate_Hz, seconds float64
	top_Hz           float64 // of the line at full speed
	bin_dB           float64 // the line over the noise of one bin at full; NaN: no line
	alike            bool    // the same in all blocks, else with the speed cubed
	wander           float64 // deviation of slope and bend of the speed within a block
	power, bend      float64 // speed = share^(power + bend·ln share), times
	jitter           float64 // 1 ± jitter from block to block
	shares           []float64
	more             func(t float64, block int, speed float64) float64
}

// tens is a staircase up and down.
var tens = []float64{0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1, 0.9, 0.8, 0.7, 0.6, 0.5, 0.4, 0.3, 0.2}

// full is the block of tens at full speed.
const full = 8

// blocks also gives the mean frequency of the line in each.
func (m turning) blocks(rng *rand.Rand) (blocks []Block, truth []float64) {
	shares := m.shares
	if shares == nil {
		shares = tens
	}
	for b, share := range shares {
		n := int(m.rate_Hz * m.seconds * (1 + 0.2*rng.Float64()))
		speed := share
		if m.power > 0 {
			speed = math.Exp(math.Log(share)*(m.power+m.bend*math.Log(share)) + m.jitter*rng.NormFloat64())
		}
		amplitude := math.Sqrt(math.Pow(10, m.bin_dB/10) * 4 * hannENBW / float64(n))
		switch {
		case math.IsNaN(m.bin_dB):
			amplitude = 0
		case !m.alike:
			amplitude *= speed * speed * speed
		}
		slope, bend := m.wander*rng.NormFloat64(), m.wander*rng.NormFloat64()
		x, phase, sum := make([]float64, n), 2*math.Pi*rng.Float64(), 0.0
		for i := range x {
			u := float64(i)/float64(n) - 0.5
			f := m.top_Hz * speed * (1 + slope*u + 2*bend*(u*u-1.0/12))
			sum += f
			phase += 2 * math.Pi * f / m.rate_Hz
			x[i] = 5 + amplitude*math.Cos(phase) + rng.NormFloat64()
			if m.more != nil {
				x[i] += m.more(float64(i)/m.rate_Hz, b, speed)
			}
		}
		truth = append(truth, sum/float64(n))
		blocks = append(blocks, Block{X: x, Rate_Hz: m.rate_Hz, Share: share})
	}
	return blocks, truth
}

// pump is what is known of a pump with two pole pairs: 12 ripples a turn, 10
// to 160 turns a second.
var pump = TrackOptions{Lo_Hz: 120, Hi_Hz: 1920, Highest_Hz: 1920, Least: 0.6, Greatest: 3, Lower: []int{3, 6}}

// The speed at full is right within 1 % at every rate, whatever the law
// between share and speed, and within what the line says of itself.
func TestTrackFollows(t *testing.T) {
	for _, m := range []turning{
		{rate_Hz: 500, top_Hz: 180, bin_dB: 30},
		{rate_Hz: 2000, top_Hz: 600, bin_dB: 20},
		{rate_Hz: 2000, top_Hz: 780, bin_dB: 30, wander: 0.002, power: 0.8, bend: 0.05, jitter: 0.003},
		{rate_Hz: 3012, top_Hz: 1100, bin_dB: 30, wander: 0.003, power: 1.5, jitter: 0.003},
		{rate_Hz: 20000, top_Hz: 1700, bin_dB: 20, wander: 0.001, power: 1.1, bend: -0.05},
		// 10 dB over the whole of the noise: 10·1000·1.4/2/1.5 in a bin.
		{rate_Hz: 1000, top_Hz: 390, bin_dB: 47, wander: 0.005, power: 2},
	} {
		t.Run(fmt.Sprintf("%g Hz at %g", m.top_Hz, m.rate_Hz), func(t *testing.T) {
			m.seconds = 1.4
			rng := rand.New(rand.NewPCG(1, uint64(m.top_Hz)))
			blocks, truth := m.blocks(rng)
			got, err := Track(blocks, pump)
			require.NoError(t, err)
			l := got.Lines[full]
			assert.InEpsilon(t, truth[full], l.Frequency_Hz, 0.01)
			assert.InDelta(t, truth[full], l.Frequency_Hz, 4*l.U_Hz)
			assert.Less(t, l.U_Hz, 0.003*l.Frequency_Hz)
			assert.Less(t, got.Chance, 1e-4)
			assert.Less(t, got.FoldChance, 1e-3)
			assert.InEpsilon(t, l.Frequency_Hz, got.Likely_Hz, 0.02)
			lines := 0
			for i, l := range got.Lines {
				if !math.IsNaN(l.Frequency_Hz) {
					lines++
					assert.InEpsilon(t, truth[i], l.Frequency_Hz, 0.02, "block %d", i)
				}
			}
			assert.GreaterOrEqual(t, lines, 4)
			amplitude := math.Sqrt(math.Pow(10, m.bin_dB/10) * 4 * hannENBW / float64(len(blocks[full].X)))
			assert.InEpsilon(t, amplitude, l.Amplitude, 0.25)
			if m.power == 0 {
				assert.InDelta(t, 1, got.Exponent, 0.03)
				assert.InEpsilon(t, truth[full], got.At_Hz, 0.01)
			}
		})
	}
}

// At 10 dB over the noise of one bin, where no single block could tell, most
// sweeps still tell, and none tells wrong.
func TestTrackAtTenDecibels(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 2))
	told, runs := 0, 16
	for range runs {
		blocks, truth := turning{rate_Hz: 2000, top_Hz: 600, bin_dB: 10, alike: true, seconds: 1}.blocks(rng)
		got, err := Track(blocks, pump)
		if err != nil {
			assert.True(t, errors.Is(err, ErrNoOrder) || errors.Is(err, ErrAliased), err)
			continue
		}
		told++
		if f := got.Lines[full].Frequency_Hz; !math.IsNaN(f) {
			assert.InEpsilon(t, truth[full], f, 0.01)
		}
	}
	assert.GreaterOrEqual(t, told, runs/2)
}

// A line that is folded is refused, and so is one above 0.4 of the rate.
func TestTrackRefusesFolded(t *testing.T) {
	for _, m := range []turning{
		{rate_Hz: 500, top_Hz: 480, bin_dB: 30}, // runs backwards at full
		{rate_Hz: 500, top_Hz: 840, bin_dB: 40}, // bounces
		{rate_Hz: 500, top_Hz: 560, bin_dB: 40, wander: 0.002, power: 1.3},
		{rate_Hz: 1000, top_Hz: 950, bin_dB: 30, wander: 0.002},
		{rate_Hz: 2000, top_Hz: 1700, bin_dB: 30},
		{rate_Hz: 2000, top_Hz: 1300, bin_dB: 40, wander: 0.003, power: 0.8},
		{rate_Hz: 2000, top_Hz: 900, bin_dB: 30},  // not folded, but too high
		{rate_Hz: 3012, top_Hz: 1560, bin_dB: 30}, // just beyond half
		{rate_Hz: 1000, top_Hz: 1200, bin_dB: 40}, // above the rate
		{rate_Hz: 1000, top_Hz: 900, bin_dB: 40, // another order below, straight and weaker
			more: func(t float64, _ int, speed float64) float64 {
				return 4 * speed * speed * speed * math.Cos(2*math.Pi*900*3.5/12*speed*t)
			}},
		{rate_Hz: 1000, top_Hz: 1900, bin_dB: 40, // alike a turn's line below it
			more: func(t float64, _ int, speed float64) float64 { return 0.2 * math.Cos(2*math.Pi*1900.0/12*speed*t) }},
	} {
		t.Run(fmt.Sprintf("%g Hz at %g", m.top_Hz, m.rate_Hz), func(t *testing.T) {
			m.seconds = 1.2
			for seed := range uint64(2) {
				blocks, _ := m.blocks(rand.New(rand.NewPCG(seed, 3)))
				got, err := Track(blocks, pump)
				require.ErrorIs(t, err, ErrAliased)
				assert.ErrorContains(t, err, "sample at")
				assert.True(t, math.IsNaN(got.Lines[full].Frequency_Hz))
				assert.Positive(t, got.Likely_Hz)
			}
		})
	}
}

// Without a bound on what reaches the samples the law alone pins a line.
func TestTrackWithoutBound(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 4))
	blocks, truth := turning{rate_Hz: 1000, top_Hz: 300, bin_dB: 40, seconds: 1.4}.blocks(rng)
	got, err := Track(blocks, TrackOptions{})
	require.NoError(t, err)
	assert.InEpsilon(t, truth[full], got.Lines[full].Frequency_Hz, 0.01)
	assert.Positive(t, got.FoldChance)
	// Where nothing can be folded, nothing is.
	got, err = Track(blocks, TrackOptions{Highest_Hz: 450})
	require.NoError(t, err)
	assert.Zero(t, got.FoldChance)
	// A sweep too short to tell 300 Hz from what is folded.
	blocks, _ = turning{rate_Hz: 1000, top_Hz: 300, bin_dB: 40, alike: true, seconds: 1.4, shares: []float64{0.75, 0.85, 1}}.blocks(rng)
	_, err = Track(blocks, TrackOptions{Least: 0.05, Greatest: 3})
	assert.ErrorIs(t, err, ErrAliased)
}

// Noise has no line that follows, white or with a hump as bubbles make.
func TestTrackNoise(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 5))
	runs, found := 300, 0
	for run := range runs {
		low, slower := 0.0, 0.0
		m := turning{rate_Hz: 500, seconds: 0.5, bin_dB: math.NaN()}
		if run%2 == 1 {
			m.more = func(_ float64, _ int, speed float64) float64 {
				low += 0.1 * (3*rng.NormFloat64() - low)
				slower += 0.1 * (low - slower)
				return 20 * speed * (low - slower)
			}
		}
		blocks, _ := m.blocks(rng)
		o := pump
		if run%4 > 1 {
			o = TrackOptions{Lo_Hz: 4, Hi_Hz: 160, Highest_Hz: 160, Least: 0.6, Greatest: 3}
		}
		if _, err := Track(blocks, o); !errors.Is(err, ErrNoOrder) {
			found++
		}
	}
	assert.LessOrEqual(t, found, 2, "under 1 %% of %d", runs)
}
