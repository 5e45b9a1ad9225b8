package startup

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/signal/trace"
)

// window is two windows of the envelope: what start and length of an attempt
// may be wrong by.
func window(rate float64) float64 { return 2 * max(smooth_s, 1/rate) }

// holds compares attempts with the truth, in start and length.
func holds(t *testing.T, s Startup, truth []burst, within float64) {
	t.Helper()
	require.Len(t, s.Attempts, len(truth), "%+v", s.Attempts)
	for i, b := range truth {
		a := s.Attempts[i]
		assert.InDelta(t, b.start_s, a.Start_s, within, "start of attempt %d", i)
		assert.InDelta(t, b.long_s, a.Length_s, within, "length of attempt %d", i)
		assert.False(t, a.Running)
	}
}

// with runs a check with a profile's word and without it, over a few seeds.
func with(t *testing.T, u unit, check func(*testing.T, Startup)) {
	t.Helper()
	seeds := uint64(3)
	if u.rate > 5000 {
		seeds = 1
	}
	for seed := range seeds {
		tr := u.trace(seed)
		for name, e := range map[string]func(float64) float64{
			"with a profile": expect, "without": nil, "a profile that says nothing": func(float64) float64 { return math.NaN() },
		} {
			t.Run(fmt.Sprintf("%s, seed %d", name, seed), func(t *testing.T) { check(t, Find(tr, 0, e)) })
		}
	}
}

var rates = []float64{100, 500, 2000, 20_000}

func TestOneCleanStart(t *testing.T) {
	for _, rate := range rates {
		t.Run(fmt.Sprint(rate), func(t *testing.T) {
			u := pump(rate)
			u.runs_s = 1.62
			with(t, u, func(t *testing.T, s Startup) {
				require.True(t, s.Ran)
				require.Len(t, s.Attempts, 1)
				a := s.Attempts[0]
				assert.True(t, a.Running)
				assert.InDelta(t, 1.5, s.Commanded_s, 1/rate)
				assert.InDelta(t, 1.62, a.Start_s, window(rate))
				assert.InDelta(t, 1.5, a.Peak_A, 0.05)
				assert.InDelta(t, 0.012, s.Rest_A, 0.002)
				// From 1.5 A to within a tenth of 0.125 A: 0.08 s · ln(1.39/0.0125) after the burst.
				assert.InDelta(t, 1.62+0.25+0.08*math.Log(1.39/0.0125), s.Settled_s, 0.08+window(rate))
			})
		})
	}
}

// A start that only climbs to its plateau shows no burst.
func TestSoftStart(t *testing.T) {
	for _, rate := range rates {
		t.Run(fmt.Sprint(rate), func(t *testing.T) {
			u := pump(rate)
			u.runs_s, u.startLong_s, u.tau_s = 1.7, 0, 0.3
			with(t, u, func(t *testing.T, s Startup) {
				require.True(t, s.Ran)
				require.Len(t, s.Attempts, 1)
				assert.True(t, s.Attempts[0].Running)
				// It climbs through a fifth of 0.125 A after 0.22·0.3 s.
				assert.InDelta(t, 1.7, s.Attempts[0].Start_s, 0.3*0.3+window(rate))
				assert.Greater(t, s.Settled_s, 1.7)
				assert.Less(t, s.Settled_s, 3.2)
			})
		})
	}
}

func TestFailedAttemptsThenARun(t *testing.T) {
	for _, rate := range rates {
		t.Run(fmt.Sprint(rate), func(t *testing.T) {
			u := pump(rate)
			u.duties, u.step_s, u.long_s = []float64{20, 30, 40, 60, 80, 100}, 4, 26
			u.tries = even(3, 1.6, 0.4, 0.5, 1.5)
			u.runs_s = 4.3
			with(t, u, func(t *testing.T, s Startup) {
				require.True(t, s.Ran)
				require.Len(t, s.Attempts, 4)
				last := s.Attempts[3]
				assert.True(t, last.Running)
				assert.InDelta(t, 4.3, last.Start_s, window(rate))
				s.Attempts = s.Attempts[:3]
				holds(t, s, u.tries, window(rate))
				assert.Greater(t, s.Settled_s, 4.3)
			})
		})
	}
}

// A stuck rotor: equal attempts, rests between at the awake level, then a
// latch-off that stays awake while the duty goes on up.
func TestSeized(t *testing.T) {
	for _, rate := range rates {
		for _, n := range []int{1, 3, 5} {
			t.Run(fmt.Sprintf("%v Hz, %d", rate, n), func(t *testing.T) {
				u := pump(rate)
				u.rest_A = 0.08 // awake
				u.tries = even(n, 1.7, 1, 1.2, 3)
				with(t, u, func(t *testing.T, s Startup) {
					assert.False(t, s.Ran)
					assert.True(t, math.IsNaN(s.Settled_s))
					holds(t, s, u.tries, window(rate))
					for _, a := range s.Attempts {
						assert.InDelta(t, 3.08, a.Mean_A, 0.1)
						if rate >= 200 {
							assert.Less(t, a.Empty, 0.05)
						}
					}
				})
			})
		}
	}
}

// An open phase leaves a third of each electrical turn and more without
// current. Fast enough sampling sees it; at 100 Hz it cannot be told.
func TestOpenPhase(t *testing.T) {
	for _, rate := range rates {
		for _, turn_Hz := range []float64{5, 15, 40} {
			t.Run(fmt.Sprintf("%v Hz, turn %v Hz", rate, turn_Hz), func(t *testing.T) {
				u := pump(rate)
				u.tries = even(4, 1.7, 0.8, 1, 2.5)
				for i := range u.tries {
					u.tries[i].gaps, u.tries[i].turn_Hz = 1./3, turn_Hz
				}
				with(t, u, func(t *testing.T, s Startup) {
					assert.False(t, s.Ran)
					require.Len(t, s.Attempts, 4)
					for i, a := range s.Attempts {
						if rate < 200 {
							assert.True(t, math.IsNaN(a.Empty), "%v", a.Empty)
							continue
						}
						assert.InDelta(t, 1./3, a.Empty, 0.08)
						// The attempt begins with a gap of a third of a turn.
						assert.InDelta(t, u.tries[i].start_s+1/(3*turn_Hz), a.Start_s, window(rate))
					}
				})
			})
		}
	}
}

// A unit that only wakes up, for 40 ms at a time, and never turns.
func TestWakeUpsBeforeARun(t *testing.T) {
	for _, rate := range []float64{500, 2000, 20_000} {
		t.Run(fmt.Sprint(rate), func(t *testing.T) {
			u := pump(rate)
			u.runs_s = 2.6
			// Blips of a tenth of a start, and full ones too short for a try.
			u.tries = append(even(3, 1.6, 0.04, 0.1, 0.12), burst{start_s: 2.2, long_s: 0.004, level_A: 1.4})
			with(t, u, func(t *testing.T, s Startup) {
				require.True(t, s.Ran)
				require.Len(t, s.Attempts, 1)
				assert.InDelta(t, 2.6, s.Attempts[0].Start_s, window(rate))
			})
		})
	}
}

// An awake board that never tries is no start.
func TestAwakeOnly(t *testing.T) {
	for _, rate := range rates {
		u := pump(rate)
		u.rest_A, u.asleep_A = 0.08, 0.012
		s := Find(u.trace(1), 0, expect)
		assert.False(t, s.Ran, "%v Hz", rate)
		assert.InDelta(t, 1.5, s.Commanded_s, 1/rate)
	}
}

func TestDeadBoard(t *testing.T) {
	for _, rate := range rates {
		u := pump(rate)
		u.charge_A, u.rest_A, u.asleep_A = 0, 0, 0
		with(t, u, func(t *testing.T, s Startup) {
			assert.False(t, s.Ran)
			assert.Empty(t, s.Attempts)
		})
	}
}

// The command is there as the supply comes: charging peak and start together.
func TestRunsFromEnergising(t *testing.T) {
	for _, rate := range rates {
		for _, bare := range []bool{false, true} {
			t.Run(fmt.Sprintf("%v Hz, bare %v", rate, bare), func(t *testing.T) {
				u := pump(rate)
				u.command_s, u.runs_s, u.charge_A, u.bare = 0, 0.55, 60, bare
				if bare { // the trace begins with the supply
					u.on_s, u.runs_s = 0, 0.05
				}
				with(t, u, func(t *testing.T, s Startup) {
					require.True(t, s.Ran)
					require.Len(t, s.Attempts, 1)
					a := s.Attempts[0]
					assert.InDelta(t, u.on_s, s.Commanded_s, 1/rate)
					assert.InDelta(t, u.runs_s, a.Start_s, window(rate))
					assert.InDelta(t, 1.5, a.Peak_A, 0.05)
				})
			})
		}
	}
}

// The trace begins while the unit runs: there is no start to see, and no more
// than one attempt is made of it.
func TestRunsAlready(t *testing.T) {
	u := pump(2000)
	u.bare, u.on_s, u.command_s, u.runs_s, u.startLong_s, u.charge_A = true, -1, -1, -1, 0, 0
	u.tau_s = 1e-6
	with(t, u, func(t *testing.T, s Startup) {
		assert.True(t, s.Ran)
		assert.Len(t, s.Attempts, 1)
		assert.Equal(t, 0.0, s.Commanded_s)
	})
}

// A running unit speeds up after each step of duty; that is no new attempt,
// also where a first step ended before it ran.
func TestAccelerationPeaksAreNoAttempts(t *testing.T) {
	for _, rate := range rates {
		t.Run(fmt.Sprint(rate), func(t *testing.T) {
			u := pump(rate)
			u.peak, u.step_s = 1.5, 1.2
			u.runs_s = 2.2 // the first step of duty ends at 2.7
			with(t, u, func(t *testing.T, s Startup) {
				require.True(t, s.Ran)
				require.Len(t, s.Attempts, 1, "%+v", s.Attempts)
				assert.InDelta(t, 2.2, s.Attempts[0].Start_s, window(rate))
			})
		})
	}
}

// A unit that has run for half of a step and drops out, and comes back with a
// burst, has started once. Without a profile a long burst may be an attempt.
func TestDropOutsAreNoAttempts(t *testing.T) {
	for _, rate := range rates {
		t.Run(fmt.Sprint(rate), func(t *testing.T) {
			u := pump(rate)
			u.step_s, u.long_s, u.runs_s = 4, 26, 1.7
			u.drops = [][2]float64{{4.2, 0.25}, {8, 0.2}, {12, 0.5}}
			once := func(t *testing.T, s Startup) {
				require.True(t, s.Ran)
				require.Len(t, s.Attempts, 1, "%+v", s.Attempts)
				assert.InDelta(t, 1.7, s.Attempts[0].Start_s, window(rate))
			}
			u.tries = []burst{{start_s: 4.45, long_s: 0.08, level_A: 1.4}, {start_s: 8.2, long_s: 0.2, level_A: 1.4}}
			with(t, u, once)
			u.tries[0].long_s = 0.3
			once(t, Find(u.trace(1), 0, expect))
		})
	}
}

// What is out for less than 3 % of the time is no settling; what is out for
// longer moves the instant behind it.
func TestABriefDropOutIsNoSettling(t *testing.T) {
	for _, c := range []struct{ long_s, before_s float64 }{{0.06, 2.6}, {0.5, 6}} {
		u := pump(2000)
		u.step_s, u.long_s, u.runs_s = 4, 26, 1.7
		u.drops = [][2]float64{{4.2, c.long_s}}
		with(t, u, func(t *testing.T, s Startup) {
			require.True(t, s.Ran)
			assert.Less(t, s.Settled_s, c.before_s)
			if c.long_s > 0.1 {
				assert.Greater(t, s.Settled_s, 4.2)
			}
		})
	}
}

// A profile whose good units draw far more than a unit that is only awake
// tells it from one that runs.
func TestProfileTellsAwakeFromRunning(t *testing.T) {
	u := pump(2000)
	u.duties, u.rest_A, u.asleep_A, u.noise_A = []float64{60}, 0.3, 0.012, 0.002
	tr := u.trace(1)
	assert.False(t, Find(tr, 0, expect).Ran)
}

func TestNoCommand(t *testing.T) {
	u := pump(2000)
	u.command_s = 99
	for _, tr := range []*trace.Trace{u.trace(1), {}} {
		s := Find(tr, 0, nil)
		assert.True(t, math.IsNaN(s.Commanded_s) && math.IsNaN(s.Settled_s) && math.IsNaN(s.Rest_A))
		assert.False(t, s.Ran)
		assert.Empty(t, s.Attempts)
	}
}
