package motor

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/sim"
)

// plain is a motor without what the textbook machine leaves out: no brush drop, no
// drag but Coulomb friction, no heating, no jumping.
func plain(t *testing.T, change func(*Params)) *Motor {
	p, err := Nominal("12v-20w")
	require.NoError(t, err)
	p.Brush_V, p.Brush_Ohm, p.Lead_Ohm, p.Chatter, p.Viscous_Nms, p.Fan_Nms2, p.Stick = 0, 0, 0, 0, 0, 0, 0
	p.Heat_JK, p.Ambient_C = math.Inf(1), 20
	change(&p)
	m, err := New(p, "", 0, 1)
	require.NoError(t, err)
	return m
}

const step = 50 * time.Microsecond

// run steps for a time and gives the mean current of its last part.
func run(m *Motor, long time.Duration, c sim.Circuit, last time.Duration) (mean_A float64) {
	n := 0
	for at := time.Duration(0); at < long; at += step {
		i, _ := m.Step(step, c)
		if at >= long-last {
			mean_A += i
			n++
		}
	}
	return mean_A / float64(n)
}

// The synthetic case of shared/references/check-values.md, 8.2: 12 V, 0.5 ohm,
// 0.02 N·m/A, 0.3 A without load: 592.5 rad/s, stall at 24 A; at 5 A 475 rad/s and
// 0.094 N·m. The winding's ripple moves means by some per mille.
func TestTextbookMachine(t *testing.T) {
	synthetic := func(p *Params) { p.R_Ohm, p.K_Vs, p.Coulomb_Nm, p.Load_Nm = 0.5, 0.02, 0.3*0.02, 0 }
	at := sim.Circuit{Closed: true, EMF_V: 12}
	m := plain(t, synthetic)
	i := run(m, 2*time.Second, at, time.Second)
	assert.InDelta(t, 0.3, i, 0.006)
	assert.InDelta(t, 592.5, m.Speed(), 592.5*0.006)
	m = plain(t, func(p *Params) { synthetic(p); p.Load_Nm = 0.094 })
	i = run(m, 2*time.Second, at, time.Second)
	assert.InDelta(t, 5, i, 0.05)
	assert.InDelta(t, 475, m.Speed(), 475*0.01)
	m = plain(t, synthetic)
	m.blocked = true
	i = run(m, 50*time.Millisecond, at, 10*time.Millisecond)
	assert.InDelta(t, 24, i, 24*0.06, "the winding's resistance differs round the turn")
}

// Makers' tables, same place: mechanical time constant R·J/k² of motor 1, 2.94 ms
// by its row; here speed reaches 63 % of its end after it.
func TestMechanicalTimeConstant(t *testing.T) {
	m := plain(t, func(p *Params) {
		p.R_Ohm, p.K_Vs, p.J_kgm2, p.Coulomb_Nm, p.Load_Nm, p.L_H = 2.45, 0.0538, 34.7e-7, 1e-9, 0, 1e-9
	})
	c := sim.Circuit{Closed: true, EMF_V: 48}
	end := 48 / 0.0538
	for at := 0.0; at < 2.937e-3; at += 10e-6 {
		m.Step(10*time.Microsecond, c)
	}
	assert.InDelta(t, 1-math.Exp(-1), m.Speed()/end, 0.02)
}

// Standing still it is a resistance and an inductance: a rise with L/R.
func TestRiseAtStandstill(t *testing.T) {
	m := plain(t, func(*Params) {})
	m.blocked = true
	i, _, _ := m.w.at(m.turns)
	r := m.w.r[i]
	c := sim.Circuit{Closed: true, EMF_V: 12}
	for n := 1; n <= 40; n++ {
		m.Step(step, c)
		at := float64(n) * step.Seconds()
		assert.InDelta(t, 12/r*-math.Expm1(-at*r/m.p.L_H), m.current_A, 1e-6+1e-3*12/r)
	}
	// And falls through a diode to nothing, not beyond.
	for range 400 {
		m.Step(step, sim.Circuit{Closed: true, OneWay: true, EMF_V: -0.7})
	}
	assert.Zero(t, m.current_A)
}

// The ripple has its count a turn: of the windings themselves, by the least common
// multiple of brushes and segments.
func TestRipplesPerTurn(t *testing.T) {
	for _, c := range []struct{ segments, want int }{{12, 12}, {11, 22}, {8, 8}, {5, 10}} {
		p, err := Nominal("12v-20w")
		require.NoError(t, err)
		p.Segments = c.segments
		ohms, share := even(p)
		w := newWinding(p, ohms, share)
		assert.Equal(t, c.want, tops(w.k), "%d segments", c.segments)
		var mean, conductance float64
		for i := range w.k {
			mean, conductance = mean+w.k[i]/float64(len(w.k)), conductance+1/w.r[i]/float64(len(w.r))
		}
		assert.InDelta(t, p.K_Vs, mean, 1e-6)
		assert.InDelta(t, 1/p.R_Ohm, conductance, 1e-6)
	}
}

// tops counts the tops of the EMF over a turn: the strongest order.
func tops(k []float64) (order int) {
	most := 0.0
	for o := 1; o < 60; o++ {
		var a, b float64
		for i, v := range k {
			s, c := math.Sincos(2 * math.Pi * float64(o*i) / float64(len(k)))
			a, b = a+v*c, b+v*s
		}
		if h := math.Hypot(a, b); h > most {
			most, order = h, o
		}
	}
	return order
}

// An open coil leaves one of two paths, but where a brush shorts it: the resistance
// doubles over most of the turn. A closed ring's is even.
func TestOpenCoil(t *testing.T) {
	p, err := Nominal("12v-20w")
	require.NoError(t, err)
	good, err := New(p, "", 0, 1)
	require.NoError(t, err)
	bad, err := New(p, "coil-open", 1, 1)
	require.NoError(t, err)
	half, err := New(p, "coil-open", 0.5, 1)
	require.NoError(t, err)
	mid := func(x []float64) float64 { return sortedMiddle(x) }
	assert.InDelta(t, 2, mid(bad.w.r)/mid(good.w.r), 0.15, "less what the brushes short of it")
	assert.Greater(t, mid(half.w.r), 1.1*mid(good.w.r))
	assert.Less(t, mid(half.w.r), 1.4*mid(good.w.r))
}

// A supply at its limit gives way to what stands across the motor.
func TestSupplyAtItsLimit(t *testing.T) {
	m := plain(t, func(*Params) {})
	m.blocked = true
	var across float64
	for range 200 {
		_, across = m.Step(step, sim.Circuit{Closed: true, EMF_V: 12, Ohm: 0.04, Limit_A: 4})
	}
	i, _, _ := m.w.at(m.turns)
	assert.InDelta(t, 4, m.current_A, 1e-9)
	assert.InDelta(t, 4*m.w.r[i], across, 0.02)
}

func sortedMiddle(x []float64) float64 {
	var below float64
	for i := range x {
		n := 0
		for j := range x {
			if x[j] < x[i] {
				n++
			}
		}
		if n <= len(x)/2 {
			below = max(below, x[i])
		}
	}
	return below
}

// Torque balance of every size under its load: what the current makes is what
// friction, load and fan take. What goes in is what heat and shaft take.
func TestBalance(t *testing.T) {
	for _, size := range Sizes() {
		p, err := Nominal(size)
		require.NoError(t, err)
		m, err := New(p, "", 0, 3)
		require.NoError(t, err)
		volt := 12.0
		if size == "24v-100w" {
			volt = 24
		}
		i := run(m, 1500*time.Millisecond, sim.Circuit{Closed: true, EMF_V: volt, Ohm: 0.04}, time.Second)
		w := m.Speed()
		takes := p.Coulomb_Nm + p.Load_Nm + p.Viscous_Nms*w + p.Fan_Nms2*w*w
		assert.InDelta(t, takes, m.flux()*p.K_Vs*i, 0.03*takes, size)
		assert.InDelta(t, volt, i*(p.R_Ohm*(1+copperPerK*(m.Winding()-20))+p.Brush_Ohm+p.Lead_Ohm+0.04)+p.Brush_V+m.flux()*p.K_Vs*w, 0.02*volt, size)
		t.Logf("%s: %.3g A, %.4g rpm, winding %.0f °C", size, i, w*30/math.Pi, m.Winding())
	}
}

// Under PWM with a diode the mean voltage is the duty's share of the supply less
// the rest of the diode's drop, as long as the current does not end.
func TestPWMMean(t *testing.T) {
	m := plain(t, func(*Params) {})
	const duty, period = 0.6, 50 * time.Microsecond // 20 kHz
	on, off := sim.Circuit{Closed: true, EMF_V: 12}, sim.Circuit{Closed: true, OneWay: true, EMF_V: -0.7}
	var mean, volts float64
	const n = 30_000
	for k := range n {
		a, _ := m.Step(30*time.Microsecond, on)
		b, _ := m.Step(20*time.Microsecond, off)
		if k >= n/2 {
			mean += (a*duty + b*(1-duty)) / (n / 2)
		}
	}
	volts = duty*12 - (1-duty)*0.7
	assert.InDelta(t, volts, m.p.R_Ohm*mean+m.p.K_Vs*m.Speed(), 0.01*volts)
	assert.InDelta(t, (m.p.Coulomb_Nm+m.p.Load_Nm)/m.p.K_Vs, mean, 0.02*mean)
}

// It costs little: a second of its time in a small part of a second.
func BenchmarkSecond(b *testing.B) {
	p, _ := Nominal("24v-100w")
	m, _ := New(p, "", 0, 3)
	for b.Loop() {
		run(m, time.Second, sim.Circuit{Closed: true, EMF_V: 24, Ohm: 0.04}, time.Second)
	}
}

// Every fault acts, by more the worse it is, and through physics: nothing is not a
// number, and a unit without supply stands still.
func TestFaultsAct(t *testing.T) {
	for _, size := range Sizes() {
		for _, f := range Faults() {
			for _, s := range []float64{0.1, 0.5, 1} {
				p, err := Draw(size, rand.New(rand.NewPCG(1, 2)))
				require.NoError(t, err)
				m, err := New(p, f.Name, s, 4)
				require.NoError(t, err)
				ohm, limit := Outside(p, f.Name, s, 12)
				for _, c := range []sim.Circuit{{Closed: true, EMF_V: 12, Ohm: 0.04 + ohm, Limit_A: limit}, {Closed: true, OneWay: true, EMF_V: -0.7, Ohm: 0.02}, {}} {
					i := run(m, 300*time.Millisecond, c, 50*time.Millisecond)
					require.False(t, math.IsNaN(i) || math.IsInf(i, 0), "%s %g", f.Name, s)
					require.False(t, math.IsNaN(m.Speed()))
					require.GreaterOrEqual(t, i, -1e-9)
				}
				run(m, time.Second, sim.Circuit{}, time.Millisecond)
				assert.Less(t, m.Speed(), 60.0, "%s %g", f.Name, s)
			}
		}
	}
	p, _ := Nominal("12v-20w")
	_, err := New(p, "gremlins", 0.5, 1)
	assert.Error(t, err)
	_, err = New(p, "binding", 1.5, 1)
	assert.Error(t, err)
	_, err = Nominal("9v")
	assert.Error(t, err)
	_, err = p.Perturbed("gremlins", 2)
	assert.Error(t, err)
	for _, g := range Perturbations() {
		q, err := p.Perturbed(g, 1.5)
		require.NoError(t, err)
		assert.NotEqual(t, p, q, g)
	}
}
