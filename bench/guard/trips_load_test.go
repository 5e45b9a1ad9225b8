package guard

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// loaded are limits of an invented motor.
func loaded() Limits {
	l := limits()
	l.Continuous_A, l.Heat_A2s = 2, 10
	l.Stall_A, l.StallTime, l.Still_pct = 5, 300*ms, 1
	return l
}

func TestLoadRules(t *testing.T) {
	at := func(amps, position float64) Sample {
		return Sample{Current_A: amps, Supply_V: 12, Position_pct: position}
	}
	cases := []struct {
		name   string
		change func(l *Limits)
		sample func(at time.Duration) Sample
		rule   Rule
		met    time.Duration
	}{
		{name: "what is borne without end", sample: func(time.Duration) Sample { return at(2, 0) }},
		// (4² − 2²)·t = 10: t = 0.833 s.
		{name: "heat", rule: Heat, met: 834 * ms, sample: func(time.Duration) Sample { return at(4, 0) }},
		{name: "heat, shunt reversed", rule: Heat, met: 834 * ms, sample: func(time.Duration) Sample { return at(-4, 0) }},
		// A mean square of (16+0)/2 = 8 at half of the time: beyond by 4.
		{name: "heat of pulses", rule: Heat, met: 2480 * ms, sample: func(u time.Duration) Sample { return at(4*float64(u/(10*ms)%2), 0) }},
		{name: "heat that cools between", sample: func(u time.Duration) Sample {
			if u%(1500*ms) < 300*ms {
				return at(4, 0)
			}
			return at(0, 0)
		}},
		{name: "heat of what the shunt does not show", rule: Heat, met: 834 * ms, sample: func(u time.Duration) Sample {
			s := at(4*float64(u/ms%2), 0)
			s.Held_A = 4
			return s
		}},
		{name: "no limit by heat", change: func(l *Limits) { l.Continuous_A, l.Heat_A2s = 0, 0 },
			sample: func(time.Duration) Sample { return at(4, 0) }},
		{name: "stalled, no position", rule: Stalled, met: 301 * ms, sample: func(time.Duration) Sample { return at(5.5, math.NaN()) }},
		{name: "stalled at a place", change: func(l *Limits) { l.Heat_A2s, l.Continuous_A = 0, 0 }, rule: Stalled, met: 680 * ms, sample: func(u time.Duration) Sample {
			return at(5.5, 50+min(float64(u/ms), 400)*0.1)
		}},
		{name: "stalled, noise of the position", rule: Stalled, met: 301 * ms, sample: func(u time.Duration) Sample {
			return at(5.5, 50+0.7*math.Sin(float64(u)))
		}},
		{name: "stalled, readings that stand alone", rule: Stalled, met: 301 * ms, sample: func(u time.Duration) Sample {
			if u/ms%10 == 0 {
				return at(5.5, 0)
			}
			return at(5.5, 50)
		}},
		{name: "stalled, two and two readings apart", rule: Stalled, met: 301 * ms, sample: func(u time.Duration) Sample {
			if u/ms%5 != 0 {
				return at(5.5, math.NaN())
			}
			return at(5.5, 50+4*float64(u/(10*ms)%2))
		}},
		// One step of 4 % that stays is ground; back and to it again is none.
		{name: "stalled, swings slowly", change: func(l *Limits) { l.Heat_A2s, l.Continuous_A = 0, 0 }, rule: Stalled, met: 402 * ms, sample: func(u time.Duration) Sample {
			return at(5.5, 50+4*float64(u/(100*ms)%2))
		}},
		{name: "stalled, endless readings between", rule: Stalled, met: 301 * ms, sample: func(u time.Duration) Sample {
			if u/ms%2 == 0 {
				return at(5.5, math.Inf(1))
			}
			return at(5.5, 50)
		}},
		{name: "moves, noise of the position", change: func(l *Limits) { l.Heat_A2s, l.Continuous_A = 0, 0 }, sample: func(u time.Duration) Sample {
			return at(6, 0.04*float64(u/ms)+2*math.Sin(float64(u)))
		}},
		{name: "heat, nothing known of what was held", rule: Heat, met: 834 * ms, sample: func(time.Duration) Sample {
			s := at(4, 0)
			s.Held_A = math.NaN()
			return s
		}},
		{name: "endless current", rule: OverPeak, met: 400 * ms, sample: func(u time.Duration) Sample {
			if u >= 400*ms {
				return at(math.Inf(-1), 0)
			}
			return at(1, 0)
		}},
		{name: "at its end, and no number", rule: OverPeak, met: 400 * ms, sample: func(u time.Duration) Sample {
			s := at(1, 0)
			if u >= 400*ms {
				s.Current_A, s.Clipped = math.NaN(), true
			}
			return s
		}},
		{name: "stalled, dips", rule: Stalled, met: 301 * ms, sample: func(u time.Duration) Sample {
			if u/ms%50 > 30 {
				return at(1, 50)
			}
			return at(5.5, 50)
		}},
		{name: "moves", change: func(l *Limits) { l.Heat_A2s, l.Continuous_A = 0, 0 }, sample: func(u time.Duration) Sample {
			return at(6, float64(u/(20*ms)))
		}},
		{name: "moves, seldom read", change: func(l *Limits) { l.Heat_A2s, l.Continuous_A = 0, 0 }, sample: func(u time.Duration) Sample {
			if u/ms%20 != 0 {
				return at(6, math.NaN())
			}
			return at(6, float64(u/(20*ms)))
		}},
		{name: "a start", sample: func(u time.Duration) Sample {
			return at(1+6*math.Exp(-float64(u)/float64(60*ms)), math.NaN())
		}},
		{name: "rests on its stop with little", sample: func(time.Duration) Sample { return at(1.9, 0) }},
		{name: "no limit by motion", change: func(l *Limits) { l.Heat_A2s, l.Continuous_A, l.Stall_A, l.StallTime = 0, 0, 0, 0 },
			sample: func(time.Duration) Sample { return at(6, 50) }},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			l := loaded()
			if c.change != nil {
				c.change(&l)
			}
			require.NoError(t, l.Check())
			trip := feed(l, 6*time.Second, func(at time.Duration) Sample {
				s := c.sample(at)
				s.At = at
				return s
			})
			if c.rule == "" {
				require.Nil(t, trip)
				return
			}
			require.NotNil(t, trip)
			assert.Equal(t, c.rule, trip.Rule)
			assert.InDelta(t, c.met.Seconds(), trip.Met.Seconds(), 0.025)
			assert.NotEmpty(t, trip.Next)
		})
	}
}

// A winding that is hot stays so over a switch-off, and cools while off.
func TestHeatOutlastsTheSupply(t *testing.T) {
	run := func(off time.Duration) bool {
		tr, at := NewTrips(loaded()), time.Duration(0)
		for range 2 {
			tr.Closed(at)
			for end := at + 500*ms; at < end; at += ms {
				if tr.Sample(Sample{At: at, Current_A: 4, Supply_V: 12}) != nil {
					return true
				}
			}
			tr.Opened()
			for end := at + off; at < end; at += ms {
				tr.Sample(Sample{At: at, Supply_V: 12})
			}
		}
		return false
	}
	assert.True(t, run(100*ms), "6 A²·s, and 6 again")
	assert.False(t, run(1600*ms), "nothing is left of the first")
}

// The next guard of a run begins with what the unit has borne under the last.
func TestHeatFollows(t *testing.T) {
	run := func(follow bool, rest time.Duration) *Trip {
		before := NewTrips(loaded())
		at := time.Duration(0)
		burn := func(tr *Trips) (trip *Trip) {
			tr.Closed(at)
			for end := at + 500*ms; at < end && trip == nil; at += ms {
				trip = tr.Sample(Sample{At: at, Current_A: 4, Supply_V: 12})
			}
			tr.Opened()
			return trip
		}
		require.Nil(t, burn(before))
		next := NewTrips(loaded())
		if follow {
			next.follow(before)
		}
		at += rest
		next.Sample(Sample{At: at, Supply_V: 12})
		return burn(next)
	}
	require.NotNil(t, run(true, 100*ms))
	assert.Equal(t, Heat, run(true, 100*ms).Rule)
	assert.Nil(t, run(false, 100*ms), "it would have begun at nought")
	assert.Nil(t, run(true, 1600*ms), "it has cooled meanwhile")
}

// Whatever the current does, heat is that of the worst stretch of it, and a
// stall needs its current for its time.
func TestLoadProperties(t *testing.T) {
	for seed := range uint64(200) {
		r := rand.New(rand.NewPCG(seed, 3))
		l := loaded()
		l.Current_A, l.Peak_A = 100, 200
		tr := NewTrips(l)
		tr.Closed(0)
		var amps, position, worst, sum float64
		var above, count int
		for at := ms; at < 4*time.Second; at += ms {
			if r.IntN(100) == 0 {
				amps = 7 * r.Float64()
			}
			if r.IntN(300) == 0 {
				position = 100 * r.Float64()
			}
			trip := tr.Sample(Sample{At: at, Current_A: amps, Supply_V: 12, Position_pct: position})
			sum = max(sum+(amps*amps-4)*0.001, 0)
			worst = max(worst, sum)
			if count++; amps > l.Stall_A {
				above++
			}
			if trip == nil {
				require.LessOrEqual(t, worst, 10.001)
				continue
			}
			switch trip.Rule {
			case Heat:
				require.Greater(t, worst, 9.999)
			case Stalled:
				require.GreaterOrEqual(t, above, 269, "nine tenths of its time at least")
			default:
				require.Fail(t, string(trip.Rule))
			}
			break
		}
	}
}

func TestLoadLimitsAreChecked(t *testing.T) {
	for name, change := range map[string]func(l *Limits){
		"heat without a current":  func(l *Limits) { l.Continuous_A = 0 },
		"negative heat":           func(l *Limits) { l.Heat_A2s = -1 },
		"heat that is no number":  func(l *Limits) { l.Heat_A2s = math.NaN() },
		"endless current":         func(l *Limits) { l.Continuous_A = math.Inf(1) },
		"stall without time":      func(l *Limits) { l.StallTime = 0 },
		"stall without current":   func(l *Limits) { l.Stall_A = 0 },
		"noise that is no number": func(l *Limits) { l.Still_pct = math.NaN() },
	} {
		l := loaded()
		change(&l)
		assert.Error(t, l.Check(), name)
	}
	assert.NoError(t, loaded().Check())
}
