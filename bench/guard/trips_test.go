package guard

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const ms = time.Millisecond

// limits of an invented 12 V unit.
func limits() Limits {
	return Limits{Current_A: 10, Time: 200 * ms, Peak_A: 30, Charge_C: 0.05, ChargeTime: 3 * ms,
		SupplyLow_V: 9, SupplyHigh_V: 16, SupplyTime: 20 * ms, Grace: 50 * ms, Silence: 100 * ms, Interval: ms}
}

// steady is a good sample at an instant.
func steady(at time.Duration) Sample {
	return Sample{At: at, Current_A: 3, Supply_V: 12, Running: true}
}

// feed closes the switch at zero and gives samples every millisecond until
// the rules trip, or end.
func feed(l Limits, end time.Duration, sample func(at time.Duration) Sample) *Trip {
	t := NewTrips(l)
	t.Closed(0)
	for at := ms; at <= end; at += ms {
		if trip := t.Sample(sample(at)); trip != nil {
			return trip
		}
	}
	return nil
}

func TestRules(t *testing.T) {
	between := func(at, from, to time.Duration) bool { return at >= from && at < to }
	cases := []struct {
		name   string
		change func(l *Limits)
		sample func(at time.Duration, s *Sample)
		rule   Rule // empty: no trip within a second
		met    time.Duration
	}{
		{name: "steady", sample: func(time.Duration, *Sample) {}},
		{name: "over-current", rule: OverCurrent, met: 500 * ms, sample: func(at time.Duration, s *Sample) {
			if at >= 300*ms {
				s.Current_A = 10.1
			}
		}},
		{name: "over-current, shunt reversed", rule: OverCurrent, met: 500 * ms, sample: func(at time.Duration, s *Sample) {
			if at >= 300*ms {
				s.Current_A = -10.1
			}
		}},
		{name: "over-current with ripple below the limit", rule: OverCurrent, met: 500 * ms, sample: func(at time.Duration, s *Sample) {
			if at >= 300*ms && (at/ms)%10 < 7 {
				s.Current_A = 12
			}
		}},
		{name: "attempts of a stuck rotor with gaps", sample: func(at time.Duration, s *Sample) {
			if at%(250*ms) > 60*ms {
				s.Current_A = 12
			} else {
				s.Current_A = 0.1
			}
		}},
		{name: "over-current just short of its time", sample: func(at time.Duration, s *Sample) {
			if between(at, 300*ms, 500*ms) {
				s.Current_A = 12
			}
		}},
		{name: "peak", rule: OverPeak, met: 400 * ms, sample: func(at time.Duration, s *Sample) {
			if at == 400*ms {
				s.Current_A = 30.5
			}
		}},
		{name: "peak at the end of the range", rule: OverPeak, met: 400 * ms, sample: func(at time.Duration, s *Sample) {
			if at == 400*ms {
				s.Current_A, s.Clipped = 25, true
			}
		}},
		{name: "charging peak", sample: func(at time.Duration, s *Sample) {
			if at == ms {
				s.Current_A = 40
			}
		}},
		{name: "charging peak, clipped", sample: func(at time.Duration, s *Sample) {
			if at == ms {
				s.Current_A, s.Clipped = 40, true
			}
		}},
		{name: "charging peak after a slow switch", sample: func(at time.Duration, s *Sample) {
			if at == 45*ms {
				s.Current_A = 40
			}
		}},
		{name: "peak later than the switch needs", rule: OverPeak, met: 60 * ms, sample: func(at time.Duration, s *Sample) {
			if at == 60*ms {
				s.Current_A = 40
			}
		}},
		{name: "second peak after the charging peak", rule: OverPeak, met: 10 * ms, sample: func(at time.Duration, s *Sample) {
			if at == ms || at == 10*ms {
				s.Current_A = 40
			}
		}},
		{name: "short, by charge", rule: Short, met: 2 * ms, sample: func(_ time.Duration, s *Sample) { s.Current_A = 35 }},
		{name: "short, by duration", rule: Short, met: 4 * ms, change: func(l *Limits) { l.Charge_C = 10 },
			sample: func(_ time.Duration, s *Sample) { s.Current_A = 35 }},
		{name: "short, clipped", rule: Short, met: 2 * ms, sample: func(_ time.Duration, s *Sample) { s.Current_A, s.Clipped = 35, true }},
		{name: "short at the supply's current limit", rule: Short, met: 4 * ms,
			sample: func(_ time.Duration, s *Sample) { s.Current_A, s.Supply_V = 15, 0.5 }},
		{name: "slow charging at the supply's current limit", sample: func(at time.Duration, s *Sample) {
			if at <= 4*ms {
				s.Current_A = 11
			}
		}},
		{name: "no charging peak allowed for", rule: Short, met: ms, change: func(l *Limits) { l.Charge_C, l.ChargeTime = 0, 0 },
			sample: func(at time.Duration, s *Sample) {
				if at == ms {
					s.Current_A = 40
				}
			}},
		{name: "supply low within the grace", sample: func(at time.Duration, s *Sample) {
			if at <= 50*ms {
				s.Supply_V = 0
			}
		}},
		{name: "no supply", rule: SupplyLow, met: 71 * ms, sample: func(_ time.Duration, s *Sample) { s.Supply_V = 0 }},
		{name: "supply dips", sample: func(at time.Duration, s *Sample) {
			if at%(100*ms) < 20*ms {
				s.Supply_V = 8.9
			}
		}},
		{name: "supply low, seldom sampled", rule: SupplyLow, met: 320 * ms, sample: func(at time.Duration, s *Sample) {
			s.Supply_V = math.NaN()
			if at%(30*ms) == 0 {
				s.Supply_V = 12
				if at >= 300*ms {
					s.Supply_V = 8
				}
			}
		}},
		{name: "supply of another system", rule: SupplyHigh, met: 21 * ms, sample: func(_ time.Duration, s *Sample) { s.Supply_V = 27 }},
		{name: "stop input", rule: StopPressed, met: 123 * ms, sample: func(at time.Duration, s *Sample) { s.Stop = at == 123*ms }},
		{name: "dry run", rule: DryRun, met: 400 * ms, change: func(l *Limits) { l.Dry, l.DryRun = true, 300*ms },
			sample: func(at time.Duration, s *Sample) { s.Running = at > 100*ms }},
		{name: "dry run, wet", change: func(l *Limits) { l.DryRun = 300 * ms }, sample: func(time.Duration, *Sample) {}},
		{name: "readings without a current", rule: Silence, met: 300 * ms, sample: func(at time.Duration, s *Sample) {
			if at > 200*ms {
				s.Current_A = math.NaN()
			}
		}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			l := limits()
			if c.change != nil {
				c.change(&l)
			}
			require.NoError(t, l.Check())
			var last time.Duration
			trip := feed(l, time.Second, func(at time.Duration) Sample {
				last = at
				s := steady(at)
				c.sample(at, &s)
				return s
			})
			if c.rule == "" {
				require.Nil(t, trip)
				return
			}
			require.NotNil(t, trip)
			assert.Equal(t, c.rule, trip.Rule)
			assert.Equal(t, c.met, trip.Met)
			assert.LessOrEqual(t, last-trip.Met, ms, "noticed with the next sample")
			assert.Regexp(t, `^[A-Z].*\.$`, trip.Reason)
			assert.Regexp(t, `^[A-Z].*\.$`, trip.Next)
		})
	}
}

func TestClippedCountsAsAtLeast(t *testing.T) {
	trip := feed(limits(), time.Second, func(at time.Duration) Sample {
		s := steady(at)
		s.Current_A, s.Clipped = 35, true
		return s
	})
	require.NotNil(t, trip)
	assert.Contains(t, trip.Reason, "at least 0.07 A·s") // 2 × 35 A × 1 ms
}

func TestGapIsSilence(t *testing.T) {
	tr := NewTrips(limits())
	tr.Closed(0)
	require.Nil(t, tr.Sample(steady(ms)))
	require.Nil(t, tr.Late(101*ms))
	trip := tr.Sample(steady(102 * ms))
	require.NotNil(t, trip)
	assert.Equal(t, Silence, trip.Rule)
	assert.Equal(t, 101*ms, trip.Met)
}

func TestOffHasNoRulesButStop(t *testing.T) {
	tr := NewTrips(limits())
	assert.Nil(t, tr.Sample(Sample{At: ms, Current_A: 50, Supply_V: 40}))
	assert.NotNil(t, tr.Sample(Sample{At: 2 * ms, Stop: true}))
	tr.Closed(3 * ms)
	tr.Opened()
	assert.Nil(t, tr.Sample(Sample{At: time.Minute, Current_A: 50}))
}

func TestDryRunAddsUpOverSwitchOns(t *testing.T) {
	l := limits()
	l.Dry, l.DryRun = true, 300*ms
	tr := NewTrips(l)
	at := time.Duration(0)
	for on := 0; ; on++ {
		tr.Closed(at)
		for range 100 {
			at += ms
			if trip := tr.Sample(steady(at)); trip != nil {
				assert.Equal(t, DryRun, trip.Rule)
				assert.Equal(t, 3, on)
				return
			}
		}
		tr.Opened()
		at += time.Second
	}
}

// A trip is never missed: whatever the samples, once one lies above the peak
// limit outside the charging peak's time, the rules have tripped.
func TestPeakIsNeverMissed(t *testing.T) {
	for seed := range uint64(200) {
		r := rand.New(rand.NewPCG(seed, 7))
		l := limits()
		l.Time = time.Hour
		l.SupplyTime = time.Hour
		tr := NewTrips(l)
		tr.Closed(0)
		var at time.Duration
		for range 500 {
			at += time.Duration(r.IntN(3000)+1) * time.Microsecond
			s := steady(at)
			s.Current_A = r.Float64() * 30.3
			trip := tr.Sample(s)
			if s.Current_A > 30 && at > l.Grace+l.ChargeTime {
				require.NotNil(t, trip, "seed %d", seed)
			}
			if trip != nil {
				break
			}
		}
	}
}

func TestSampleDoesNotAllocate(t *testing.T) {
	tr := NewTrips(limits())
	tr.Closed(0)
	at := time.Duration(0)
	assert.Zero(t, testing.AllocsPerRun(1000, func() {
		at += ms
		tr.Sample(steady(at))
	}))
}

func TestLimitsThatGuardNothing(t *testing.T) {
	nan := math.NaN()
	for name, change := range map[string]func(*Limits){
		"no current":    func(l *Limits) { l.Current_A = 0 },
		"NaN current":   func(l *Limits) { l.Current_A = nan },
		"endless":       func(l *Limits) { l.Current_A = math.Inf(1); l.Peak_A = math.Inf(1) },
		"no time":       func(l *Limits) { l.Time = 0 },
		"no peak":       func(l *Limits) { l.Peak_A = 0 },
		"peak too low":  func(l *Limits) { l.Peak_A = 5 },
		"charge":        func(l *Limits) { l.Charge_C = nan },
		"no range":      func(l *Limits) { l.SupplyLow_V = 17 },
		"mains":         func(l *Limits) { l.SupplyHigh_V = 253 },
		"no silence":    func(l *Limits) { l.Silence = 0 },
		"negative time": func(l *Limits) { l.Grace = -1 },
		"dry, no limit": func(l *Limits) { l.Dry = true },
	} {
		l := limits()
		change(&l)
		assert.Error(t, l.Check(), name)
	}
	assert.NoError(t, limits().Check())
}
