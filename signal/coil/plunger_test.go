package coil_test

import (
	"math"
	"math/rand/v2"
)

// plunger is a coil with a plunger on a spring, integrated step by step:
//
//	U = R·i + L(x)·di/dt + i·(dL/dx)·v    m·dv/dt = ½·i²·dL/dx - F0 - k·x - b·v
//
// between two stops without rebound. L(x) is either a line or that of a gap
// that closes.
type plunger struct {
	R_ohm, L0_H, L1_H   float64
	gap                 bool // L is that of a closing gap
	mass_kg, stroke_m   float64
	preload_N, rate_N_m float64
	viscous             float64
	U_V, diode_V        float64
	back                bool // starts seated, switched off
	begin_s, end_s      float64
	depth_A, dip_A      float64
	beginCurrent        float64
}

func (p *plunger) inductance(x float64) (l, slope float64) {
	u := x / p.stroke_m
	if !p.gap {
		return p.L0_H + (p.L1_H-p.L0_H)*u, (p.L1_H - p.L0_H) / p.stroke_m
	}
	// 1/L falls along a line.
	inv := 1/p.L0_H + (1/p.L1_H-1/p.L0_H)*u
	return 1 / inv, (1/p.L0_H - 1/p.L1_H) / p.stroke_m / (inv * inv)
}

// run integrates for length_s with steps of h and gives the current at each,
// beginning at the edge. It notes begin, end and depth.
func (p *plunger) run(length_s, h float64) []float64 {
	n := int(length_s/h) + 1
	out := make([]float64, n)
	var y [3]float64 // i, x, v
	if p.back {
		y[0], y[1] = p.U_V/p.R_ohm, p.stroke_m
	}
	held := y[0]
	p.begin_s, p.end_s, p.depth_A, p.dip_A = math.NaN(), math.NaN(), 0, 0
	drive := p.U_V
	l0 := p.L0_H
	if p.back {
		drive = -p.diode_V
		l0 = p.L1_H
	}
	moving, done := false, false
	force := func(y [3]float64) float64 {
		_, dl := p.inductance(y[1])
		return 0.5*y[0]*y[0]*dl - p.preload_N - p.rate_N_m*y[1]
	}
	slope := func(y [3]float64) (d [3]float64) {
		l, dl := p.inductance(y[1])
		v := 0.0
		if moving {
			v = y[2]
			d[1] = v
			d[2] = (force(y) - p.viscous*v) / p.mass_kg
		}
		d[0] = (drive - p.R_ohm*y[0] - y[0]*dl*v) / l
		return d
	}
	peak := 0.0
	for k := range n {
		out[k] = max(0, y[0])
		t := float64(k) * h
		if !moving && !done {
			f := force(y)
			if !p.back && f > 0 || p.back && f < 0 {
				moving = true
				p.begin_s, p.beginCurrent = t, y[0]
			}
		}
		if moving {
			p.depth_A = max(p.depth_A, math.Abs(held-y[0]))
			if !p.back {
				peak = max(peak, y[0])
				p.dip_A = max(p.dip_A, peak-y[0])
			}
		}
		add := func(a [3]float64, f float64) (b [3]float64) {
			for j := range a {
				b[j] = y[j] + f*a[j]
			}
			return b
		}
		k1 := slope(y)
		k2 := slope(add(k1, h/2))
		k3 := slope(add(k2, h/2))
		k4 := slope(add(k3, h))
		for j := range y {
			y[j] += h / 6 * (k1[j] + 2*k2[j] + 2*k3[j] + k4[j])
		}
		held += h * (drive - p.R_ohm*held) / l0
		y[0] = max(0, y[0])
		held = max(0, held)
		if moving && (!p.back && y[1] >= p.stroke_m || p.back && y[1] <= 0) {
			y[1], y[2] = min(max(y[1], 0), p.stroke_m), 0
			moving, done = false, true
			p.end_s = t + h
		}
	}
	return out
}

const fineStep = 5e-6

// drawPlunger draws a unit whose end of motion lies 2 to 30 ms after the
// onset, with a depth of 3 to 40 % of the final current.
func drawPlunger(r *rand.Rand) *plunger {
	for {
		p := &plunger{
			R_ohm: math.Exp(uniform(r, math.Log(4), math.Log(60))),
			L0_H:  math.Exp(uniform(r, math.Log(0.005), math.Log(0.2))),
			gap:   r.IntN(2) == 0, stroke_m: uniform(r, 0.5e-3, 6e-3),
			U_V: 12 * float64(1+r.IntN(2)), diode_V: 0.7,
		}
		p.L1_H = p.L0_H * uniform(r, 1.2, 4)
		final := p.U_V / p.R_ohm
		at := uniform(r, 0.3, 0.95) * final
		tau := p.L0_H / p.R_ohm
		begin := -tau * math.Log(1-at/final)
		if begin < 0.5e-3 || begin > 28e-3 {
			continue
		}
		_, dl := p.inductance(0)
		p.preload_N = 0.5 * at * at * dl
		p.rate_N_m = uniform(r, 0, 0.5) * p.preload_N / p.stroke_m
		want := uniform(r, 1e-3, 12e-3)
		// A mass that makes the way last about that long.
		p.mass_kg = p.preload_N * want * want / (4 * p.stroke_m)
		p.viscous = uniform(r, 0, 1) * p.mass_kg / want
		p.run(0.035, 4*fineStep)
		if !(p.end_s > 2e-3 && p.end_s < 30e-3) || p.end_s-p.begin_s < 0.5e-3 {
			continue
		}
		if p.depth_A < 0.03*final || p.depth_A > 0.4*final {
			continue
		}
		return p
	}
}

func uniform(r *rand.Rand, a, b float64) float64 { return a + (b-a)*r.Float64() }

// sampled reads a fine current at the rate, with noise, from lead_s before
// the edge; the edge lies anywhere within a sample and the axis starts at 0.
func sampled(r *rand.Rand, fine []float64, before, rate_Hz, lead_s, sd float64) (t, i []float64, edge_s float64) {
	edge_s = lead_s + r.Float64()/rate_Hz
	end := edge_s + float64(len(fine)-2)*fineStep
	for k := 0; float64(k)/rate_Hz < end; k++ {
		at := float64(k) / rate_Hz
		v := before
		if at > edge_s {
			u := (at - edge_s) / fineStep
			n := int(u)
			v = fine[n] + (u-float64(n))*(fine[n+1]-fine[n])
		}
		t, i = append(t, at), append(i, v+sd*r.NormFloat64())
	}
	return t, i, edge_s
}

// drawFall draws a unit that drops out while current still flows.
func drawFall(r *rand.Rand) *plunger {
	for {
		p := drawPlunger(r)
		p.back = true
		final := p.U_V / p.R_ohm
		at := uniform(r, 0.15, 0.6) * final
		_, dl := p.inductance(p.stroke_m)
		p.preload_N = 0.35 * at * at * dl
		p.rate_N_m = 0.15 * at * at * dl / p.stroke_m
		want := uniform(r, 1e-3, 6e-3)
		p.mass_kg = p.preload_N * want * want / (2 * p.stroke_m)
		p.viscous = 0
		fine := p.run(0.1, 4*fineStep)
		if !(p.end_s > 2e-3 && p.end_s < 60e-3) || p.end_s-p.begin_s < 0.5e-3 {
			continue
		}
		if fine[int(p.end_s/(4*fineStep))] < 0.05*final || p.depth_A < 0.03*final {
			continue
		}
		return p
	}
}
