package pump

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/sim"
)

var _ sim.Unit = (*Pump)(nil)

func TestSameSeedSameUnit(t *testing.T) {
	run := func(seed uint64) []float64 {
		b := plug(t, drawn(t, "medium", 9), "dry-loop", 0.7, seed)
		b.line = pwm(b.params, atShare(b.params, 0.5))
		b.hold(2)
		return append([]float64(nil), b.got...)
	}
	assert.Equal(t, run(4), run(4))
	assert.NotEqual(t, run(4), run(5))
	assert.Equal(t, drawn(t, "large", 3), drawn(t, "large", 3))
	assert.NotEqual(t, drawn(t, "large", 3), drawn(t, "large", 4))
}

// No drawn unit lies beyond the cut, and the efficiency stays below one.
func TestDrawnUnits(t *testing.T) {
	for _, size := range Sizes() {
		rng := rand.New(rand.NewPCG(1, 1))
		n := nominal(t, size)
		var sum, sq float64
		const units = 4000
		for range units {
			c, err := Draw(size, rng)
			require.NoError(t, err)
			z := (c.K_Vs/n.K_Vs - 1) / spreadK
			require.LessOrEqual(t, math.Abs(z), spreadCut+1e-9)
			require.Less(t, c.Efficiency, 0.99)
			sum, sq = sum+z, sq+z*z
		}
		assert.InDelta(t, 0, sum/units, 0.06)
		assert.InDelta(t, 1, sq/units, 0.08)
	}
}

// Energy is kept: what came in at the plug went into the capacitor, the board,
// the copper, the shaft and the water, step by step through a start.
func TestEnergyBalance(t *testing.T) {
	for _, size := range Sizes() {
		for _, dt := range []time.Duration{20 * us, 100 * us} {
			c := drawn(t, size, 2)
			c.Unrest = 0
			b := plug(t, c, "", 0, 1)
			b.dt = dt
			b.hold(0.4)
			b.line = pwm(c, fullDuty(c))
			kinetic := func() float64 { return c.Inertia_kgm2 * b.speed * b.speed / 2 }
			stored := func() float64 { return c.Capacitor_F * b.net.cap_V * b.net.cap_V / 2 }
			for b.Truth().State != "closed loop" {
				b.hold(dt.Seconds())
			}
			start := kinetic() + stored()
			var in, out float64
			for range int(1.5 / dt.Seconds()) {
				speed, volts, cap_V, quiet := b.speed, b.net.plug_V, b.net.cap_V, b.quiet()
				i, v := b.Step(dt, b.src, b.line)
				h := dt.Seconds()
				mid := (speed + b.speed) / 2
				torque, _ := b.resist(mid)
				cap_A := c.Capacitor_F * (b.net.cap_V - cap_V) / h
				in += i * (volts + v) / 2 * h
				out += h * (quiet*v + b.motor_W*(1/c.Efficiency-1) + b.phase_A*b.phase_A*b.winding_Ohm + torque*mid + cap_A*cap_A*c.ESR_Ohm)
			}
			assert.InEpsilon(t, in, out+kinetic()+stored()-start, 0.003, "%s at %v", size, dt)
		}
	}
}

// Nothing that a rig can give makes a number that is none, or one beyond reason.
func FuzzStep(f *testing.F) {
	f.Add(uint64(1), 12.0, 0.05, 10.0, 0.5, 1000.0, 5.0, int64(100_000))
	f.Add(uint64(77), math.NaN(), math.Inf(1), -1.0, math.NaN(), math.Inf(-1), math.NaN(), int64(-5))
	f.Add(uint64(1234), -30.0, 0.0, 0.0, 2.0, 0.0, 0.0, int64(3))
	f.Fuzz(func(t *testing.T, seed uint64, volts, ohm, limit, high, hz, high_V float64, ns int64) {
		rng := rand.New(rand.NewPCG(seed, 1))
		faults := append(Faults(), Fault{})
		c, err := Draw(Sizes()[rng.IntN(5)], rng)
		require.NoError(t, err)
		p, err := New(c, faults[rng.IntN(len(faults))].Name, rng.Float64(), seed)
		require.NoError(t, err)
		good := ideal(c)
		for k := range 2000 {
			src := sim.Source{On: rng.IntN(8) > 0, Open_V: volts, Ohm: ohm, Limit_A: limit, Leak_A: limit}
			if k%3 > 0 {
				src = good
			}
			if rng.IntN(4) == 0 {
				src = sim.Source{On: rng.IntN(4) > 0, Open_V: 80*rng.Float64() - 20, Ohm: math.Pow(10, 8*rng.Float64()-6), Limit_A: 30 * rng.Float64() * float64(rng.IntN(2)), Leak_A: 1e-4}
			}
			line := sim.Line{State: sim.LineState(rng.IntN(6) - 1), High: high, Frequency_Hz: hz, High_V: high_V}
			if k%2 > 0 {
				line = pwm(c, fullDuty(c))
			}
			i, v := p.Step(time.Duration(ns%1_000_000), src, line)
			j, w := p.Step(time.Duration(rng.IntN(100_000)), src, line)
			open, pull := p.PullUp()
			for _, x := range []float64{i, v, j, w, open, pull, p.Temperature(), p.speed, p.turns, p.winding_C, p.net.cap_V} {
				require.False(t, math.IsNaN(x) || math.Abs(x) > 1e6, "%v: %+v %+v %+v", x, src, line, p.Truth())
			}
		}
	})
}

// Random rigs, seeded: the fuzz target on its own numbers.
func TestRandomInputs(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 8))
	for range 40 {
		c := drawn(t, Sizes()[rng.IntN(5)], rng.Uint64())
		fault := Faults()[rng.IntN(20)]
		b := plug(t, c, fault.Name, rng.Float64(), rng.Uint64())
		for range 40 {
			b.src.Open_V, b.src.Ohm = 30*rng.Float64(), math.Pow(10, -3+4*rng.Float64())
			b.src.On, b.src.Limit_A = rng.IntN(6) > 0, 20*rng.Float64()
			b.line = pwm(c, rng.Float64())
			b.dt = time.Duration(1 + rng.IntN(100_000))
			for range 100 {
				i, v := b.Step(b.dt, b.src, b.line)
				over := b.src.On && i > b.src.Limit_A+1e-6
				if math.IsNaN(i) || !(v >= 0) || over {
					t.Fatalf("%v A, %v V: %s %+v %+v", i, v, fault.Name, b.src, b.Truth())
				}
			}
		}
	}
}

// A step costs less than 150 ns on an idle core.
func BenchmarkStep(b *testing.B) {
	for _, size := range Sizes() {
		b.Run(size, func(b *testing.B) {
			u := plug(b, nominal(b, size), "", 0, 1)
			u.line = pwm(u.params, fullDuty(u.params))
			u.hold(4)
			b.ResetTimer()
			for b.Loop() {
				u.Step(u.dt, u.src, u.line)
			}
		})
	}
}
