package run

import (
	"context"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"

	"dutybench/bench/guard"
	"dutybench/bench/kind"
	"dutybench/bench/rig"
	"dutybench/bench/sim"
	"dutybench/profiles"
)

const ms = time.Millisecond

// load is a unit without a mind of its own: a current by time since the
// supply came, and a capacitor that holds the voltage up.
type load struct {
	amps  func(since time.Duration, line sim.Line) float64
	tau_s float64 // of the capacitor, once the supply is off

	since  time.Duration
	plug_V float64
	felt   []sim.Line // the line at each instant when the supply came
}

func (l *load) Step(dt time.Duration, src sim.Source, line sim.Line) (float64, float64) {
	if !src.On {
		l.since = 0
		if l.tau_s > 0 {
			l.plug_V *= math.Exp(-dt.Seconds() / l.tau_s)
		} else {
			l.plug_V = 0
		}
		return 0, l.plug_V
	}
	if l.since == 0 {
		l.felt = append(l.felt, line)
	}
	l.since += dt
	i := l.amps(l.since, line)
	l.plug_V = src.Open_V - i*src.Ohm
	return i, l.plug_V
}

func (l *load) PullUp() (open_V, ohm float64) { return l.plug_V, 2200 }
func (l *load) Temperature() float64          { return 21 }

// steady draws 0.05 A and 3 A more at full line duty.
func steady(_ time.Duration, line sim.Line) float64 {
	if line.State != sim.LinePWM {
		return 0.05
	}
	return 0.05 + 3*line.High
}

// spy sees when the supply switch moves.
type spy struct {
	gpio.PinIO
	w     *sim.World
	now   func() time.Duration
	moves []time.Duration
	on    bool
}

func (s *spy) Out(l gpio.Level) error {
	err := s.PinIO.Out(l)
	if bool(l) != s.on && err == nil {
		s.on = bool(l)
		s.moves = append(s.moves, s.now())
	}
	return err
}

func (s *spy) Read() gpio.Level { panic("the switch's pin is never read back") }

// bench is a simulated bench with a rig on it.
type bench struct {
	*sim.Bench
	rig  *rig.Rig
	spy  *spy
	load *load
}

func newBench(t *testing.T, amps func(time.Duration, sim.Line) float64, change func(*sim.Options)) *bench {
	t.Helper()
	l := &load{amps: amps}
	o := sim.Options{Unit: l, Seed: 1, Supply: sim.Supply{Open_V: 13.5, Ohm: 0.04, Limit_A: 60}}
	if change != nil {
		change(&o)
	}
	b := sim.NewBench(o)
	r, err := rig.New(rig.Sim, b, rig.Default(), rig.Options{Stands: true})
	require.NoError(t, err)
	s := &spy{PinIO: b.Switch, w: b.World, now: r.Clock.Now}
	r.Switch = guard.NewPins(s, nil, nil)
	t.Cleanup(func() {
		require.NoError(t, r.Close())
	})
	return &bench{Bench: b, rig: r, spy: s, load: l}
}

// profile of an invented 12 V unit.
func profile() *profiles.Profile {
	return &profiles.Profile{
		Name: "test", Revision: 2, Kind: "pump",
		Command: profiles.Command{Type: "pwm", Frequency_Hz: 500, Stop_pct: 5, Wake_pct: 10, Full_pct: 95},
		Supply:  profiles.Supply{Nominal_V: 13.5, Low_V: 11, High_V: 15},
		Limits: profiles.Limits{Current_A: 10, Time: 200 * ms, Peak_A: 30, Charge_C: 0.05, ChargeTime: 3 * ms,
			DryRun: 300 * ms},
	}
}

func short() kind.Plan {
	return kind.Plan{Steps: []kind.Step{
		{Name: "zero", Command_pct: 5, Min: 200 * ms, Max: 200 * ms},
		{Name: "quiet", Supply: true, Command_pct: 5, Min: 200 * ms, Max: 200 * ms},
		{Name: "up", Supply: true, Command_pct: 50, Min: 300 * ms, Max: 2 * time.Second, Good: 0.005},
		{Name: "hold", Supply: true, Command_pct: 100, Min: 500 * ms, Max: 500 * ms},
		{Name: "missing-open", Supply: true, Line: kind.Release, Command_pct: 5, Min: 100 * ms, Max: 100 * ms},
		{Name: "stop", Supply: true, Command_pct: 5, Min: 100 * ms, Max: 100 * ms},
	}}
}

func (b *bench) run(t *testing.T, o Options) *Outcome {
	t.Helper()
	return b.carry(t, short(), o)
}

func (b *bench) carry(t *testing.T, p kind.Plan, o Options) *Outcome {
	t.Helper()
	out, err := Run(context.Background(), b.rig, p, profile(), o)
	require.NoError(t, err)
	b.isOff(t)
	return out
}

// isOff holds at the end of every run: no supply at the unit, and the line
// let go.
func (b *bench) isOff(t *testing.T) {
	t.Helper()
	require.False(t, b.spy.on)
	require.NotEqual(t, sim.LinePWM, b.World.Line().State)
}

// newRunnerAt is a runner in the middle of a run, with the supply on.
func newRunnerAt(t *testing.T, b *bench) *runner {
	t.Helper()
	x := newRunner(b.rig, short(), profile(), Options{})
	var err error
	x.guard, err = guard.New(b.rig.Switch, b.rig.Clock, b.rig.Line.Release, x.limits())
	require.NoError(t, err)
	require.NoError(t, b.rig.Sampler.Start())
	require.NoError(t, x.begin(short().Steps[1]))
	return x
}
