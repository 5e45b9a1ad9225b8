package solenoid

import (
	"math"
	"time"

	"dutybench/bench/sim"
)

// longest is the longest step of the integration: a thousandth of a time constant
// of the coil, a hundredth of a stroke.
const longest = 25e-6 // s

// Unit is one solenoid in the socket.
type Unit struct {
	p    Params
	hurt hurt

	leak_S   float64 // of eddy currents and shorted turns: 1/R_e
	flux_Wb  float64
	travel_m float64
	speed_ms float64
	coil_C   float64
}

// New is a unit with a fault of Faults ("" none) of a severity from 0 to 1. seed
// draws what is random in it.
func New(p Params, fault string, severity float64, seed uint64) (*Unit, error) {
	h, p, err := damage(p, fault, severity, seed)
	if err != nil {
		return nil, err
	}
	u := &Unit{p: p, hurt: h, coil_C: p.Ambient_C}
	u.leak_S = 1/p.Eddy_Ohm + h.short_S
	if h.stuckIn {
		u.travel_m = p.Stroke_m
	}
	return u, nil
}

// Step advances the unit; see sim.TwoWire.
func (u *Unit) Step(dt time.Duration, c sim.Circuit) (mean_A, across_V float64) {
	t := dt.Seconds()
	n := math.Ceil(t/longest - 1e-9)
	across := 0.0
	if u.hurt.open {
		if across = c.EMF_V; c.OneWay {
			across = 0
		}
		c.Closed = false
	}
	for range int(n) {
		mean_A += u.step(t/n, c) / n
	}
	if c.Limit_A > 0 && mean_A > c.Limit_A*(1-1e-9) { // rounding
		mean_A = c.Limit_A
	}
	ohm := u.p.Hot(u.coil_C)
	// What copper loses in microseconds is nothing: the mean square is that of the mean.
	u.coil_C += t / u.p.Heat_J_K * (mean_A*mean_A*ohm - u.p.Cooling_W_K*(u.coil_C-u.p.Ambient_C))
	if u.hurt.open {
		return 0, across // the circuit's own voltage, as no current takes any of it
	}
	// With the current at the end the voltage is the circuit's too, to the last digit.
	i, rate := u.currents(c, u.flux_Wb, u.p.Hot(u.coil_C))
	return mean_A, i*u.p.Hot(u.coil_C) + rate
}

// step is one step of the integration: the flux by Heun's method, then the plunger.
func (u *Unit) step(dt float64, c sim.Circuit) (mean_A float64) {
	ohm := u.p.Hot(u.coil_C)
	i1, d1 := u.currents(c, u.flux_Wb, ohm)
	i2, d2 := u.currents(c, u.flux_Wb+d1*dt, ohm)
	u.flux_Wb = max(0, u.flux_Wb+(d1+d2)/2*dt)
	u.move(dt)
	return (i1 + i2) / 2
}

// currents is the coil's current, and the change of its flux, in V.
func (u *Unit) currents(c sim.Circuit, flux_Wb, ohm float64) (coil_A, rate_V float64) {
	perH, _ := u.p.Pole.r(u.p.gap(u.travel_m))
	m := u.p.magnetising(flux_Wb, perH)
	if !c.Closed {
		return 0, -m / u.leak_S
	}
	r := ohm + c.Ohm
	rate := (c.EMF_V - r*m) / (1 + r*u.leak_S)
	i := m + rate*u.leak_S
	switch {
	case c.OneWay && i < 0:
		return 0, -m / u.leak_S
	case c.Limit_A > 0 && i > c.Limit_A:
		return c.Limit_A, (c.Limit_A - m) / u.leak_S
	}
	return i, rate
}

// move is the plunger's part of a step.
func (u *Unit) move(dt float64) {
	p := &u.p
	if u.hurt.stuckOut || u.hurt.stuckIn {
		return
	}
	_, slope := p.Pole.r(p.gap(u.travel_m))
	net := u.flux_Wb*u.flux_Wb*slope/2 - p.spring(u.travel_m)
	if u.speed_ms == 0 {
		in, out := u.travel_m >= p.Stroke_m, u.travel_m <= 0
		if math.Abs(net) <= p.Coulomb_N || net > 0 && in || net < 0 && out {
			return
		}
		u.speed_ms = (net - math.Copysign(p.Coulomb_N, net)) / p.Mass_kg * dt
	} else {
		was := u.speed_ms
		u.speed_ms += (net - math.Copysign(p.Coulomb_N, was) - p.Viscous_Nsm*was) / p.Mass_kg * dt
		if was*u.speed_ms < 0 {
			u.speed_ms = 0
		}
	}
	u.travel_m += u.speed_ms * dt
	switch {
	case u.travel_m >= p.Stroke_m:
		u.travel_m, u.speed_ms = p.Stroke_m, 0
		u.hurt.stuckIn = u.hurt.latches
	case u.travel_m <= 0:
		u.travel_m, u.speed_ms = 0, 0
	}
}

// Temperature is that of the body, which hardly warms in a test.
func (u *Unit) Temperature() float64 { return u.p.Ambient_C }

// Travel_m is where the plunger stands, 0 at rest.
func (u *Unit) Travel_m() float64 { return u.travel_m }

// Coil_C is the winding's temperature.
func (u *Unit) Coil_C() float64 { return u.coil_C }
