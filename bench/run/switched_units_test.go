package run

import (
	"context"
	"errors"
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"periph.io/x/conn/v3/gpio"

	"dutybench/bench/guard"
	"dutybench/bench/kind"
	"dutybench/bench/rig"
	"dutybench/bench/sim"
	"dutybench/profiles"
	"dutybench/signal/period"
	"dutybench/signal/trace"
)

// Good units that the bench switches raise no doubt and no trip: on and off, at
// PWM from slow to as fast as the sampling and faster, whether what recirculates
// is seen or not; and their means are what they are.
func TestSwitchedUnitsRaiseNoDoubts(t *testing.T) {
	units := []coiled{
		{ohm: 10, henry: 0.04, current_A: 2.5},
		{ohm: 2.5, henry: 0.001, current_A: 8},
		{ohm: 1, henry: 0.0005, current_A: 18},
		{ohm: 50, henry: 1, current_A: 0.5},
		{ohm: 6, henry: 1e-6, current_A: 3},
	}
	for i, hz := range []float64{50, 100, 1000, 3100, 20e3, 25e3} {
		for j, driver := range []func(d *sim.Driver){nil, unseen, highSide} {
			for _, l := range []coiled{units[(i+2*j)%len(units)]} { // each with some
				name := [...]string{"seen", "not seen", "high side"}[j]
				t.Run(fmt.Sprintf("%g ohm/%g H/%s/%g Hz", l.ohm, l.henry, name, hz), func(t *testing.T) {
					l.driver, l.hertz, l.seed = driver, hz, uint64(hz)+uint64(100*l.ohm)
					_, out := l.run(t, hold(100, 150*ms), hold(0, 210*ms), hold(100, 10*ms), hold(0, 60*ms), hold(100, 3*ms), hold(0, 110*ms),
						hold(30, 250*ms), hold(85, 250*ms), hold(50, 250*ms), hold(0, 150*ms),
						kind.Step{Name: "off", Min: 200 * ms, Max: 200 * ms})
					require.Nil(t, out.Trip)
					require.Empty(t, out.Faults)
					assert.Empty(t, out.Doubts)
					assert.Empty(t, out.Ended)
					assert.True(t, out.Off.Verified)
					assert.Zero(t, out.Trace.Column(trace.ColCurrent).Missing)
					l.means(t, out.Trace)
				})
			}
		}
	}
}

// means holds the mean over whole periods of each long step under PWM against
// the closed form: over a period a coil has no mean voltage.
func (l coiled) means(t *testing.T, tr *trace.Trace) {
	t.Helper()
	p := period.Of(tr, 1e-4)
	for i := 0; i < tr.Len(); {
		j := i
		for j < tr.Len() && tr.Duty()[j] == tr.Duty()[i] {
			j++
		}
		from, to, duty := tr.Time()[i], tr.Time()[j-1], tr.Duty()[i]
		i = j
		tau := l.henry / l.ohm
		if duty == 0 || duty == 100 || to-from < 6*tau+0.1 {
			continue
		}
		m := period.Over(tr.Time(), tr.Current(), from+max(6*tau, 0.02), to, p.At(duty))
		if m.NoUnit != "" || tau*p.Frequency_Hz < 1 { // the diode's time is less than the rest of the period
			continue
		}
		const drop, path = 0.7, 0.02
		d := duty / 100
		want := (12*d - drop*(1-d)) / (l.ohm + 0.05*d + path*(1-d))
		assert.InDelta(t, want, m.Unit.Value, 0.02*want+3*m.Unit.U(), "%g %%", duty)
	}
}

// A converter that sticks is still found, at any PWM.
func TestStuckConverterUnderPWM(t *testing.T) {
	for _, hz := range []float64{100, 1000, 20e3} {
		for _, driver := range []func(d *sim.Driver){nil, unseen} {
			l := coiled{ohm: 10, henry: 0.04, current_A: 2.5, hertz: hz, driver: driver, seed: 7}
			b, r, p := l.open(t)
			r.Sampler = &sticking{Sampler: r.Sampler, from: 1200 * ms}
			out, err := Run(context.Background(), r, l.plan(hold(50, 2*time.Second)), p, Options{})
			require.NoError(t, err)
			require.NotNil(t, out.Trip, "%g Hz", hz)
			assert.Contains(t, out.Trip.Reason, "stuck")
			assert.False(t, b.World.Energised())
		}
	}
}

// sticking gives one current for ever from a time on.
type sticking struct {
	rig.Sampler
	from time.Duration
	at_A float64
}

func (s *sticking) Next(out *rig.Sample) error {
	err := s.Sampler.Next(out)
	if out.At < s.from {
		s.at_A = out.Current_A
	} else {
		out.Current_A = s.at_A
	}
	return err
}

// Every way out opens the load switch as well as the supply, the supply first:
// the diode lies across the unit, so its current has a way with both open.
func TestEveryWayOutOpensTheLoad(t *testing.T) {
	failed := errors.New("the bus is lost")
	cases := map[string]struct {
		at    func(s *hooked) error // at 0.9 s
		limit float64
		ends  bool // without an error
	}{
		"plan's end": {ends: true},
		"trip":       {ends: true, limit: 0.3},
		"lost bus":   {at: func(*hooked) error { return failed }},
		"cancelled":  {at: func(s *hooked) error { s.cancel(); return nil }},
		"panic":      {at: func(*hooked) error { panic("test") }},
		"lost samples": {at: func(s *hooked) error {
			s.b.World.At(s.r.Clock.Now()+time.Second, func() {})
			s.r.Clock.Sleep(time.Second)
			return nil
		}, ends: true},
	}
	for name, c := range cases {
		for _, hz := range []float64{100, 20e3} {
			t.Run(fmt.Sprintf("%s/%g Hz", name, hz), func(t *testing.T) {
				l := coiled{ohm: 10, henry: 0.04, hertz: hz, profile: func(p *profiles.Profile) {
					if c.limit > 0 {
						p.Limits.Current_A, p.Limits.Time = c.limit, 50*ms
					}
				}}
				b, r, p := l.open(t)
				ctx, cancel := context.WithCancel(context.Background())
				defer cancel()
				s := &hooked{Sampler: r.Sampler, b: b, r: r, cancel: cancel, at: c.at}
				r.Sampler = s
				func() {
					defer func() {
						if name == "panic" {
							require.NotNil(t, recover())
						}
					}()
					_, err := Run(ctx, r, l.plan(hold(50, time.Second)), p, Options{Salvage: func(*Outcome) {
						assert.False(t, b.World.Energised(), "supply off before anything is kept")
					}})
					if c.ends {
						require.NoError(t, err)
					} else {
						require.Error(t, err)
					}
				}()
				assert.False(t, b.World.Energised())
				// With supply again nothing flows, whatever a PWM that still ran would do.
				r.Clock.Sleep(time.Second)
				require.NoError(t, b.Switch.Out(gpio.High))
				for range 40 {
					r.Clock.Sleep(time.Duration(float64(time.Second) / hz * 0.37))
					assert.Less(t, b.World.Body_A(), 1e-3, "the load switch is open")
				}
				require.NoError(t, b.Switch.Out(gpio.Low))
			})
		}
	}
}

// hooked does something once, while the load is under PWM.
type hooked struct {
	rig.Sampler
	b      *sim.Bench
	r      *rig.Rig
	cancel func()
	at     func(s *hooked) error
	done   bool
}

func (s *hooked) Next(out *rig.Sample) error {
	if s.at != nil && !s.done && s.b.World.Energised() && s.r.Clock.Now() > 1200*ms {
		s.done = true
		if err := s.at(s); err != nil {
			return err
		}
	}
	return s.Sampler.Next(out)
}

// The guard's limits by heat and by lack of motion reach it from the profile,
// and end a test as a limit of the unit: no fault of the bench.
func TestHeatAndStallEndATest(t *testing.T) {
	for name, c := range map[string]struct {
		profile func(p *profiles.Profile)
		driver  func(d *sim.Driver)
		duty    float64
		rule    guard.Rule
	}{
		"heat":           {func(p *profiles.Profile) { p.Limits.Continuous_A, p.Limits.Heat_A2s = 0.5, 0.5 }, nil, 100, guard.Heat},
		"heat not seen":  {func(p *profiles.Profile) { p.Limits.Continuous_A, p.Limits.Heat_A2s = 0.3, 0.1 }, unseen, 50, guard.Heat},
		"stall":          {func(p *profiles.Profile) { p.Limits.Stall_A, p.Limits.StallTime = 1, 200*ms }, nil, 100, guard.Stalled},
		"stall not seen": {func(p *profiles.Profile) { p.Limits.Stall_A, p.Limits.StallTime = 0.5, 200*ms }, unseen, 50, guard.Stalled},
	} {
		l := coiled{ohm: 10, henry: 0.04, current_A: 2.5, hertz: 100, profile: c.profile, driver: c.driver}
		_, out := l.run(t, hold(c.duty, 2*time.Second))
		require.NotNil(t, out.Trip, name)
		assert.Equal(t, c.rule, out.Trip.Rule, name)
		assert.Empty(t, out.Faults, name)
		ended, _ := out.Trace.Get(trace.KeyEnded)
		assert.Contains(t, ended, string(c.rule)+": ", name)
		again := Remembered(out.Trace, nil, false)
		assert.Equal(t, c.rule, again.Trip.Rule, name)
	}
}

// Blocks of a step hold whole periods of the PWM, so that what is left of it in
// their means does not keep a step from settling.
func TestSettlesUnderPWM(t *testing.T) {
	for _, hz := range []float64{50, 73, 400, 1000, 2900, 7001, 20e3, 25e3} {
		for _, driver := range []func(d *sim.Driver){nil, unseen} {
			l := coiled{ohm: 10, henry: 0.02, current_A: 2.5, hertz: hz, driver: driver}
			step := hold(40, 2*time.Second)
			step.Min, step.Good = 50*ms, 0.005
			_, out := l.run(t, step)
			require.Nil(t, out.Trip)
			if hz == 20e3 && driver != nil {
				continue // in step with the sampling, which sees it wander through the period
			}
			end := out.Trace.Time()[out.Trace.Len()-1]
			assert.Less(t, end, 0.6+1+0.4, "%g Hz", hz)
		}
	}
}

func TestHeld(t *testing.T) {
	_, r, p := coiled{ohm: 10, henry: 0.04, hertz: 100, driver: unseen}.open(t)
	x := newRunner(r, kind.Plan{}, p, Options{})
	x.now = state{on: true, duty_pct: 50}
	most := 0.0
	for i := range 2000 {
		at := time.Duration(i) * 50 * time.Microsecond
		amps := 0.0
		if i/100%2 == 0 && i < 1000 {
			amps = 1
		}
		held := x.held_A(at, amps)
		if i < 1000 {
			require.InDelta(t, 1, held, 1e-9)
		}
		if i >= 1500 {
			most = math.Max(most, held)
		}
	}
	assert.Zero(t, most, "two periods after the last of it there is none")
}

func (s *sticking) PaceNode(every time.Duration) bool {
	return s.Sampler.(rig.NodePacer).PaceNode(every)
}
