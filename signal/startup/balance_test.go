package startup

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

// gap steps to a made board: which, how far along the ramp, behind which filter.
func gapped(rate float64, empty []int, from_Hz, to_Hz, depth, tau_s float64) board {
	u := stuck(rate, tries(3, 1.2, 3, 1))
	u.stop_s, u.long_s, u.tau_s = 8.5, 9, tau_s
	for i := range u.tries {
		b := &u.tries[i]
		b.empty, b.from_Hz, b.to_Hz, b.depth = empty, from_Hz, to_Hz, depth
	}
	return u
}

// An electrical turn of a constant rate with gaps: depth, share and how often
// they come are what was made, at every rate that sampling resolves.
func TestGapsOfOneRate(t *testing.T) {
	for _, c := range []struct {
		name   string
		empty  []int
		perRev float64 // gaps of an electrical turn
	}{{"open phase", openPhase, 2}, {"dead switch", deadSwitch, 1}, {"every third step", oneOfThree, 2}} {
		for _, s := range sampled {
			for _, turn := range []float64{5, 10, 20, 40} {
				for _, depth := range []float64{1, 0.4}[:min(2, 1+int(5000/s.rate))] { // 20,000/s takes long
					t.Run(fmt.Sprintf("%s, %v Hz at %v/s, depth %v", c.name, turn, s.rate, depth), func(t *testing.T) {
						p, _ := gapped(s.rate, c.empty, turn, turn, depth, 0).seen(t, 1)
						b := p.Balance
						if s.rate < turnBlocks/2*c.perRev*turn {
							assert.NotEmpty(t, b.Why, "%+v", b)
							assert.True(t, math.IsNaN(b.Depth))
						} else {
							assert.True(t, b.Rhythm, "%+v", b)
							assert.InDelta(t, depth, b.Depth, 0.07)
							assert.InDelta(t, float64(len(c.empty))/6, b.Share, 0.09)
							if s.rate >= 200 {
								assert.InEpsilon(t, c.perRev*turn, b.Repeat_Hz, 0.1)
							} else {
								assert.True(t, math.IsNaN(b.Repeat_Hz))
							}
						}
					})
				}
			}
		}
	}
}

// Along a ramp gaps come ever faster; they are still one rhythm.
func TestGapsAlongARamp(t *testing.T) {
	for _, empty := range [][]int{openPhase, deadSwitch, oneOfThree} {
		for _, rate := range []float64{500, 2000, 20000} {
			p, _ := gapped(rate, empty, 5, 40, 1, 0.002).seen(t, 2)
			b := p.Balance
			assert.True(t, b.Rhythm, "%v %v/s: %+v", empty, rate, b)
			assert.Greater(t, b.Depth, 0.85)
			assert.InDelta(t, float64(len(empty))/6, b.Share, 0.1)
			assert.True(t, b.Repeat_Hz > 5 && b.Repeat_Hz < 80)
			assert.Contains(t, p.Words(), " times a second")
		}
	}
}

// A filter that hides the gaps leaves nothing to be said; one that passes them
// leaves them to be seen. An even current behind a slow filter is not called
// even.
func TestFilteredGaps(t *testing.T) {
	for _, c := range []struct {
		tau_s  float64
		empty  []int
		hidden bool
	}{{0.001, openPhase, false}, {0.004, openPhase, false}, {0.15, openPhase, true}, {0.15, nil, true}, {0.03, nil, true}, {0.003, nil, false}} {
		for _, rate := range []float64{500, 2000, 20000} {
			p, _ := gapped(rate, c.empty, 20, 40, 1, c.tau_s).seen(t, 3)
			b := p.Balance
			assert.Equal(t, c.hidden, b.Why != "", "tau %v s, %v/s: %+v", c.tau_s, rate, b)
			switch {
			case c.hidden:
				assert.Contains(t, b.Why, "falls so slowly")
				assert.False(t, b.Even())
			default:
				assert.Equal(t, c.empty == nil, b.Even(), "tau %v s, %v/s: %+v", c.tau_s, rate, b)
				if rate > 1000 && c.tau_s >= 0.003 {
					assert.InEpsilon(t, 1/(2*math.Pi*c.tau_s), b.UpTo_Hz, 0.25, "the filter's corner")
				}
			}
		}
	}
}

// What is no commutation: a drift along the attempt, the ripple of six-step
// drive, and a current that wanders.
func TestNoGaps(t *testing.T) {
	for _, rate := range []float64{200, 500, 2000} {
		for name, f := range map[string]func(d float64) float64{
			"drift":  func(d float64) float64 { return 1 - 0.5*d },
			"rise":   func(d float64) float64 { return 0.5 + 0.5*d },
			"soft":   func(d float64) float64 { return min(1, 0.3+0.7*d/0.22) }, // alignment builds up
			"ripple": func(d float64) float64 { return math.Cos(math.Mod(d*6*15, 1)*math.Pi/3 - math.Pi/6) },
		} {
			u := gapped(rate, nil, 5, 40, 0, 0)
			tr := u.trace(4)
			for i, at := range tr.Time() {
				for _, b := range u.tries {
					if d := at - b.start_s; d >= 0 && d < b.long_s {
						tr.Current()[i] += b.level_A * (f(d) - 1)
					}
				}
			}
			p := Describe(tr, Find(tr, 0, nil))
			assert.True(t, p.Balance.Even(), "%s at %v/s: %+v", name, rate, p.Balance)
			assert.False(t, p.Balance.Rhythm)
		}
	}
	// Dips that come by chance are uneven, and no rhythm.
	for seed := range uint64(5) {
		u := gapped(1000, nil, 5, 40, 0, 0)
		tr := u.trace(seed)
		weak := func(d float64) bool { // at irregular places, the same in each attempt
			for k, at := range []float64{0.29, 0.35, 0.62, 0.64, 0.68, 0.99, 1.04} {
				if d > at && d < at+0.015+0.005*float64(k%3) {
					return true
				}
			}
			return false
		}
		for i, at := range tr.Time() {
			for _, b := range u.tries {
				if d := at - b.start_s; d >= 0 && d < b.long_s && weak(d) {
					tr.Current()[i] -= 0.7 * b.level_A
				}
			}
		}
		b := Describe(tr, Find(tr, 0, nil)).Balance
		assert.False(t, b.Even() || b.Rhythm, "%+v", b)
		assert.InDelta(t, 0.7, b.Depth, 0.1)
	}
}

// Noise is averaged away as far as that leaves the steps to be seen; where it
// does not, that is said. Noise makes no rhythm, whatever its spectrum.
func TestNoiseAndBalance(t *testing.T) {
	for _, c := range []struct {
		noise_A, tau_s float64
		even           bool
	}{{0.1, 0, true}, {0.5, 0, true}, {4, 0, false}, {8, 0.004, false}, {8, 0.001, false}} {
		for seed := range uint64(6) {
			u := gapped(2000, nil, 5, 20, 0, 0)
			u.noise_A = c.noise_A
			tr := u.trace(seed)
			if x, y := tr.Current(), 0.0; c.tau_s > 0 {
				for i := range x {
					y += (x[i] - y) * (1 - math.Exp(-1/(u.rate*c.tau_s)))
					x[i] = y
				}
			}
			s := Startup{Commanded_s: 1.5, Rest_A: 0.012, Settled_s: math.NaN()} // the truth: noise is not to hide the attempts
			for _, b := range u.tries {
				s.Attempts = append(s.Attempts, Attempt{Start_s: b.start_s, Length_s: b.long_s, Mean_A: 3, Peak_A: 3})
			}
			b := Describe(tr, s).Balance
			assert.False(t, b.Rhythm, "%+v %+v", c, b)
			assert.Equal(t, c.even, b.Even(), "%+v %+v", c, b)
			if !c.even && c.tau_s == 0 {
				assert.Equal(t, noisyWhy, b.Why)
			}
		}
	}
}

func TestTooShortForBalance(t *testing.T) {
	p, _ := stuck(2000, tries(3, 0.15, 3, 1)).seen(t, 1)
	assert.Equal(t, "the attempts are too short, 0.15 s", p.Balance.Why[:len("the attempts are too short, 0.15 s")])
}
