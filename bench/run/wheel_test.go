package run

import (
	"context"
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/kind"
	"dutybench/bench/result"
	"dutybench/bench/rig"
	"dutybench/bench/sim"
	"dutybench/profiles"
)

// coiled is a two-wire unit on a simulated rig whose switch may be wrong.
type coiled struct {
	ohm, henry float64
	current_A  float64 // limit; the peak is twice that
	hertz      float64
	driver     func(d *sim.Driver)
	rig        func(d *rig.Description)
	unit       sim.TwoWire // in the place of a coil
	seed       uint64
	ideal      bool
	profile    func(p *profiles.Profile)
	limit_A    float64 // of the supply; 0: it is strong
}

func (l coiled) open(t *testing.T) (*sim.Bench, *rig.Rig, *profiles.Profile) {
	t.Helper()
	p := switched(l.hertz)
	if l.current_A > 0 {
		p.Limits.Current_A, p.Limits.Peak_A = l.current_A, 2*l.current_A
	}
	if l.profile != nil {
		l.profile(p)
	}
	o := sim.Options{Seed: l.seed + 1, Ideal: l.ideal, TwoWire: l.unit, Driver: sim.DefaultDriver(),
		Supply: sim.Supply{Open_V: 12, Ohm: 0.04, Limit_A: 30}, Wire: sim.DefaultWire(), Current: sim.CurrentMCP3208}
	if o.TwoWire == nil {
		o.TwoWire = &sim.Coil{Ohm: l.ohm, Henry: l.henry, Temp_C: 20}
	}
	if l.limit_A > 0 {
		o.Supply.Limit_A = l.limit_A
	}
	d := rig.DefaultFast(p.Limits.Peak_A)
	o.Shunt_Ohm = d.Current.Shunt_Ohm
	if l.driver != nil {
		l.driver(&o.Driver)
		d.Load.Seen, d.Load.HighSide = o.Driver.Seen, o.Driver.HighSide
		d.Current.LowSide = d.Load.HighSide
	}
	if l.rig != nil {
		l.rig(&d)
	}
	b := sim.NewBench(o)
	r, err := rig.New(rig.Sim, b, d, rig.Options{Stands: true})
	require.NoError(t, err)
	return b, r, p
}

// plan: zero, supply on with the switch open, then commands.
func (l coiled) plan(steps ...kind.Step) kind.Plan {
	return kind.Plan{Steps: append([]kind.Step{{Name: "zero", Min: 300 * ms, Max: 300 * ms},
		{Name: "quiet", Supply: true, Min: 300 * ms, Max: 300 * ms}}, steps...)}
}

func hold(duty float64, d time.Duration) kind.Step {
	return kind.Step{Name: "hold", Supply: true, Command_pct: duty, Min: d, Max: d}
}

func (l coiled) run(t *testing.T, steps ...kind.Step) (*sim.Bench, *Outcome) {
	t.Helper()
	b, r, p := l.open(t)
	out, err := Run(context.Background(), r, l.plan(steps...), p, Options{})
	require.NoError(t, err)
	assert.False(t, b.World.Energised(), "the supply is off")
	return b, out
}

func checkOf(out *Outcome, name string) *result.Check {
	for i, c := range out.Checks {
		if c.Name == name {
			return &out.Checks[i]
		}
	}
	return nil
}

// units from a valve of an ohm to a coil of a henry, and loads without one.
var wheelUnits = []coiled{
	{ohm: 10, henry: 0.04, current_A: 2.5},
	{ohm: 5, henry: 0.005, current_A: 3},
	{ohm: 2.5, henry: 0.001, current_A: 8},
	{ohm: 0.6, henry: 0.0004, current_A: 20},
	{ohm: 50, henry: 1, current_A: 0.5},
	{ohm: 120, henry: 0.6, current_A: 0.3},
}

func unseen(d *sim.Driver)   { d.Seen = false }
func highSide(d *sim.Driver) { d.HighSide = true }

// A path that is there is found on every rig that can look, and nothing of the
// look is left in the trace.
func TestFreeWheelPath(t *testing.T) {
	for _, l := range append(wheelUnits, coiled{ohm: 6, henry: 1e-7, current_A: 3}) {
		for name, driver := range map[string]func(d *sim.Driver){"seen": nil, "not seen": unseen, "high side": highSide} {
			t.Run(fmt.Sprintf("%g ohm/%g H/%s", l.ohm, l.henry, name), func(t *testing.T) {
				l.driver = driver
				{
					l.seed = uint64(1e3 * l.ohm)
					_, out := l.run(t, hold(0, 50*ms))
					require.Empty(t, out.Faults)
					require.Nil(t, out.Trip)
					assert.Empty(t, out.Doubts)
					assert.False(t, out.Unbegun)
					c := checkOf(out, pathCheck)
					require.NotNil(t, c)
					assert.Equal(t, result.CheckOK, c.State, c.Sentence)
					require.NotNil(t, checkOf(out, "load switch"))
					for _, i := range out.Trace.Current() {
						require.Less(t, i, 0.04)
					}
				}
			})
		}
	}
}

// A path that is missing ends the test before the coil is switched, blamed on
// the bench, with one next step; and never more than a harmless energy was in it.
func TestFreeWheelPathMissing(t *testing.T) {
	for _, l := range wheelUnits {
		for name, driver := range map[string]func(d *sim.Driver){"seen": func(d *sim.Driver) {}, "not seen": unseen} {
			for _, clamp_V := range []float64{33, 60} {
				t.Run(fmt.Sprintf("%g ohm/%g H/%s/%g V", l.ohm, l.henry, name, clamp_V), func(t *testing.T) {
					l.driver = func(d *sim.Driver) {
						driver(d)
						d.Diode, d.Clamp_V = false, clamp_V
					}
					watch := &peaking{Coil: sim.Coil{Ohm: l.ohm, Henry: l.henry, Temp_C: 20}}
					l.unit = watch
					{
						l.seed = uint64(1e3 * l.ohm)
						watch.most_A = 0
						_, out := l.run(t, hold(100, 50*ms))
						require.Len(t, out.Faults, 1, "%+v", out.Checks)
						f := out.Faults[0]
						assert.Equal(t, result.Bench, f.Cause)
						assert.NotEmpty(t, f.Next)
						assert.True(t, out.Unbegun)
						assert.Equal(t, result.CheckFailed, checkOf(out, pathCheck).State)
						assert.LessOrEqual(t, l.henry*watch.most_A*watch.most_A/2, harmless_J)
					}
				})
			}
		}
	}
}

// peaking is a coil that keeps its highest current.
type peaking struct {
	sim.Coil
	most_A float64
}

func (w *peaking) Step(dt time.Duration, c sim.Circuit) (float64, float64) {
	i, v := w.Coil.Step(dt, c)
	w.most_A = max(w.most_A, i)
	return i, v
}

// An open coil is the test's to find, and so is a unit that is not there.
func TestFreeWheelOfNothing(t *testing.T) {
	for _, driver := range []func(d *sim.Driver){nil, unseen, highSide} {
		_, out := coiled{ohm: 1e6, henry: 0.04, driver: driver}.run(t, hold(100, 50*ms))
		assert.Empty(t, out.Faults)
		assert.False(t, out.Unbegun)
		assert.Equal(t, result.CheckUnlooked, checkOf(out, pathCheck).State)
	}
}

func TestLoadSwitchIsLookedAt(t *testing.T) {
	cases := []struct {
		name   string
		load   coiled
		says   string
		or     []result.Cause
		failed string
	}{
		{"stuck closed", coiled{driver: func(d *sim.Driver) { d.StuckOn = true }}, "stuck closed", []result.Cause{result.Wiring}, "load switch"},
		{"stuck closed, high side", coiled{driver: func(d *sim.Driver) { d.StuckOn, d.HighSide = true, true }}, "stuck closed", []result.Cause{result.Wiring}, "load switch"},
		{"stuck open", coiled{driver: func(d *sim.Driver) { d.StuckOff = true }}, "stuck open", nil, "load switch"},
		{"stuck open, high side", coiled{driver: func(d *sim.Driver) { d.StuckOff, d.HighSide = true, true }}, "stuck open", nil, "load switch"},
		{"diode shorted", coiled{current_A: 2, driver: func(d *sim.Driver) { d.Short_Ohm, d.Seen = 0.05, false }}, "sits the wrong way round", []result.Cause{result.Electrical, result.Wiring}, pathCheck},
		{"diode shorted, supply at its limit", coiled{limit_A: 1, driver: func(d *sim.Driver) { d.Short_Ohm, d.Seen = 0.05, false }}, "the voltage at the plug fell from 12", []result.Cause{result.Electrical, result.Wiring}, pathCheck},
		{"diode reversed, supply at its limit", coiled{limit_A: 1, driver: func(d *sim.Driver) { d.Short_Ohm, d.Seen = 0.8, false }}, "sits the wrong way round", []result.Cause{result.Electrical, result.Wiring}, pathCheck},
		{"not in the readings, as stated", coiled{driver: unseen, rig: func(d *rig.Description) { d.Load.Seen = true }}, "not through the shunt", nil, pathCheck},
		{"in the readings, against what is stated", coiled{rig: func(d *rig.Description) { d.Load.Seen = false }}, "says that it is not seen", nil, pathCheck},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			l := c.load
			l.ohm, l.henry = 10, 0.04
			_, out := l.run(t, hold(100, 50*ms))
			require.Len(t, out.Faults, 1, "%+v", out.Checks)
			f := out.Faults[0]
			assert.Equal(t, result.Bench, f.Cause, "%+v", out.Checks)
			assert.Contains(t, f.Sentence, c.says)
			assert.Equal(t, c.or, f.Or)
			assert.True(t, out.Unbegun)
			assert.Equal(t, result.CheckFailed, checkOf(out, c.failed).State)
		})
	}
}

// A shorted diode beside a shunt that is in the unit's loop takes its current past
// it; the plug's voltage tells, as soon as it is read with the switch closed.
func TestDiodeShortedBesideTheShunt(t *testing.T) {
	_, out := coiled{ohm: 10, henry: 0.04, driver: func(d *sim.Driver) { d.Short_Ohm = 0.05 }}.run(t, hold(100, 200*ms))
	require.Len(t, out.Faults, 1)
	assert.Equal(t, result.Bench, out.Faults[0].Cause)
	assert.Contains(t, out.Faults[0].Sentence, "wrong way round")
}

// A rig that could not see a missing path does not switch a unit at all, unless
// it says that it has none and what its switch bears instead.
func TestSwitchingRefused(t *testing.T) {
	blind := coiled{ohm: 10, henry: 0.04, driver: unseen, rig: func(d *rig.Description) { d.Load.Level = nil }}
	clamped := coiled{ohm: 10, henry: 0.04, driver: func(d *sim.Driver) { d.Diode = false }, rig: func(d *rig.Description) {
		d.Load.FreeWheel, d.Load.Clamp = rig.FreeWheelNone, rig.Clamp{Volt: 60, Joule: 1, Henry: 0.05}
		d.Load.LowestFrequency_Hz, d.Load.HighestFrequency_Hz = 0, 0
	}}
	_, r, p := blind.open(t)
	_, err := Run(context.Background(), r, blind.plan(hold(100, 50*ms)), p, Options{})
	require.ErrorContains(t, err, "nobody would see")
	_, out := clamped.run(t, hold(100, 50*ms))
	assert.Empty(t, out.Faults)
	assert.Equal(t, result.CheckUnlooked, checkOf(out, pathCheck).State)
	assert.Contains(t, checkOf(out, pathCheck).Sentence, "no free-wheel path")
}

// Between two readings a coil may store what is not harmless, whatever its
// inductance: a rig that reads too seldom for the unit does not try.
func TestPulseIsSeenInTime(t *testing.T) {
	l := coiled{ohm: 4.8, henry: 0.01, current_A: 3}
	_, r, p := l.open(t)
	most := 0.0
	for henry := 1e-6; henry < 10; henry *= 1.1 {
		ohm := p.Supply.High_V / p.Limits.Peak_A
		i := p.Limits.Peak_A * -math.Expm1(-mostBlind(p).Seconds()*ohm/henry)
		most = max(most, henry*i*i/2)
	}
	assert.InEpsilon(t, harmless_J, most, 0.01, "by the coil's own equation")
	r.Sampler = seldom{r.Sampler, 2 * ms}
	_, err := Run(context.Background(), r, l.plan(hold(100, 50*ms)), p, Options{})
	require.ErrorContains(t, err, "too seldom to look at the free-wheel path")
	r.Load.FreeWheel, r.Load.Clamp = rig.FreeWheelNone, rig.Clamp{Volt: 60, Joule: 1, Henry: 0.05}
	_, err = check(r, l.plan(hold(100, 50*ms)), p)
	assert.NoError(t, err, "nothing is pulsed where there is no path")
}

// seldom is a sampler that reads less often.
type seldom struct {
	rig.Sampler
	interval time.Duration
}

func (s seldom) Interval() time.Duration { return s.interval }
