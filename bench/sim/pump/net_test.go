package pump

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/sim"
)

// Charge of a capacitor through a resistance: v = U·(1 - exp(-t/RC)), shares
// after 1 to 5 time constants 0.632121, 0.864665, 0.950213, 0.981684, 0.993262
// (computed from the formula; makers' pages print 63.2 % and 99.3 %).
func TestCapacitorChargesExponentially(t *testing.T) {
	f := newFeed(sim.Source{On: true, Open_V: 12, Ohm: 0.05})
	want := []float64{0.632121, 0.864665, 0.950213, 0.981684, 0.993262}
	for _, parts := range []int{1, 7, 100} {
		n := net{farad: 1e-3, esr: 0.03}
		tau := 1e-3 * 0.08
		for k, w := range want {
			for range parts {
				n.advance(tau/float64(parts), f, load{})
			}
			assert.InDelta(t, 12*w, n.cap_V, 1e-5, "%d steps a constant, %d constants", parts, k+1)
		}
	}
}

// The first moment of a charge is U/(Rs+re): 150 A of 12 V over 80 mΩ.
func TestInrushPeak(t *testing.T) {
	n := net{farad: 1e-3, esr: 0.03}
	i, _ := n.advance(1e-8, newFeed(sim.Source{On: true, Open_V: 12, Ohm: 0.05}), load{})
	assert.InDelta(t, 150, i, 0.1)
}

// At a current limit the capacitor charges in a straight line, t = C·U/I, and
// then through the resistance; many short steps and few long ones agree.
func TestChargeAtTheLimit(t *testing.T) {
	f := newFeed(sim.Source{On: true, Open_V: 12, Ohm: 0.05, Limit_A: 10})
	n := net{farad: 1e-3, esr: 0.03}
	for range 5 {
		i, _ := n.advance(100e-6, f, load{})
		assert.InDelta(t, 10, i, 1e-9)
	}
	assert.InDelta(t, 5, n.cap_V, 1e-9, "10 A for 0.5 ms into 1 mF")
	fine := n
	for range 10 {
		n.advance(100e-6, f, load{})
	}
	for range 10_000 {
		fine.advance(0.1e-6, f, load{})
	}
	assert.InDelta(t, fine.cap_V, n.cap_V, 1e-9)
	assert.InDelta(t, 12, n.cap_V, 0.01)
}

// A load beyond the limit empties the capacitor at (limit - load)/C.
func TestLoadBeyondTheLimit(t *testing.T) {
	f := newFeed(sim.Source{On: true, Open_V: 12, Ohm: 0.05, Limit_A: 4})
	n := net{farad: 1e-3, esr: 0.03, cap_V: 12}
	var last float64
	for range 20 {
		last, _ = n.advance(100e-6, f, load{a: 5})
	}
	assert.InDelta(t, 4, last, 1e-9)
	slope := n.cap_V
	n.advance(100e-6, f, load{a: 5})
	assert.InDelta(t, -0.1, n.cap_V-slope, 1e-9, "1 A for 0.1 ms out of 1 mF")
}

// Charge is kept: what passed the shunt is what the capacitor took and the
// load drew; and a step in two halves is the same as in one.
func TestChargeBalance(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 5))
	for range 20_000 {
		n := net{farad: 1e-4 + 2e-3*rng.Float64(), esr: 0.01 + 0.1*rng.Float64(), cap_V: 15 * rng.Float64()}
		f := newFeed(sim.Source{On: rng.IntN(5) > 0, Open_V: 5 + 20*rng.Float64(), Ohm: math.Pow(10, -3+4*rng.Float64()),
			Limit_A: float64(rng.IntN(2)) * 20 * rng.Float64()})
		l := load{a: 3 * rng.Float64() * float64(rng.IntN(2)), g: 5 * rng.Float64() * float64(rng.IntN(2))}
		dt := math.Pow(10, -6+2*rng.Float64())
		n.plug_V = n.cap_V
		before, halves := n, n
		i, v := n.advance(dt, f, l)
		i1, _ := halves.advance(dt/2, f, l)
		i2, _ := halves.advance(dt/2, f, l)
		if n.cap_V < 0.5 || n.plug_V < 0.01 || v < 0.01 {
			continue // the diodes hold it
		}
		taken := n.farad * (n.cap_V - before.cap_V)
		require.InDelta(t, taken+(l.a+l.g*v)*dt, i*dt, 1e-9*(1+math.Abs(i*dt)), "%+v %+v %+v", before, f, l)
		require.InDelta(t, n.cap_V, halves.cap_V, 1e-7, "%+v %+v %v %v", f, l, dt, before)
		require.InDelta(t, i, (i1+i2)/2, 1e-5*(1+math.Abs(i)))
	}
}

// An open switch passes its leakage only, and none into a higher voltage.
func TestOpenSwitch(t *testing.T) {
	f := newFeed(sim.Source{Open_V: 12, Ohm: 0.05, Leak_A: 1e-5})
	n := net{farad: 1e-3, esr: 0.03, cap_V: 3, plug_V: 3}
	i, _ := n.advance(100e-6, f, load{})
	assert.InDelta(t, 1e-5, i, 1e-12)
	n.cap_V, n.plug_V = 13, 13
	i, _ = n.advance(100e-6, f, load{})
	assert.Zero(t, i)
}

// Charging from a stiff source loses as much as it stores, whatever the
// resistance: half of Q·U (textbook of circuits).
func TestChargingLosesHalf(t *testing.T) {
	f := newFeed(sim.Source{On: true, Open_V: 12, Ohm: 0.05})
	n := net{farad: 1e-3, esr: 0.03}
	var in, esr float64
	const dt = 1e-7
	for range 20_000 {
		before := n.cap_V
		i, v := n.advance(dt, f, load{})
		in += i * v * dt
		cap_A := n.farad * (n.cap_V - before) / dt
		esr += cap_A * cap_A * n.esr * dt
	}
	stored := n.farad * 12 * 12 / 2
	assert.InEpsilon(t, stored*0.03/0.08, esr, 1e-3, "the loss divides as the resistances")
	assert.InEpsilon(t, stored+esr, in, 1e-3)
}

func TestReverse(t *testing.T) {
	f := newFeed(sim.Source{On: true, Open_V: -12, Ohm: 0.05})
	i, v := reverse(f, 0.05)
	assert.InDelta(t, 105, i, 1e-9, "(12 V - 1.5 V)/0.1 Ω")
	assert.InDelta(t, 1.5+105*0.05, v, 1e-9)
	f.limit = 10
	i, v = reverse(f, 0.05)
	assert.InDelta(t, 10, i, 1e-9)
	assert.InDelta(t, 2, v, 1e-9)
}
