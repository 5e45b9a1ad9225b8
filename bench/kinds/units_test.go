package kinds

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/physic"

	"dutybench/bench/rig"
	"dutybench/bench/sim"
	"dutybench/profiles"
)

// builtins are the built-in profiles, by name.
func builtins(t *testing.T) map[string]*profiles.Profile {
	t.Helper()
	out := map[string]*profiles.Profile{}
	for _, name := range profiles.Builtins() {
		p, err := profiles.Load(name, Section)
		require.NoError(t, err)
		out[name] = p
	}
	return out
}

// Every built-in profile has a simulated unit, good and with every fault that
// its kind knows, and with every constant changed that may be.
func TestEveryBuiltinHasUnits(t *testing.T) {
	for name, p := range builtins(t) {
		t.Run(name, func(t *testing.T) {
			good, err := Bench(p, Simulated{Seed: 5})
			require.NoError(t, err)
			require.True(t, good.Unit != nil || good.TwoWire != nil)
			for _, f := range Faults(p.Kind) {
				_, err := Bench(p, Simulated{Seed: 5, Fault: f.Name, Severity: 1})
				assert.NoError(t, err, f.Name)
			}
			for _, g := range Perturbations(p.Kind) {
				_, err := Bench(p, Simulated{Seed: 5, Perturb: Perturbation{Group: g, Factor: 1.2}})
				assert.NoError(t, err, g)
			}
			_, err = Bench(p, Simulated{Seed: 5, Fault: "gremlins"})
			assert.ErrorContains(t, err, "gremlins")
			_, err = Bench(p, Simulated{Perturb: Perturbation{Group: "weather", Factor: 2}})
			assert.ErrorContains(t, err, "weather")
		})
	}
}

// A unit that runs by a board of its own does as its profile says with the
// command at stop, at full, and with the wire cut. One that the bench switches
// and one that only takes a position show that in their own rooms.
func TestUnitsFollowTheirProfiles(t *testing.T) {
	for name, p := range builtins(t) {
		if p.Command.Type == profiles.Switched || p.Position.By != "" {
			continue
		}
		t.Run(name, func(t *testing.T) {
			o, err := Bench(p, Simulated{Seed: 5})
			require.NoError(t, err)
			b := sim.NewBench(o)
			line := rig.NewLine(b.Line, rig.LineDrive{OpenDrain: o.Wire.OpenDrain, Inverted: o.Wire.Inverted})
			drive := func(command float64, d time.Duration) float64 {
				require.NoError(t, line.Drive(p.Command.LineDuty(command), physic.Frequency(p.Command.Frequency_Hz)*physic.Hertz))
				return mean(b, d)
			}
			require.NoError(t, b.Switch.Out(gpio.High))
			rest := drive(p.Command.Stop_pct, time.Second)
			full := drive(p.Command.Full_pct, 6*time.Second)
			assert.Less(t, rest, 0.1*full)
			assert.Greater(t, full, p.Limits.Current_A/2/1.5)
			assert.Less(t, full, p.Limits.Current_A)
			require.NoError(t, line.Release())
			gone := mean(b, 4*time.Second)
			switch p.Command.Missing.Open {
			case "full":
				assert.InDelta(t, full, gone, 0.05*full)
			case "stop":
				assert.Less(t, gone, 0.1*full)
			}
		})
	}
}

// mean is the mean current over the second after a wait.
func mean(b *sim.Bench, wait time.Duration) float64 {
	b.Clock().Sleep(wait)
	before := b.World.Charge_As()
	b.Clock().Sleep(time.Second)
	return b.World.Charge_As() - before
}

func TestBenchRefuses(t *testing.T) {
	p, err := profiles.Load("aux-pump-60w", Section)
	require.NoError(t, err)
	for name, change := range map[string]func(p *profiles.Profile){
		"of no kind here":      func(p *profiles.Profile) { p.Kind = "boat" },
		"a supply of its own":  func(p *profiles.Profile) { p.Supply.Nominal_V = 48 },
		"far too large a unit": func(p *profiles.Profile) { p.Good, p.Limits.Current_A = nil, 900 },
		"no current at all":    func(p *profiles.Profile) { p.Good, p.Limits.Current_A = nil, 0 },
	} {
		q := *p
		change(&q)
		_, err := Bench(&q, Simulated{Seed: 1})
		assert.ErrorIs(t, err, ErrNoUnit, name)
	}
	_, err = Bench(p, Simulated{Fault: "drag", Severity: 2})
	assert.ErrorContains(t, err, "0 to 1")
}

func TestSourceFaultsChangeTheSupply(t *testing.T) {
	p, err := profiles.Load("aux-pump-60w", Section)
	require.NoError(t, err)
	whole, err := Bench(p, Simulated{Seed: 1})
	require.NoError(t, err)
	lead, err := Bench(p, Simulated{Seed: 1, Fault: "line-resistance", Severity: 1})
	require.NoError(t, err)
	assert.InDelta(t, 0.4, lead.Supply.Ohm-whole.Supply.Ohm, 1e-9)
	weak, err := Bench(p, Simulated{Seed: 1, Fault: "supply-limit", Severity: 1})
	require.NoError(t, err)
	assert.Less(t, weak.Supply.Limit_A, whole.Supply.Limit_A)
}

// A perturbed unit is another one, the unperturbed stays as it is, and a
// group that is none is named.
func TestPerturbedUnits(t *testing.T) {
	p, err := profiles.Load("aux-pump-60w", Section)
	require.NoError(t, err)
	charge := func(x Perturbation) float64 {
		o, err := Bench(p, Simulated{Seed: 3, Perturb: x})
		require.NoError(t, err)
		b := sim.NewBench(o)
		require.NoError(t, b.Switch.Out(gpio.High)) // the line is released: it runs at full
		return mean(b, time.Second)
	}
	whole := charge(Perturbation{})
	assert.Equal(t, whole, charge(Perturbation{Group: "ramp", Factor: 1}))
	slow := charge(Perturbation{Group: "ramp", Factor: 2})
	assert.Greater(t, math.Abs(slow/whole-1), 0.1, "%g A against %g A: another start", slow, whole)
	assert.Empty(t, Perturbations("boat"))
	assert.EqualValues(t, 2, Perturbation{Group: "noise", Factor: 2}.Noise())
	assert.EqualValues(t, 1, Perturbation{Group: "ramp", Factor: 2}.Noise())
}

// Every kind's faults are explained, each has a side of its own, and what it
// cannot be told from is a fault of that kind too.
func TestFaultsAreExplained(t *testing.T) {
	for _, k := range All() {
		faults := Faults(k.Name())
		assert.NotEmpty(t, faults, k.Name())
		known := map[string]bool{}
		for _, f := range faults {
			assert.False(t, known[f.Name], "%s: %s twice", k.Name(), f.Name)
			assert.False(t, IsBenchFault(f.Name), "%s: %s is a fault of the bench too", k.Name(), f.Name)
			known[f.Name] = true
		}
		for _, f := range faults {
			for _, s := range []string{f.Name, f.Side, f.Line, f.Half, f.Full} {
				assert.NotEmpty(t, s, "%s: %s", k.Name(), f.Name)
			}
			for _, other := range f.Inseparable {
				assert.True(t, known[other] && other != f.Name, "%s: %s cannot be told from %q, which is none", k.Name(), f.Name, other)
			}
		}
	}
	assert.Empty(t, Faults("boat"))
}
