package run

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dutybench/bench/guard"
	"dutybench/bench/kind"
	"dutybench/bench/kinds"
	"dutybench/bench/result"
	"dutybench/bench/rig"
	"dutybench/bench/sim"
	"dutybench/profiles"
)

// builtin is a built-in profile.
func builtin(t *testing.T, name string) *profiles.Profile {
	t.Helper()
	p, err := profiles.Load(name, kinds.Section)
	require.NoError(t, err)
	return p
}

// diode is what a reversed unit is to the bench: a body diode across the plug.
type diode struct{ ohm float64 }

func (d diode) Step(_ time.Duration, src sim.Source, _ sim.Line) (float64, float64) {
	if !src.On {
		return 0, 0
	}
	i := min(max((src.Open_V-0.8)/(src.Ohm+d.ohm), 0), src.Limit_A)
	return i, 0.8 + i*d.ohm
}
func (diode) PullUp() (open_V, ohm float64) { return 0, 0 }
func (diode) Temperature() float64          { return 20 }

// contactBench is a bench with a pump and the contacts to test with.
type contactBench struct {
	*sim.Bench
	rig     *rig.Rig
	profile *profiles.Profile
	watched *watched
}

// watched notes what is closed, and what the unit then has.
type watched struct {
	guard.Switch
	b      *sim.Bench
	closed []guard.Path
	now    guard.Path
	onSet  func(guard.Path)

	since, longest time.Duration // of the last setting, and of the longest closed one
}

func (w *watched) Set(p guard.Path, lease time.Duration) error {
	err := w.Switch.Set(p, lease)
	if w.onSet != nil {
		w.onSet(p)
	}
	if w.now != guard.NoPath {
		w.longest = max(w.longest, w.b.Clock().Now()-w.since)
	}
	w.since = w.b.Clock().Now()
	if err == nil {
		w.now = p
		if p != guard.NoPath {
			w.closed = append(w.closed, p)
		}
	}
	return err
}

// contactOptions say which contacts a bench has.
type contactOptions struct {
	profile   string
	fault     string
	second    bool
	preCharge float64 // Ω
	pulse     bool
	relay     time.Duration
	change    func(*sim.Options)
	describe  func(*rig.Description)
}

func newContactBench(t *testing.T, o contactOptions) *contactBench {
	t.Helper()
	if o.profile == "" {
		o.profile = "aux-pump-20w"
	}
	p := builtin(t, o.profile)
	so, err := kinds.Bench(p, kinds.Simulated{Seed: 3, Fault: o.fault, Severity: 1})
	require.NoError(t, err)
	so.Second, so.PreCharge_Ohm = o.second, o.preCharge
	if o.change != nil {
		o.change(&so)
	}
	b := sim.NewBench(so)
	d := rig.Default()
	d.LinePin.LineDrive = rig.LineDrive{OpenDrain: so.Wire.OpenDrain, Inverted: so.Wire.Inverted}
	d.Switches[0].Settle = o.relay
	if o.second {
		d.Switches = append(d.Switches, rig.Contact{Pin: sim.SecondName, Settle: o.relay})
	}
	if o.preCharge > 0 {
		d.PreCharge = &rig.PreCharge{Contact: rig.Contact{Pin: sim.PreChargeName, Settle: o.relay}, Resistor_Ohm: o.preCharge}
	}
	if o.describe != nil {
		o.describe(&d)
	}
	r, err := rig.New("contacts", b, d, rig.Options{Stands: true})
	require.NoError(t, err)
	r.PreCharge_Ohm, r.Pulse, r.Settle = o.preCharge, o.pulse, o.relay
	w := &watched{Switch: r.Switch, b: b}
	r.Switch = w
	return &contactBench{Bench: b, rig: r, profile: p, watched: w}
}

// few is the beginning of a plan.
func few(p *profiles.Profile) kind.Plan {
	return kind.Plan{Steps: []kind.Step{
		{Name: "zero", Command_pct: p.Command.Stop_pct, Min: 300 * ms, Max: 500 * ms},
		{Name: "quiet", Supply: true, Command_pct: p.Command.Stop_pct, Min: time.Second, Max: 1500 * ms},
		{Name: "start", Supply: true, Command_pct: 100, Min: 500 * ms, Max: 500 * ms},
	}}
}

func (b *contactBench) run(t *testing.T) *Outcome {
	t.Helper()
	out, err := Run(context.Background(), b.rig, few(b.profile), b.profile, Options{})
	require.NoError(t, err)
	require.Equal(t, guard.NoPath, b.watched.now, "everything is open at the end")
	for _, c := range out.Checks {
		require.NotEmpty(t, c.Sentence, c.Name)
		if c.State == result.CheckUnlooked {
			require.Nil(t, c.Value, c.Name)
		}
	}
	return out
}

func find(out *Outcome, name string) result.Check {
	for _, c := range out.Checks {
		if c.Name == name {
			return c
		}
	}
	return result.Check{}
}
