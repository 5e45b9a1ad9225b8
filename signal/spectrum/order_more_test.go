package spectrum

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

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
