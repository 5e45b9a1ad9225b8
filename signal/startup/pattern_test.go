package startup

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// each runs a check of what a made unit shows at every sampling rate.
func each(t *testing.T, make func(rate float64) board, check func(*testing.T, float64, Pattern)) {
	t.Helper()
	for _, s := range sampled {
		if s.rate > 5000 && len(make(s.rate).tries) > 3 {
			continue // takes long
		}
		for seed := range s.seeds {
			t.Run(fmt.Sprintf("%v Hz, seed %d", s.rate, seed), func(t *testing.T) {
				p, _ := make(s.rate).seen(t, seed)
				check(t, s.rate, p)
			})
		}
	}
}

func TestEqualAttempts(t *testing.T) {
	make := func(rate float64) board { return stuck(rate, tries(3, 1.02, 3, 1.5)) }
	each(t, make, func(t *testing.T, rate float64, p Pattern) {
		edge := window(rate)
		assert.Equal(t, [4]int{3, 3, 3, 0}, [4]int{p.N, p.Failed, p.Full, p.Resets})
		assert.True(t, p.Equal && p.RestsEqual)
		assert.False(t, p.Ran || p.Cut || p.Sticky || p.Growing)
		assert.InDelta(t, 1.02, p.Length_s, edge)
		assert.InDelta(t, 3, p.Height_A, 0.1)
		assert.Less(t, p.LengthSpread, 2*edge)
		assert.Less(t, p.HeightSpread, 0.03)
		require.Len(t, p.Rests_s, 2)
		assert.InDelta(t, 1.5, p.Rests_s[1], edge)
		assert.InDelta(t, 1, p.RestGrowth, 0.03)
		assert.InDelta(t, 2.52, p.Period_s, edge)
		assert.True(t, p.PeriodEqual)
		assert.InDelta(t, 17.5, p.Run_s, 2/rate)
		assert.True(t, p.Latched, "8 s of silence after rests of 1.5 s")
		assert.InDelta(t, 19-1.8-3*1.02-2*1.5, p.Latched_s, edge)
		words := p.Words()
		assert.Contains(t, words, "3 start attempts of equal length (1.0")
		assert.Contains(t, words, " apart")
		assert.Contains(t, words, ": latched off")
		if rate >= 200 {
			assert.True(t, p.Balance.Even(), "%+v", p.Balance)
			assert.Zero(t, p.Balance.Share)
			assert.Contains(t, words, "current even over the commutation steps")
		} else {
			assert.Equal(t, "100 samples a second show commutation only up to 8 Hz", p.Balance.Why)
			assert.NotContains(t, words, "commutation")
		}
	})
}

func TestUnequalLengths(t *testing.T) {
	make := func(rate float64) board {
		b := tries(3, 0.6, 3, 2)
		b[1].long_s = 1
		return stuck(rate, b)
	}
	each(t, make, func(t *testing.T, rate float64, p Pattern) {
		assert.False(t, p.Equal || p.RestsEqual)
		assert.InDelta(t, 0.6, p.LengthLow_s, window(rate))
		assert.InDelta(t, 1, p.LengthHigh_s, window(rate))
		assert.Contains(t, p.Words(), "3 start attempts of unequal length (0.")
	})
}

// Of an open phase the current may come late into every other attempt: they
// still end in step.
func TestLateCurrent(t *testing.T) {
	make := func(rate float64) board {
		b := tries(4, 0.9, 3, 1)
		for i := 1; i < 4; i += 2 {
			b[i].start_s, b[i].long_s = b[i].start_s+0.3, 0.6
		}
		return stuck(rate, b[:3])
	}
	each(t, make, func(t *testing.T, rate float64, p Pattern) {
		assert.False(t, p.Equal || p.RestsEqual)
		assert.True(t, p.PeriodEqual)
		assert.InDelta(t, 1.9, p.Period_s, window(rate))
		assert.Contains(t, p.Words(), ", ending every 1.")
	})
}

// Rests that double, grow by as much each time, grow up to a bound; rests that
// are equal, jitter, or shrink.
func TestGrowingRests(t *testing.T) {
	for _, c := range []struct {
		name    string
		rests   []float64
		growth  float64
		growing bool
	}{
		{"doubling", []float64{0.5, 1, 2, 4}, 2, true},
		{"by as much", []float64{0.8, 1.6, 2.4, 3.2}, (2 + 1.5 + 4./3) / 3, true},
		{"bounded", []float64{0.8, 1.6, 3.2, 3.2}, 5. / 3, true},
		{"two", []float64{1, 2}, 2, true},
		{"equal", []float64{1.5, 1.5, 1.5, 1.5}, 1, false},
		{"jitter", []float64{1.5, 1.2, 1.9, 1.4}, math.NaN(), false},
		{"jitter that ends high", []float64{1.2, 1.8, 1.3, 1.6}, math.NaN(), false},
		{"shrinking", []float64{4, 2, 1, 0.5}, 0.5, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			make := func(rate float64) board { return stuck(rate, tries(len(c.rests)+1, 0.5, 3, c.rests...)) }
			each(t, make, func(t *testing.T, rate float64, p Pattern) {
				assert.Equal(t, c.growing, p.Growing, "%v", p.Rests_s)
				if !math.IsNaN(c.growth) {
					assert.InDelta(t, c.growth, p.RestGrowth, 0.12)
				}
				if c.growing {
					assert.Contains(t, p.Words(), "with rests growing from ")
				}
			})
		})
	}
}

// How long a silence must be to be one: three periods, where rests do not grow
// faster than that; and a single attempt shows no rhythm.
func TestLatch(t *testing.T) {
	for _, c := range []struct {
		name    string
		tries   []try
		stop_s  float64
		latched bool
	}{
		{"after equal ones", tries(3, 1, 3, 1), 1.8 + 5 + 7, true},
		{"not yet", tries(3, 1, 3, 1), 1.8 + 5 + 5, false},
		{"rests that double may come back", tries(4, 0.5, 3, 0.5, 1, 2), 1.8 + 5.5 + 4.2, false},
		{"rests that double do not come back", tries(4, 0.5, 3, 0.5, 1, 2), 1.8 + 5.5 + 8, true},
		{"rests that grow fivefold may", tries(4, 0.3, 3, 0.12, 0.6, 3), 1.8 + 4.92 + 11, false},
		{"a single one", tries(1, 1, 3), 19, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			make := func(rate float64) board {
				u := stuck(rate, c.tries)
				u.stop_s = c.stop_s
				return u
			}
			each(t, make, func(t *testing.T, rate float64, p Pattern) {
				last := c.tries[len(c.tries)-1]
				assert.Equal(t, c.latched, p.Latched)
				assert.InDelta(t, c.stop_s-last.start_s-last.long_s, p.Silent_s, window(rate)+2/rate)
				if c.latched {
					assert.Equal(t, p.Silent_s, p.Latched_s)
				} else {
					assert.True(t, math.IsNaN(p.Latched_s))
					assert.NotContains(t, p.Words(), "latched")
				}
				assert.Contains(t, p.Words(), "then none for ")
			})
		})
	}
}

// The command ends in an attempt: it has no length and no silence follows.
func TestCutAttempt(t *testing.T) {
	make := func(rate float64) board {
		u := stuck(rate, tries(3, 1, 3, 1))
		u.tries[2].long_s, u.stop_s = 0.6, 6.4
		return u
	}
	each(t, make, func(t *testing.T, rate float64, p Pattern) {
		assert.True(t, p.Cut && p.Equal)
		assert.InDelta(t, 1, p.Length_s, window(rate))
		assert.Equal(t, 3, p.Failed)
		assert.True(t, math.IsNaN(p.Silent_s))
		assert.Contains(t, p.Words(), ", the last cut short by the end of the command")
	})
}

// A unit that sticks and then runs, and one that only wakes up a few times
// before it runs: what tells them apart is the effort.
func TestStickyAndResets(t *testing.T) {
	weak := tries(3, 0.3, 0.06, 0.4)
	brief := tries(3, 0.1, 3, 0.4)
	for _, c := range []struct {
		name                      string
		tries                     []try
		runs_s                    float64
		failed, full, resets, run int
		words                     string
	}{
		{"sticky", tries(2, 1, 3, 1), 6, 2, 2, 0, 1, "3 start attempts, the third ran"},
		{"sticky once", tries(1, 1, 3), 6, 1, 1, 0, 1, "2 start attempts, the second ran"},
		{"brief", brief, 3.6, 3, 0, 3, 1, "3 wake-ups that came to nothing and 1 start attempt, which ran"},
		{"at once", nil, 2, 0, 0, 0, 1, "1 start attempt, which ran"},
		{"weak", weak, 4, 0, 0, 3, 1, "3 wake-ups that came to nothing and 1 start attempt, which ran"},
	} {
		t.Run(c.name, func(t *testing.T) {
			for _, s := range sampled {
				u := stuck(s.rate, c.tries)
				u.runs_s, u.noise_A = c.runs_s, 0.004
				tr := u.trace(1)
				p := Describe(tr, Find(tr, 0, nil))
				assert.Equal(t, [3]int{c.failed, c.full, c.resets}, [3]int{p.Failed, p.Full, p.Resets}, "%v Hz", s.rate)
				assert.True(t, p.Ran)
				assert.Equal(t, c.full > 0, p.Sticky)
				assert.Equal(t, c.words, p.Words(), "%v Hz", s.rate)
				assert.True(t, math.IsNaN(p.Silent_s) && !p.Latched)
			}
		})
	}
}

// Awake between attempts and after them is no wake-up that came to nothing;
// a wake-up after the unit has gone to sleep is.
func TestWakeUpsBesideAttempts(t *testing.T) {
	for _, s := range sampled[:3] {
		u := stuck(s.rate, tries(3, 1, 3, 1))
		u.noise_A = 0.004
		awake := try{start_s: 1.6, long_s: 6, level_A: 0.05, depth: 0}
		again := try{start_s: 12, long_s: 0.5, level_A: 0.05, depth: 0}
		u.tries = append(u.tries, awake)
		tr := u.trace(1)
		assert.Equal(t, 0, Describe(tr, Find(tr, 0, nil)).Resets, "%v Hz", s.rate)
		u.tries = append(u.tries, again)
		tr = u.trace(1)
		p := Describe(tr, Find(tr, 0, nil))
		assert.Equal(t, 1, p.Resets, "%v Hz", s.rate)
		assert.Equal(t, 3, p.Full)
	}
}

// One long wake-up whose level lies hardly above where one is seen, in noise
// and with a sample that drops out, is one.
func TestOneWakeUpInNoise(t *testing.T) {
	for seed := range uint64(12) {
		u := stuck(100, []try{{start_s: 2, long_s: 3, level_A: 0.07}})
		u.runs_s, u.noise_A = 5.5, 0.01
		tr := u.trace(seed)
		for _, i := range []int{250, 333, 410} {
			tr.Current()[i] = u.rest_A
		}
		p := Describe(tr, Find(tr, 0, nil))
		assert.True(t, p.Ran)
		assert.Equal(t, 1, p.Resets, "seed %d", seed)
	}
}

func TestNoAttempt(t *testing.T) {
	u := stuck(500, nil)
	tr := u.trace(1)
	p := Describe(tr, Find(tr, 0, nil))
	assert.Equal(t, "no start attempt in 17.5 s of command", p.Words())
	assert.Equal(t, noAttempt, p.Balance.Why)
	u.command_s = 99
	tr = u.trace(1)
	p = Describe(tr, Find(tr, 0, nil))
	assert.Equal(t, "no run was commanded", p.Words())
	assert.True(t, math.IsNaN(p.Run_s))
}

func TestWords(t *testing.T) {
	nan := math.NaN()
	even := Balance{Depth: 0.03, Repeat_Hz: nan}
	for _, c := range []struct {
		p    Pattern
		want string
	}{
		{Pattern{N: 3, Failed: 3, Full: 3, Length_s: 1.02, Equal: true, Rests_s: []float64{1.5, 1.5}, RestsEqual: true, Silent_s: nan, Balance: even},
			"3 start attempts of equal length (1.02 s), 1.5 s apart, current even over the commutation steps"},
		{Pattern{N: 5, Failed: 5, Full: 5, Length_s: 1, LengthLow_s: 1, LengthHigh_s: 1, Rests_s: []float64{1, 2, 4, 8}, Growing: true, Silent_s: 40, Latched: true, Latched_s: 40, Balance: unknown("")},
			"5 start attempts (1 s) with rests growing from 1 s to 8 s, then none for 40 s: latched off"},
		{Pattern{N: 1, Failed: 1, Full: 1, Length_s: 1.234, LengthLow_s: 1.234, LengthHigh_s: 1.234, Silent_s: 12, Balance: Balance{Depth: 0.97, Share: 0.34, Repeat_Hz: 24.4, Rhythm: true}},
			"1 start attempt (1.23 s), current gone for a third of the time, about 24 times a second, then none for 12 s"},
		{Pattern{N: 2, Failed: 2, Full: 2, Length_s: 1, LengthLow_s: 0.5, LengthHigh_s: 1.5, Rests_s: []float64{1}, Cut: true, Silent_s: nan, Balance: Balance{Depth: 0.4, Share: 0.42, Repeat_Hz: nan}},
			"2 start attempts of unequal length (0.5 s to 1.5 s), 1 s apart, current down by 40 % for 42 % of the time, in no rhythm, the last cut short by the end of the command"},
		{Pattern{Resets: 1, Run_s: 9}, "1 wake-up that came to nothing, no start attempt in 9 s of command"},
		{Pattern{N: 9, Failed: 8, Full: 8, Ran: true, Sticky: true}, "9 start attempts, the last ran"},
	} {
		assert.Equal(t, c.want, c.p.Words())
	}
	for s, want := range map[float64]string{0.015: "0.015 s", 0.1: "0.1 s", 1: "1 s", 9.999: "10 s", 12.34: "12.3 s", 100: "100 s", 1234.5: "1234 s", 0: "0 s"} {
		assert.Equal(t, want, seconds(s))
	}
}
