package wire

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

// draws is how many of each are tried; fewer where processors are slow.
func draws() int {
	if testing.Short() {
		return 300
	}
	return 2000
}

// rateOf counts kinds over many draws and prints them.
func rateOf(t *testing.T, what string, n int, draw func(rng *rand.Rand) Reading) map[Kind]int {
	t.Helper()
	counts := map[Kind]int{}
	for i := range n {
		rng := rand.New(rand.NewPCG(uint64(i), 0x77697265))
		counts[draw(rng).Kind]++
	}
	t.Logf("%s, %d draws: %v", what, n, counts)
	return counts
}

func read(t *testing.T, e *Edges, l *Levels) Reading {
	t.Helper()
	r, err := Read(e, l, Surroundings{})
	require.NoError(t, err)
	return r
}

func drawPWM(rng *rand.Rand) pwmSpec {
	return pwmSpec{f: logBetween(rng, 15, 5000), duty: between(rng, 0.04, 0.96), edgeJitter: between(rng, 0, 0.01), walk: between(rng, 0, 0.02),
		dropOut: between(rng, 0, 0.05), glitch: between(rng, 0, 0.05)}
}

func drawBus(rng *rand.Rand, periods float64) *wave {
	baud := logBetween(rng, 1000, 115200)
	length := periods * 4 / baud
	switch rng.IntN(3) {
	case 0:
		return serial(rng, baud, rng.Float64(), length)
	case 1:
		return framed(rng, baud, length)
	}
	return stuffed(rng, baud, length)
}

// TestPWMFromEdges: no bus is seen in PWM with jitter, drop-outs and glitches.
func TestPWMFromEdges(t *testing.T) {
	t.Parallel()
	counts := rateOf(t, "PWM by edges", draws(), func(rng *rand.Rand) Reading {
		p := drawPWM(rng)
		w := p.wave(rng, between(rng, 15, 120)/p.f)
		e := stamped(w.window(0, w.end), between(rng, 0, 0.01)/p.f, between(rng, -0.01, 0.01)/p.f)
		return read(t, &e, nil)
	})
	require.Zero(t, counts[Bus])
	require.GreaterOrEqual(t, counts[PWM]+counts[Unclear], draws())
	require.GreaterOrEqual(t, counts[PWM], draws()*90/100)
}

// TestBusFromEdges: no PWM is seen in random bytes, in long or short windows.
func TestBusFromEdges(t *testing.T) {
	t.Parallel()
	for _, window := range []struct {
		name     string
		from, to float64
		bus      int // share that must be recognised, %
	}{{"short", 8, 40, 0}, {"long", 100, 250, 95}} {
		counts := rateOf(t, "bus by edges, "+window.name, draws(), func(rng *rand.Rand) Reading {
			w := drawBus(rng, between(rng, window.from, window.to))
			from := between(rng, 0, 0.3) * w.end
			e := w.window(from, w.end)
			bit := w.end
			for i := 1; i < len(w.at); i++ {
				bit = min(bit, w.at[i]-w.at[i-1])
			}
			e = stamped(e, between(rng, 0, 0.25)*bit, between(rng, -0.15, 0.15)*bit)
			return read(t, &e, nil)
		})
		require.Zero(t, counts[PWM])
		require.GreaterOrEqual(t, counts[Bus], draws()*window.bus/100)
	}
}

func TestPWMFromLevels(t *testing.T) {
	t.Parallel()
	counts := rateOf(t, "PWM by levels", draws(), func(rng *rand.Rand) Reading {
		p := drawPWM(rng)
		p.duty = between(rng, 0.15, 0.85)
		p.glitch = 0
		w := p.wave(rng, between(rng, 15, 60)/p.f)
		in := input{low: between(rng, 0, 1), high: between(rng, 4, 14), noise: between(rng, 0, 0.3), step: 0.01, interval: 1 / (p.f * between(rng, 10.5, 60)), uneven: between(rng, 0, 0.3)}
		return read(t, nil, in.levels(rng, w))
	})
	require.Zero(t, counts[Bus])
	require.GreaterOrEqual(t, counts[PWM], draws()*90/100)
}

func TestBusFromLevels(t *testing.T) {
	t.Parallel()
	counts := rateOf(t, "bus by levels", draws(), func(rng *rand.Rand) Reading {
		w := drawBus(rng, between(rng, 20, 150))
		bit := w.end
		for i := 1; i < len(w.at); i++ {
			bit = min(bit, w.at[i]-w.at[i-1])
		}
		in := input{low: between(rng, 0, 1), high: between(rng, 4, 14), noise: between(rng, 0, 0.2), step: 0.01, interval: bit * logBetween(rng, 0.1, 3), uneven: between(rng, 0, 0.3)}
		return read(t, nil, in.levels(rng, w))
	})
	require.Zero(t, counts[PWM])
	require.Positive(t, counts[Bus])
}

// floating is hum with harmonics on a drift, as an open wire shows it, with or
// without clamps at ground and supply.
func floating(rng *rand.Rand, clamp bool) *Levels {
	f := 50 + 10*float64(rng.IntN(2))
	f *= between(rng, 0.995, 1.005)
	a, bias, phase := logBetween(rng, 0.3, 8), between(rng, 0, 6), 2*math.Pi*rng.Float64()
	third, drift := between(rng, 0, 0.15)*a, between(rng, -1, 1)
	noise, uneven := between(rng, 0, 0.1), between(rng, 0, 0.3)
	l := &Levels{Step_V: 0.01}
	interval := logBetween(rng, 1e-4, 2e-3)
	for t := 0.0; t < 0.25; t += interval * (1 + uneven*(2*rng.Float64()-1)) {
		v := bias + drift*t + a*math.Sin(2*math.Pi*f*t+phase) + third*math.Sin(6*math.Pi*f*t) + noise*rng.NormFloat64()
		if clamp {
			v = min(max(v, 0), 5)
		}
		l.At_s, l.V = append(l.At_s, t), append(l.V, v)
	}
	return l
}

// TestFloating: hum is never PWM and never a bus, not even clamped to a square.
func TestFloating(t *testing.T) {
	t.Parallel()
	for _, clamp := range []bool{false, true} {
		counts := rateOf(t, "hum", draws(), func(rng *rand.Rand) Reading { return read(t, nil, floating(rng, clamp)) })
		require.Zero(t, counts[PWM]+counts[Bus])
		if !clamp {
			require.GreaterOrEqual(t, counts[Floating], draws()*95/100)
		}
	}
}

// TestAliased: uneven samples that are too few for a PWM never make a slow one
// of it.
func TestAliased(t *testing.T) {
	t.Parallel()
	counts := rateOf(t, "PWM too fast for uneven samples", draws(), func(rng *rand.Rand) Reading {
		p := drawPWM(rng)
		interval := logBetween(rng, 0.2, 20) / p.f
		w := p.wave(rng, 400*interval)
		in := input{high: 12, noise: 0.1, step: 0.01, interval: interval, uneven: 0.4}
		return read(t, nil, in.levels(rng, w))
	})
	require.Zero(t, counts[PWM]+counts[Bus]+counts[Analogue])
	require.GreaterOrEqual(t, counts[TooFast], draws()*90/100)
}

// TestFrequencyCovered: true frequency and duty lie within the stated 95 % at
// least so often, for edges and for levels, with errors that add up and with
// errors of each edge.
func TestFrequencyCovered(t *testing.T) {
	t.Parallel()
	for _, byLevels := range []bool{false, true} {
		var n, f, d int
		var ratio float64
		for i := range draws() {
			rng := rand.New(rand.NewPCG(uint64(i), 0x66726571))
			p := drawPWM(rng)
			p.duty = between(rng, 0.2, 0.8)
			p.dropOut, p.glitch = 0, 0
			if i%2 == 0 {
				p.walk = 0
			}
			w := p.wave(rng, between(rng, 15, 60)/p.f)
			var r Reading
			if byLevels {
				in := input{high: 12, noise: 0.1, step: 0.01, interval: 1 / (p.f * between(rng, 12, 60)), uneven: between(rng, 0, 0.3)}
				r = read(t, nil, in.levels(rng, w))
			} else {
				most := between(rng, 0, 0.01) / p.f
				e := w.window(0, w.end)
				e.Skew_s = most
				e = stamped(e, between(rng, 0, 0.01)/p.f, between(rng, -most, most))
				r = read(t, &e, nil)
			}
			if r.Kind != PWM {
				continue
			}
			n++
			half, _ := r.Frequency_Hz.Expanded(0.95)
			if math.Abs(r.Frequency_Hz.Value-p.f) <= half {
				f++
			}
			ratio += math.Abs(r.Frequency_Hz.Value-p.f) / half
			half, _ = r.Duty_pct.Expanded(0.95)
			if math.Abs(r.Duty_pct.Value-100*p.duty) <= half {
				d++
			}
		}
		t.Logf("levels %v: of %d, frequency covered %.1f %%, duty covered %.1f %%; mean error over half-width %.2f", byLevels, n, 100*float64(f)/float64(n), 100*float64(d)/float64(n), ratio/float64(n))
		require.Greater(t, n, draws()*90/100)
		require.GreaterOrEqual(t, float64(f), 0.94*float64(n))
		require.GreaterOrEqual(t, float64(d), 0.94*float64(n))
	}
}
