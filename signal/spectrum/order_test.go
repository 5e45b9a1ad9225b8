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

// Lines of the mains and of the command do not follow, alone or beside one
// that does.
func TestTrackPassesOverWhatStays(t *testing.T) {
	stray := func(at float64, _ int, speed float64) float64 {
		var x float64
		for h := 1.0; h < 8; h++ {
			// Half of the mains' ripple grows with the load.
			x += 0.5 / h * (0.5 + speed*speed*speed) * math.Cos(2*math.Pi*100.02*h*at+h)
			x += 0.3 / h * math.Cos(2*math.Pi*130*h*at)
		}
		return x
	}
	o := pump
	o.PWM_Hz = 130
	for _, rate := range []float64{500, 2000} {
		blocks, _ := turning{rate_Hz: rate, seconds: 1.2, bin_dB: math.NaN(), more: stray}.blocks(rand.New(rand.NewPCG(6, 6)))
		_, err := Track(blocks, o)
		assert.ErrorIs(t, err, ErrNoOrder)
	}
	blocks, truth := turning{rate_Hz: 2000, seconds: 1.2, top_Hz: 640, bin_dB: 30, more: stray}.blocks(rand.New(rand.NewPCG(6, 7)))
	got, err := Track(blocks, o)
	require.NoError(t, err)
	assert.InEpsilon(t, truth[full], got.Lines[full].Frequency_Hz, 0.01)
}

// Harmonics of the command come and go with the duty, so they may look like a
// line that follows.
func TestTrackPassesOverSwitching(t *testing.T) {
	blocks, _ := turning{rate_Hz: 2000, seconds: 1, bin_dB: math.NaN(), shares: []float64{0.5, 0.6, 0.7, 0.8, 0.9, 1},
		more: func(at float64, b int, _ float64) float64 { return math.Cos(2 * math.Pi * 65 * float64(5+b) * at) }}.blocks(rand.New(rand.NewPCG(6, 9)))
	got, err := Track(blocks, pump)
	require.NoError(t, err)
	assert.InDelta(t, 650, got.At_Hz, 10)
	o := pump
	o.PWM_Hz = 65
	_, err = Track(blocks, o)
	assert.ErrorIs(t, err, ErrNoOrder)
}

func TestMaskSwitching(t *testing.T) {
	blocks, _ := turning{rate_Hz: 500, seconds: 1, bin_dB: math.NaN()}.blocks(rand.New(rand.NewPCG(6, 8)))
	o := pump
	o.PWM_Hz = 130
	w, err := newSweep(blocks, o)
	require.NoError(t, err)
	w.maskSwitching()
	for _, v := range w.blocks {
		open := 0
		for _, in := range v.open {
			if in {
				open++
			}
		}
		assert.GreaterOrEqual(t, 2*open, len(v.open))
		for _, h := range []float64{1, 2, 3, 7} { // 130, 240, 110 and 90 Hz
			k := int(math.Round(Apparent(130*h, 500) / v.step))
			assert.False(t, v.open[k] || v.open[k-2] || v.open[k+2])
		}
		assert.True(t, v.open[int(65/v.step)], "between harmonics")
	}
}

// Of several orders the strongest counts; one that unequal phases make at a
// third does not hide the ripple.
func TestTrackChoosesTheOrder(t *testing.T) {
	for name, c := range map[string]struct{ third, turn, double float64 }{
		"once a turn, weaker": {0, 0.5, 0.3}, "a third, weaker": {0.5, 0, 0.2}, "a third, stronger": {1.4, 0.2, 0.1},
	} {
		t.Run(name, func(t *testing.T) {
			const rate, top = 3012, 900.0
			a := math.Sqrt(math.Pow(10, 4) * 4 * hannENBW / (rate * 1.2))
			blocks, truth := turning{rate_Hz: rate, seconds: 1.2, top_Hz: top, bin_dB: 40, more: func(t float64, _ int, speed float64) float64 {
				w := 2 * math.Pi * top * speed * t
				return a * speed * speed * speed * (c.third*math.Cos(w/3) + c.turn*math.Cos(w/12) + c.double*math.Cos(2*w))
			}}.blocks(rand.New(rand.NewPCG(8, 8)))
			got, err := Track(blocks, pump)
			require.NoError(t, err)
			assert.InEpsilon(t, truth[full], got.Lines[full].Frequency_Hz, 0.01)
		})
	}
}

// What damps a line before it is sampled is made good when lines are compared,
// and what a source cannot give is no line.
func TestTrackGain(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 9))
	blocks, _ := turning{rate_Hz: 1000, top_Hz: 350, bin_dB: 40, seconds: 1.2}.blocks(rng)
	o := pump
	o.Gain = func(f, _ float64) float64 { return 1 / math.Hypot(1, f/100) }
	_, err := Track(blocks, o)
	require.NoError(t, err)
	for i := range blocks {
		blocks[i].Most = 0.01
	}
	_, err = Track(blocks, o)
	assert.ErrorIs(t, err, ErrNoOrder)
}

// A line of the amplitude said to be hidden at most is found about as often as
// not, one half as high hardly ever.
func TestTrackHidden(t *testing.T) {
	rng := rand.New(rand.NewPCG(10, 10))
	o := TrackOptions{Lo_Hz: 20, Hi_Hz: 160, Highest_Hz: 160}
	find := func(times float64) (found int) {
		for range 12 {
			blocks, _ := turning{rate_Hz: 500, seconds: 1, bin_dB: math.NaN()}.blocks(rng)
			out, err := Track(blocks, o)
			require.ErrorIs(t, err, ErrNoOrder)
			for i, b := range blocks {
				require.Positive(t, out.Hidden[i])
				addLine(b.X, 500, 100*b.Share, times*out.Hidden[i], 1)
			}
			if _, err := Track(blocks, o); err == nil {
				found++
			}
		}
		return found
	}
	assert.GreaterOrEqual(t, find(1.2), 8)
	assert.LessOrEqual(t, find(0.5), 2)
}

func TestTrackRefuses(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 11))
	good, _ := turning{rate_Hz: 500, seconds: 0.5, top_Hz: 100, bin_dB: 30}.blocks(rng)
	for _, shares := range [][]float64{{1}, {1, 1, 1, 1}, {0.5, 1, 1}, {0.8, 0.9, 1}} {
		var few []Block
		for i, s := range shares {
			few = append(few, Block{X: good[i].X, Rate_Hz: 500, Share: s})
		}
		_, err := Track(few, TrackOptions{})
		assert.ErrorIs(t, err, ErrFewSpeeds, "%v", shares)
	}
	_, err := Track(nil, TrackOptions{})
	assert.ErrorIs(t, err, ErrFewSpeeds)
	for name, b := range map[string]Block{
		"share": {X: good[0].X, Rate_Hz: 500}, "above 0": {X: good[0].X, Rate_Hz: 500, Share: math.NaN()},
		"block 3": {X: good[0].X, Share: 1}, "finite": {X: append([]float64{math.NaN()}, make([]float64, 99)...), Rate_Hz: 500, Share: 1},
	} {
		bad := append([]Block(nil), good...)
		bad[3] = b
		_, err := Track(bad, TrackOptions{})
		assert.ErrorContains(t, err, name)
	}
	// A block too short to look at has no line and does no harm.
	good[2].X = good[2].X[:20]
	got, err := Track(good, TrackOptions{Highest_Hz: 200})
	require.NoError(t, err)
	assert.True(t, math.IsNaN(got.Lines[2].Frequency_Hz) && math.IsNaN(got.Hidden[2]))
	// Nothing at all is no line.
	for i := range good {
		good[i].X = make([]float64, 300)
	}
	_, err = Track(good, TrackOptions{})
	assert.ErrorIs(t, err, ErrNoOrder)
}

// The three recordings of a motor at labelled speeds, taken as one sweep: the
// line that follows is the electrical turn, 7 pole pairs. The labels hold
// within 1 %, see TestBackEMFRecordings.
func TestTrackBackEMFRecordings(t *testing.T) {
	rpm := []float64{250, 500, 1000}
	for ch := range 3 {
		var blocks []Block
		for _, n := range rpm {
			ts, x := recording(t, fmt.Sprintf("bemf_%04.0frpm1.csv", n))
			grid, rate, err := Even(nil, ts, x[ch])
			require.NoError(t, err)
			blocks = append(blocks, Block{X: grid, Rate_Hz: rate, Share: n / 1000})
		}
		got, err := Track(blocks, TrackOptions{Lo_Hz: 60, Highest_Hz: 1000, Least: 0.9, Greatest: 1.1})
		require.NoError(t, err)
		for i, l := range got.Lines {
			speed, err := Speed(l, 7, blocks[i].Rate_Hz, 1000)
			require.NoError(t, err)
			t.Logf("channel %d: %.2f Hz (u %.2f), %.1f rpm, amplitude %.3f, by chance %.1g", ch+1, l.Frequency_Hz, l.U_Hz, speed.Value, l.Amplitude, got.Chance)
			assert.InEpsilon(t, rpm[i], speed.Value, 0.01)
		}
		assert.InDelta(t, 1, got.Exponent, 0.01)
	}
}

func FuzzTrack(f *testing.F) {
	f.Add([]byte("some bytes that stand for samples of a sweep, long enough for three short blocks or so of it, and a few more to fill them"), 0.5, 0.8)
	f.Fuzz(func(t *testing.T, data []byte, a, b float64) {
		var x []float64
		for range 300/(len(data)+1) + 1 {
			for _, c := range data {
				x = append(x, float64(c))
			}
		}
		got, err := Track([]Block{{X: x, Rate_Hz: 100, Share: a}, {X: x, Rate_Hz: 100, Share: b}, {X: x, Rate_Hz: 130, Share: 1}}, TrackOptions{})
		if err != nil {
			return
		}
		for _, l := range got.Lines {
			require.True(t, math.IsNaN(l.Frequency_Hz) || l.Frequency_Hz > 0 && finite(l.Amplitude) && l.U_Hz > 0, "%+v", l)
		}
	})
}

func BenchmarkTrack(b *testing.B) {
	for _, rate := range []float64{500, 2000, 20000} {
		b.Run(fmt.Sprint(rate), func(b *testing.B) {
			blocks, _ := turning{rate_Hz: rate, top_Hz: 0.3 * min(rate, 5000), bin_dB: 40, seconds: 1.4, wander: 0.002}.blocks(rand.New(rand.NewPCG(1, 1)))
			n := 0
			for _, x := range blocks {
				n += len(x.X)
			}
			for b.Loop() {
				_, _ = Track(blocks, pump)
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(n), "ns/sample")
		})
	}
}
