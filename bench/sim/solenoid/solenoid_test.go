package solenoid

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/sim"
)

const us = time.Microsecond

func nominal(t *testing.T, size string) Params {
	p, err := Nominal(size)
	require.NoError(t, err)
	return p
}

func unit(t *testing.T, p Params, fault string, severity float64) *Unit {
	u, err := New(p, fault, severity, 1)
	require.NoError(t, err)
	return u
}

func closed(p Params) sim.Circuit { return sim.Circuit{Closed: true, EMF_V: p.Nominal_V, Ohm: 0.05} }

// Blocked, without eddy currents and far from saturation, it is R and L in
// series: i = V/R·(1 − e^(−t·R/L)), L the reciprocal of r at the rest gap.
func TestBlockedCoilRisesAsRL(t *testing.T) {
	for _, size := range Sizes() {
		p := nominal(t, size)
		p.Eddy_Ohm, p.Knee_A, p.Heat_J_K = 1e9, 0, 1e9
		p.Ambient_C = 20
		u := unit(t, p, stuckClosed, 1)
		perH, _ := p.Pole.r(p.gap(0))
		ohm := p.Ohm + 0.05
		for i := 1; i <= 400; i++ {
			u.Step(50*us, closed(p))
			at := float64(i) * 50e-6
			got, _ := u.currents(closed(p), u.flux_Wb, p.Ohm)
			assert.InDelta(t, p.Nominal_V/ohm*(1-math.Exp(-at*ohm*perH)), got, 2e-4*p.Nominal_V/ohm, size)
		}
	}
}

// What goes in is heat of copper and iron, field, spring, motion and what
// friction and stop take: with the last worked out from the plunger's path.
func TestEnergyBalance(t *testing.T) {
	for _, size := range Sizes() {
		p := nominal(t, size)
		u := unit(t, p, "", 0)
		c := closed(p)
		const dt = 2e-6
		var in, copper, iron, rubbed, stopped float64
		for range 15000 {
			from, v := u.travel_m, u.speed_ms
			ohm := u.p.Hot(u.coil_C) + c.Ohm
			i, rate := u.currents(c, u.flux_Wb, u.p.Hot(u.coil_C))
			mean := u.step(dt, c)
			in += mean * c.EMF_V * dt
			copper += i * i * ohm * dt
			iron += rate * rate / p.Eddy_Ohm * dt
			way := u.travel_m - from
			rubbed += p.Coulomb_N*math.Abs(way) + p.Viscous_Nsm*math.Abs(v)*math.Abs(way)
			if u.travel_m == p.Stroke_m && v > 0 {
				stopped = p.Mass_kg * v * v / 2
			}
		}
		require.Equal(t, p.Stroke_m, u.travel_m, "%s pulls in", size)
		perH, _ := p.Pole.r(p.gap(u.travel_m))
		out := copper + iron + p.field(u.flux_Wb, perH) + (p.Preload_N+p.Rate_N_m*p.Stroke_m/2)*p.Stroke_m + rubbed + stopped
		assert.InDelta(t, 1, out/in, 0.003, "%s: %.4g J in, %.4g J out", size, in, out)
	}
}

// The plunger leaves its rest where the force of the field, worked out from the
// change of its energy with the gap, is that of spring and friction; and falls
// back likewise.
func TestPullInAndDropOutAreStaticBalances(t *testing.T) {
	for _, size := range Sizes() {
		p := nominal(t, size)
		u := unit(t, p, "", 0)
		moved, left := math.NaN(), math.NaN()
		ramp := func(emf float64) float64 {
			c := closed(p)
			c.EMF_V = emf
			i := 0.0
			for range 20 {
				i, _ = u.Step(100*us, c)
			}
			return i
		}
		for v := 0.0; v < p.Nominal_V; v += p.Nominal_V / 4000 {
			if i := ramp(v); math.IsNaN(moved) && u.Travel_m() > 0 {
				moved = i
			}
		}
		require.Equal(t, p.Stroke_m, u.Travel_m(), size)
		for v := p.Nominal_V; v > 0 && math.IsNaN(left); v -= p.Nominal_V / 4000 {
			if i := ramp(v); u.Travel_m() < p.Stroke_m {
				left = i
			}
		}
		// Force by a difference of energy, apart from r's slope.
		force := func(travel float64, i float64) float64 {
			const d = 1e-7
			r1, _ := p.Pole.r(p.gap(travel))
			lo, hi := 0.0, 10*p.Saturation_Wb
			for range 80 {
				if m := (lo + hi) / 2; p.magnetising(m, r1) > i {
					hi = m
				} else {
					lo = m
				}
			}
			r2, _ := p.Pole.r(p.gap(travel) + d)
			return (p.field(lo, r2) - p.field(lo, r1)) / d
		}
		assert.InEpsilon(t, p.spring(0)+p.Coulomb_N, force(0, moved), 0.01, "%s at %.3g A", size, moved)
		assert.InEpsilon(t, p.spring(p.Stroke_m)-p.Coulomb_N, force(p.Stroke_m, left), 0.02, "%s at %.3g A", size, left)
		assert.InEpsilon(t, p.PullIn(), moved, 0.01, size)
		assert.InEpsilon(t, p.DropOut(), left, 0.02, size)
		if p.Pole.Cone_H == 0 { // a conical one goes there and back by degrees
			assert.Less(t, left, moved)
		}
		assert.Less(t, moved, 0.75*p.Nominal_V/p.Ohm, "%s pulls in when hot and at low supply", size)
	}
}

// Annealed copper has 1.3144 times its resistance of 20 °C at 100 °C (IEC 60028:
// 0.00393 per kelvin), and a winding warms by power over heat capacity at first.
func TestCopperWarms(t *testing.T) {
	p := nominal(t, OnOff12)
	assert.InDelta(t, 1.3144, p.Hot(100)/p.Hot(20), 1e-9)
	p.Ambient_C = 20
	u := unit(t, p, "", 0)
	var first, last float64
	for i := range 20000 { // 1 s
		last, _ = u.Step(50*us, closed(p))
		if i == 1000 {
			first = last
		}
	}
	joule := 12.0 * 12 / (p.Ohm + 0.05) * 0.95
	assert.InDelta(t, joule/p.Heat_J_K, u.Coil_C()-20, 0.06)
	assert.InDelta(t, 1-CopperPerK*joule/p.Heat_J_K*0.95, last/first, 3e-4)
}

// A supply that limits gives no more; an open circuit lets none through; a diode
// lets none through backwards.
func TestCircuits(t *testing.T) {
	p := nominal(t, OnOff12)
	u := unit(t, p, "", 0)
	c := closed(p)
	c.Limit_A = 0.6
	most, across := 0.0, 0.0
	for range 2000 {
		var i float64
		i, across = u.Step(50*us, c)
		most = max(most, i)
	}
	assert.LessOrEqual(t, most, 0.6+1e-9)
	assert.InDelta(t, 0.6*p.Hot(p.Ambient_C), across, 0.05, "the voltage gives way")
	u = unit(t, p, "", 0)
	for range 2000 {
		u.Step(50*us, closed(p))
	}
	back := sim.Circuit{Closed: true, OneWay: true, EMF_V: -0.7, Ohm: 0.02}
	least, last := math.Inf(1), 0.0
	for range 2000 {
		last, _ = u.Step(50*us, back)
		least = min(least, last)
	}
	assert.GreaterOrEqual(t, least, 0.0)
	assert.Zero(t, last)
	assert.Zero(t, u.Travel_m(), "it has returned")
	u = unit(t, p, coilOpen, 1)
	i, _ := u.Step(50*us, closed(p))
	assert.Zero(t, i)
}

// Good units of every size pull in at nominal supply and return.
func TestGoodUnitsMove(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	for _, size := range Sizes() {
		for range 60 {
			p, err := Draw(size, r)
			require.NoError(t, err)
			u := unit(t, p, "", 0)
			for range 2000 {
				u.Step(50*us, closed(p))
			}
			require.Equal(t, p.Stroke_m, u.Travel_m(), size)
			for range 4000 {
				u.Step(50*us, sim.Circuit{Closed: true, OneWay: true, EMF_V: -0.7, Ohm: 0.02})
			}
			require.Zero(t, u.Travel_m(), size)
		}
	}
	_, err := Draw("vast", r)
	assert.ErrorContains(t, err, "vast")
}

func BenchmarkStep(b *testing.B) {
	p, _ := Nominal(OnOff12)
	u, _ := New(p, "", 0, 1)
	c := closed(p)
	for range b.N {
		u.Step(50*us, c)
	}
}
