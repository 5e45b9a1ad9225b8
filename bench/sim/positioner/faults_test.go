package positioner

import (
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/sim"
)

// Each fault does by physics what its line says, the more the severer.
func TestFaults(t *testing.T) {
	stroke := func(fault string, severity float64) (reached, long_s, mean_A, low float64, u *Unit) {
		r := plug(t, whole(t, "flap"), fault, severity, 0.5)
		if src := SourceChange(r.u.params, fault, severity, r.src); src != r.src {
			r.src = src
		}
		r.ask(0.02).run(4 * time.Second)
		low = r.lows
		r.ask(0.98)
		from := r.at_s
		var charge float64
		for range 400 {
			r.run(10 * time.Millisecond)
			charge += r.mean * 0.01
			if r.u.Truth().Place > 0.9 {
				break
			}
		}
		long_s = r.at_s - from
		return r.u.Truth().Place, long_s, charge / long_s, low, r.u
	}
	good, quick, amps, low, _ := stroke("", 0)
	assert.Greater(t, good, 0.9)
	assert.Greater(t, low, -0.03)
	for _, c := range []struct {
		fault string
		shows func(place, long, mean float64, u *Unit) bool
	}{
		{"board-dead", func(p, _, i float64, _ *Unit) bool { return p == 0.5 && i < 0.1*amps }},
		{"board-deaf", func(p, _, i float64, _ *Unit) bool { return p == 0.5 && i < 0.4*amps }},
		{"board-weak", func(_, l, _ float64, _ *Unit) bool { return l > 1.07*quick }},
		{"travel-short", func(p, _, _ float64, u *Unit) bool { return u.params.StopHigh < 0.99 }},
		{"gear-skipping", func(_, l, _ float64, u *Unit) bool { return u.Truth().Skips > 0 && l > quick }},
		{"gear-stripped", func(p, _, _ float64, u *Unit) bool { return p == 0.5 }},
		{"jammed", func(p, _, _ float64, _ *Unit) bool { return p > 0.1 && p < 0.9 }},
		{"binding", func(_, l, i float64, _ *Unit) bool { return i > 1.1*amps && l > quick }},
		{"binding-spot", func(_, _, i float64, _ *Unit) bool { return i > amps }},
		{"motor-open", func(_, l, _ float64, _ *Unit) bool { return l > 1.3*quick }},
		{"unplugged", func(_, _, i float64, _ *Unit) bool { return i == 0 }},
	} {
		for _, severity := range []float64{0.5, 1} {
			place, long, mean, _, u := stroke(c.fault, severity)
			assert.True(t, c.shows(place, long, mean, u), "%s at %g: at %.3f after %.2f s, %.4f A (good: %.2f s, %.4f A)", c.fault, severity, place, long, mean, quick, amps)
		}
	}
	for _, fault := range []string{"feedback-open", "return-open"} {
		_, _, _, _, u := stroke(fault, 0.5)
		volt, _ := u.Position()
		assert.Zero(t, volt, fault)
	}
	// Beyond a lost stop the board's asking is the end.
	r := plug(t, whole(t, "flap"), "stop-missing", 1, 0.5).ask(-0.04)
	r.run(4 * time.Second)
	assert.Less(t, r.u.Truth().Place, -0.02)
}

func TestFaultList(t *testing.T) {
	p := whole(t, "flap")
	for _, f := range Faults() {
		u, err := New(p, f.Name, 1, 0.5, 1)
		require.NoError(t, err, f.Name)
		u.Step(time.Millisecond, bench, sim.Line{})
		same, err := New(p, f.Name, 0, 0.5, 1)
		require.NoError(t, err)
		assert.Equal(t, p, same.Params(), "%s at severity 0 is a good unit", f.Name)
	}
	_, err := New(p, "gremlins", 0.5, 0, 1)
	assert.ErrorContains(t, err, "gremlins")
	_, err = New(p, "binding", 2, 0, 1)
	assert.ErrorContains(t, err, "0 to 1")
	assert.InDelta(t, 0.65, grade(0.5, 0.65, 3.5), 1e-12)
	assert.InDelta(t, 3.5, grade(1, 0.65, 3.5), 1e-12)
}

func TestPerturbed(t *testing.T) {
	p := whole(t, "flap")
	for _, g := range Perturbations() {
		same, err := p.Perturbed(g, 1)
		require.NoError(t, err)
		assert.InEpsilon(t, p.Coulomb_Nm, same.Coulomb_Nm, 1e-9, g)
		other, err := p.Perturbed(g, 1.5)
		require.NoError(t, err)
		assert.NotEqual(t, p, other, g)
	}
	_, err := p.Perturbed("weather", 2)
	assert.ErrorContains(t, err, "weather")
	_, err = p.Perturbed(LoopGain, -1)
	assert.Error(t, err)
}

// Whatever the line and the supply do, current and place stay finite, the current
// within the board's limit but for charging, and the flap within its stops and
// their give.
func TestProperty(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	faults := append(Faults(), Fault{})
	for range 40 {
		size := Sizes()[r.IntN(len(Sizes()))]
		p, err := Draw(size, r)
		require.NoError(t, err)
		f := faults[r.IntN(len(faults))]
		u, err := New(p, f.Name, r.Float64(), r.Float64(), r.Uint64())
		require.NoError(t, err)
		src, line := bench, sim.Line{}
		for k := range 6000 {
			if k%700 == 0 {
				src.On = r.IntN(5) > 0
				line = sim.Line{State: sim.LineState(r.IntN(4)), High: r.Float64(), Frequency_Hz: 200, High_V: 12}
			}
			i, v := u.Step(pitch, src, line)
			x := u.Truth().Place
			require.False(t, i != i || v != v || x != x, "%s %s", size, f.Name)
			require.True(t, x > -0.6 && x < 1.3, "%s %s: at %g", size, f.Name, x)
			require.True(t, i >= 0 && i <= src.Limit_A+1e-9, "%s %s: %g A", size, f.Name, i)
		}
	}
}

// A PWM tells the place as the voltage does.
func TestReturn(t *testing.T) {
	p := whole(t, "flap-return")
	p.Noise, p.Bow = 0, 0
	r := plug(t, p, "", 0, 0.25)
	f, _ := r.u.Return()
	assert.Zero(t, f, "without supply")
	r.line = sim.Line{State: sim.LineReleased, High_V: 12}
	r.run(300 * time.Millisecond)
	f, high := r.u.Return()
	assert.Equal(t, 200.0, f)
	assert.InDelta(t, 0.1+0.8*0.25, high, 1e-9)
	volt, _ := r.u.Position()
	assert.Zero(t, volt)
}
