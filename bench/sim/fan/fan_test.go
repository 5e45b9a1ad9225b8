package fan

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/sim"
)

var supply = sim.Source{On: true, Open_V: 13.5, Ohm: 0.04}

// commanded is the line at a share of a period.
func commanded(share float64) sim.Line {
	return sim.Line{State: sim.LinePWM, High: share, Frequency_Hz: 100, High_V: 5}
}

func unit(t *testing.T, size, fault string, severity float64) *Fan {
	t.Helper()
	p, err := Nominal(size)
	require.NoError(t, err)
	f, err := New(p, fault, severity)
	require.NoError(t, err)
	return f
}

// run lets it run for so long and returns the mean current.
func run(f *Fan, d time.Duration, src sim.Source, line sim.Line) float64 {
	var q float64
	const dt = 100 * time.Microsecond
	for t := time.Duration(0); t < d; t += dt {
		i, _ := f.Step(dt, src, line)
		q += i * dt.Seconds()
	}
	return q / d.Seconds()
}

// Stepped in time it settles where the closed-form balance has it.
func TestSettlesAtTheBalance(t *testing.T) {
	for _, size := range Sizes() {
		for _, duty := range []float64{0.15, 0.5, 0.95} {
			f := unit(t, size, "", 0)
			run(f, 7*time.Second, supply, commanded(duty))
			amps := run(f, time.Second, supply, commanded(duty))
			p := f.params
			want := p.Behind((duty-p.From)/(p.To-p.From), supply.Open_V, supply.Ohm)
			assert.InEpsilon(t, want.Speed_rad_s, f.Truth().Speed_rad_s, 0.004, "%s at %g", size, duty)
			assert.InEpsilon(t, want.Supply_A, amps, 0.006, "%s at %g", size, duty)
		}
	}
}

// The capacitor of a dead board takes C·U, on the curve of any RC.
func TestChargesAsAnRC(t *testing.T) {
	f := unit(t, "axial", "board-dead", 1)
	tau := supply.Ohm * f.params.Capacitor_F
	var q float64
	for i := range 50 {
		a, v := f.Step(10*time.Microsecond, supply, commanded(0.5))
		q += a * 10e-6
		assert.InDelta(t, 13.5*(1-math.Exp(-float64(i+1)*10e-6/tau)), v, 1e-9)
	}
	assert.InEpsilon(t, f.plug_V*f.params.Capacitor_F, q, 1e-9)
}

// Fan laws (AMCA 201): torque of the air with the square of the speed, power with
// its cube, both with the density; and density with pressure over temperature:
// 1.2041 kg/m³ at 20 °C and 101325 Pa, 1.1644 at 30 °C (from memory, any table of
// dry air).
func TestFanLaws(t *testing.T) {
	p, err := Nominal("axial")
	require.NoError(t, err)
	p.Coulomb_Nm, p.Viscous_Nms = 0, 0
	slow, fast := p.Steady(0, 13.5), p.Steady(1, 13.5)
	ratio := fast.Speed_rad_s / slow.Speed_rad_s
	assert.InEpsilon(t, ratio*ratio*ratio, fast.Torque_Nm*fast.Speed_rad_s/(slow.Torque_Nm*slow.Speed_rad_s), 1e-9)
	p.Room_C = 30
	assert.InEpsilon(t, 1.1644/1.2041, p.Density(), 1e-4)
	assert.InEpsilon(t, 1.1644/1.2041, p.Steady(1, 13.5).Torque_Nm/fast.Torque_Nm, 1e-4)
}

// Air alone slows a coasting wheel on a hyperbola: J·dω/dt = −a·ω² gives
// ω = ω0/(1 + ω0·a·t/J).
func TestCoastsOnAHyperbola(t *testing.T) {
	f := unit(t, "axial", "", 0)
	f.params.Coulomb_Nm, f.params.Viscous_Nms, f.params.Turn_Nm = 0, 0, 0
	f.speed = 250
	for i := range 5 {
		run(f, 200*time.Millisecond, sim.Source{}, sim.Line{})
		s := 0.2 * float64(i+1)
		assert.InEpsilon(t, 250/(1+250*f.params.Air_Nms2*s/f.params.Inertia_kgm2), f.speed, 1e-3)
	}
}

// The current ripples six times an electrical turn, so 18 times a turn here.
func TestRipplesSixTimesAnElectricalTurn(t *testing.T) {
	f := unit(t, "axial", "", 0)
	run(f, 6*time.Second, supply, commanded(0.5))
	const n, dt = 20000, 50e-6
	x := make([]float64, n)
	for i := range x {
		x[i], _ = f.Step(50*time.Microsecond, supply, commanded(0.5))
	}
	at := func(hz float64) float64 {
		var re, im float64
		for i, v := range x {
			re += v * math.Cos(2*math.Pi*hz*float64(i)*dt)
			im += v * math.Sin(2*math.Pi*hz*float64(i)*dt)
		}
		return math.Hypot(re, im) / n * 2
	}
	hz := 18 * f.Truth().Speed_rad_s / (2 * math.Pi)
	assert.Greater(t, at(hz), 20*at(hz*1.02))
	assert.Greater(t, at(hz), 0.01)
}

func TestWhatFaultsDo(t *testing.T) {
	for _, size := range Sizes() {
		good := unit(t, size, "", 0)
		full := func(f *Fan) float64 {
			run(f, 7*time.Second, supply, commanded(0.95))
			return run(f, time.Second, supply, commanded(0.95))
		}
		low := func(f *Fan) float64 {
			run(f, 5*time.Second, supply, commanded(0.15))
			return run(f, time.Second, supply, commanded(0.15))
		}
		lowGood := low(good)
		fullGood := full(good)
		for _, c := range []struct {
			fault    string
			low, top float64 // least and most of the current at full, as a share
			state    string
		}{
			{"board-dead", 0, 0.001, "unpowered"}, {"no-start", 0, 0.02, "waking"}, {"command-lost-off", 0, 0.02, "idle"},
			{"command-lost-full", 0.99, 1.01, "closed loop"}, {"open-phase", 0, 0.3, ""}, {"rotor-seized", 0, 0.3, ""},
			{"power-limit", 0.4, 0.65, "closed loop"}, {"bearing-drag", 1.005, 1.25, "closed loop"}, {"blade-rub", 1.005, 1.25, "closed loop"},
			{"blades-lost", 0.4, 0.75, "closed loop"}, {"hub-slips", 0.02, 0.4, "closed loop"}, {"unplugged", 0, 0, ""},
		} {
			f := unit(t, size, c.fault, 1)
			share := full(f) / fullGood
			assert.True(t, c.low <= share && share <= c.top, "%s %s: %.3f of the current at full", size, c.fault, share)
			if c.state != "" {
				assert.Equal(t, c.state, f.Truth().State, c.fault)
			}
		}
		assert.Greater(t, low(unit(t, size, "bearing-drag", 1))/lowGood, 1.3, "friction counts most at low speed")
		assert.Equal(t, good.params.Radial, full(unit(t, size, "blocked-air", 1)) < fullGood, "a radial wheel carries less, an axial one stirs")
		for _, fault := range Faults() {
			if fault.Graded {
				none, err := New(good.params, fault.Name, 0)
				require.NoError(t, err)
				assert.InEpsilon(t, lowGood, low(none), 1e-6, "%s at none", fault.Name)
			}
		}
	}
	_, err := New(unit(t, "axial", "", 0).params, "nonsense", 0.5)
	assert.ErrorContains(t, err, "nonsense")
	src := SourceChange(unit(t, "axial", "", 0).params, "line-resistance", 0.5, supply)
	assert.InDelta(t, 0.10, src.Ohm, 1e-12)
	assert.InDelta(t, 0.6*10.25, SourceChange(unit(t, "axial", "", 0).params, "supply-limit", 1, supply).Limit_A, 0.05)
}

// A stuck rotor makes attempts of equal length with rests between, then none.
func TestSeizedRotorLatchesOff(t *testing.T) {
	f := unit(t, "axial", "rotor-seized", 0.5)
	run(f, 200*time.Millisecond, supply, commanded(0.02))
	seen := map[string]bool{}
	for range 200 {
		run(f, 100*time.Millisecond, supply, commanded(0.5))
		seen[f.Truth().State] = true
	}
	assert.Equal(t, "latched", f.Truth().State)
	assert.Equal(t, f.params.Attempts, f.Truth().Attempt)
	assert.True(t, seen["rest"] && !seen["closed loop"])
	run(f, 100*time.Millisecond, supply, commanded(0.05))
	run(f, 300*time.Millisecond, supply, commanded(0.5))
	assert.Equal(t, 1, f.Truth().Attempt, "a stop command lets it try anew")
}

// Nothing that a bench can do makes a number that is none, or a current below
// zero while the supply is on at or above the capacitor.
func TestSurvivesAnyBench(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	for range 200 {
		p, err := Draw(Sizes()[r.IntN(2)], r)
		require.NoError(t, err)
		faults := Faults()
		f, err := New(p, faults[r.IntN(len(faults))].Name, r.Float64())
		require.NoError(t, err)
		for range 60 {
			src := sim.Source{On: r.IntN(4) > 0, Open_V: 20 * r.Float64(), Ohm: r.Float64(), Limit_A: 10 * r.Float64()}
			line := sim.Line{State: sim.LineState(r.IntN(4)), High: r.Float64(), Frequency_Hz: 200 * r.Float64(), High_V: 6 * r.Float64()}
			i, v := f.Step(time.Duration(r.IntN(20_000))*time.Microsecond, src, line)
			require.False(t, math.IsNaN(i) || math.IsNaN(v) || v < 0 || v > 21 || math.IsNaN(f.speed) || f.speed > 1000, "%g A, %g V, %g rad/s", i, v, f.speed)
		}
	}
}

func TestPerturbed(t *testing.T) {
	p, err := Nominal("axial")
	require.NoError(t, err)
	for _, g := range Perturbations() {
		_, err := p.Perturbed(g, 1.5)
		assert.NoError(t, err, g)
	}
	q, err := p.Perturbed(FrictionLaw, 4)
	require.NoError(t, err)
	w := p.Steady(1, p.Nominal_V).Speed_rad_s / 2
	assert.InEpsilon(t, p.Coulomb_Nm+p.Viscous_Nms*w, q.Coulomb_Nm+q.Viscous_Nms*w, 1e-12)
	_, err = p.Perturbed("nonsense", 2)
	assert.Error(t, err)
	_, err = p.Perturbed(RippleGroup, 0)
	assert.Error(t, err)
}
