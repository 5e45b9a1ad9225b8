package run

import (
	"context"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/kind"
	"dutybench/bench/result"
	"dutybench/bench/rig"
	"dutybench/bench/sim"
	"dutybench/profiles"
	"dutybench/signal/trace"
)

// What goes wrong on the bench while a unit is switched is the bench's.
func TestLoadFaultsDuringATest(t *testing.T) {
	cases := []struct {
		fault  string
		load   coiled
		says   string
		doubts bool // the test goes on
	}{
		{"load-welded", coiled{}, "stuck closed", false},
		{"load-welded", coiled{driver: unseen}, "stuck closed", false},
		{"load-dead", coiled{}, "stuck open", true},
		{"load-dead", coiled{driver: highSide}, "stuck open", true},
		{"diode-open", coiled{hertz: 400}, "the switch breaks down", false},
		{"diode-open", coiled{hertz: 1000, driver: unseen}, "the switch breaks down", false},
	}
	for _, c := range cases {
		t.Run(c.fault, func(t *testing.T) {
			l := c.load
			l.ohm, l.henry = 10, 0.04
			b, r, p := l.open(t)
			require.NoError(t, b.Arm(sim.Armed{Name: c.fault, At: 1300 * ms, Severity: 1, Seed: 1}))
			var steps []kind.Step
			for range 3 {
				steps = append(steps, hold(100, 400*ms))
				if l.hertz > 0 {
					steps = append(steps, hold(50, 2*time.Second))
				}
				steps = append(steps, hold(0, 500*ms))
			}
			out, err := Run(context.Background(), r, l.plan(steps...), p, Options{})
			require.NoError(t, err)
			assert.False(t, b.World.Energised())
			all := out.Faults
			if c.doubts {
				require.Nil(t, out.Trip)
				all = out.Doubts
			}
			require.NotEmpty(t, all)
			assert.Equal(t, result.Bench, all[0].Cause)
			assert.Contains(t, all[0].Sentence, c.says)
			assert.NotEmpty(t, all[0].Next)
		})
	}
}

// moved is a coil with a lever that tells where it stands.
type moved struct {
	sim.Coil
	volt func(at time.Duration) float64
	at   time.Duration
}

func (m *moved) Step(dt time.Duration, c sim.Circuit) (float64, float64) {
	m.at += dt
	return m.Coil.Step(dt, c)
}

func (m *moved) Position() (float64, float64) { return m.volt(m.at), 500 }

func TestPositionIsWatched(t *testing.T) {
	told := func(p *profiles.Profile) {
		p.Position = profiles.Position{By: profiles.ByVoltage, At0: 0.5, At100: 4.5}
	}
	cases := map[string]struct {
		volt  func(at time.Duration) float64
		fault string
		warns bool
	}{
		"moves": {volt: func(at time.Duration) float64 { return 0.5 + 2*at.Seconds() }},
		"gaps of a worn track": {volt: func(at time.Duration) float64 {
			if at/ms%50 < 25 {
				return 0
			}
			return 2
		}},
		"a little beyond its ends": {volt: func(time.Duration) float64 { return 0.2 }},
		"open":                     {volt: func(time.Duration) float64 { return 2 }, fault: "position-open", warns: true},
		"at the supply":            {volt: func(time.Duration) float64 { return 2 }, fault: "position-short", warns: true},
		"dead in the unit":         {volt: func(time.Duration) float64 { return 0 }, warns: true},
	}
	for name, c := range cases {
		l := coiled{ohm: 10, henry: 0.04, profile: told, unit: &moved{Coil: sim.Coil{Ohm: 10, Henry: 0.04, Temp_C: 20}, volt: c.volt}}
		b, r, p := l.open(t)
		if c.fault != "" {
			require.NoError(t, b.Arm(sim.Armed{Name: c.fault, At: ms, Severity: 1, Seed: 1}))
		}
		thin := hold(100, 400*ms)
		thin.Thin = 20 * ms
		rows := 0
		out, err := Run(context.Background(), r, l.plan(hold(100, 400*ms), thin), p, Options{Sink: func(r Rows) { rows += r.Trace().Len() }})
		require.NoError(t, err)
		volts, pct := out.Trace.Column(trace.ColPositionV), out.Trace.Column(trace.ColPosition)
		require.NotNil(t, volts)
		require.NotNil(t, pct)
		require.Len(t, pct.Values, out.Trace.Len())
		assert.Less(t, volts.Missing, out.Trace.Len())
		assert.Greater(t, rows, out.Trace.Len()/2)
		assert.Empty(t, out.Doubts, name)
		said := slices.ContainsFunc(out.Warnings, func(w string) bool { return strings.HasPrefix(w, "The position reads") })
		assert.Equal(t, c.warns, said, name)
	}
}

// A unit that moves is not stalled, one that stands still is; the profile's
// limit and the rig's position meet in the guard.
func TestStallByPosition(t *testing.T) {
	for name, c := range map[string]struct {
		volt func(at time.Duration) float64
		trip bool
	}{
		"moves":  {func(at time.Duration) float64 { return 0.5 + 0.8*at.Seconds() }, false},
		"stands": {func(at time.Duration) float64 { return min(0.5+0.8*at.Seconds(), 1.6) }, true},
	} {
		l := coiled{ohm: 10, henry: 0.04, unit: &moved{Coil: sim.Coil{Ohm: 10, Henry: 0.04, Temp_C: 20}, volt: c.volt}, profile: func(p *profiles.Profile) {
			p.Position = profiles.Position{By: profiles.ByVoltage, At0: 0.5, At100: 4.5}
			p.Limits.Stall_A, p.Limits.StallTime = 0.8, 300*ms
		}}
		_, out := l.run(t, hold(100, 1500*ms))
		if !c.trip {
			assert.Nil(t, out.Trip, name)
			continue
		}
		require.NotNil(t, out.Trip, name)
		assert.Contains(t, out.Trip.Reason, "stood still at 2")
		assert.Empty(t, out.Faults)
	}
}

func TestDutyUncertaintyOfALoad(t *testing.T) {
	_, r, p := coiled{ohm: 10, henry: 0.04, hertz: 1000}.open(t)
	r.Accuracy = rig.Accuracy{Edge_s: 1e-6, LoadEdge_s: 3e-6}
	x := newRunner(r, kind.Plan{}, p, Options{})
	for _, e := range x.meta("", false) {
		if e.Key == trace.KeyDutyU {
			u, err := strconv.ParseFloat(e.Value, 64)
			require.NoError(t, err)
			assert.InDelta(t, 0.3, u, 1e-9)
			return
		}
	}
	assert.Fail(t, "no uncertainty of the duty")
}
