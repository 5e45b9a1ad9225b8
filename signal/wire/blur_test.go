package wire

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

// averaged is samples that are means over a time, as a delta-sigma converter
// gives them, of a PWM of true levels.
func averaged(rng *rand.Rand, w *wave, low, high, aperture, noise float64) *Levels {
	l := &Levels{Aperture_s: aperture * between(rng, 0.92, 1.08), Step_V: 0.001} // what the sheet says of it
	area := make([]float64, len(w.at)+1)                                         // high time up to each change
	at, level := 0.0, w.start
	for i, t := range w.at {
		area[i+1] = area[i]
		if level {
			area[i+1] += t - at
		}
		at, level = t, w.high[i]
	}
	i := 0
	upTo := func(t float64) float64 {
		for i > 0 && w.at[i-1] > t {
			i--
		}
		for i < len(w.at) && w.at[i] <= t {
			i++
		}
		x, from := area[i], 0.0
		if i > 0 {
			from = w.at[i-1]
		}
		if w.levelAt(t) {
			x += t - from
		}
		return x
	}
	for t := aperture; t < w.end-aperture; t += aperture * (1 + rng.Float64()) {
		share := (upTo(t+aperture/2) - upTo(t-aperture/2)) / aperture
		l.At_s, l.V = append(l.At_s, t), append(l.V, low+share*(high-low)+noise*rng.NormFloat64())
	}
	return l
}

// TestBlurredLevels: from means over 1.16 ms, longer than its pulses, the
// levels of a PWM come out within the stated 95 %, or not at all. 860 samples
// a second is the fastest rate of SBAS444.
func TestBlurredLevels(t *testing.T) {
	t.Parallel()
	const n = 120
	found, covered := 0, 0
	for i := range n {
		rng := rand.New(rand.NewPCG(uint64(i), 0x626c7572))
		f, duty := logBetween(rng, 120, 1500), between(rng, 0.1, 0.9)
		low, high := between(rng, 0, 1), between(rng, 4, 14)
		w := pwmSpec{f: f, duty: duty, edgeJitter: 0.002}.wave(rng, 0.5)
		l := averaged(rng, w, low, high, 1./860, 0.002)
		e := stamped(w.window(0, w.end), 1e-6, 0)
		r := read(t, &e, l)
		if r.Kind != PWM || !finite(r.Low_V.Value) || !finite(r.High_V.Value) {
			continue
		}
		found++
		halfL, _ := r.Low_V.Expanded(0.95)
		halfH, _ := r.High_V.Expanded(0.95)
		for _, within := range []bool{math.Abs(r.Low_V.Value-low) <= halfL, math.Abs(r.High_V.Value-high) <= halfH} {
			if within {
				covered++
			}
		}
	}
	t.Logf("levels found for %d of %d, within their 95 %% for %.1f %%", found, n, 50*float64(covered)/float64(found))
	require.Greater(t, found, n/2)
	require.GreaterOrEqual(t, float64(covered), 0.93*2*float64(found))
}
